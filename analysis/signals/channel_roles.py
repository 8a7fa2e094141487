"""Assigns each channel of a sensors file its role in a rig, and its alarm levels and limits."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.mechanics.measured_parts import cells_of
from analysis.mechanics.model import Model, force_gain, model, travel_gain
from analysis.mechanics.rope_stretch import spring_back
from analysis.messages.message import Message, message
from analysis.rig.rig import Rig
from logger.channels.channel import Channel, Sensors
from logger.errors import RigFault, SensorsFault


@dataclass(frozen=True)
class Level:
    """A value of a channel that is reported when it is exceeded.

    unless: names of cells that measure the part directly; the level is ignored while one of them reads
        within its capacity.
    """

    channel: str  # name of the channel
    level: float  # N or m, of that channel
    message: Message  # the text of the event
    gain: float = 1.0  # force on the part that has the limit / force of the channel
    unless: tuple[str, ...] = ()


@dataclass(frozen=True)
class Roles:
    """The role of each channel in a rig."""

    channels: tuple[Channel, ...]  # all, as the sensors file has them
    forces: tuple[Channel, ...]  # force channels, the haul cell first where there is one
    haul_force: Channel | None  # the force cell in the haul strand
    haul_length: Channel | None  # the rope counter at the haul
    load_length: Channel | None  # the counter of the load's travel
    progress: Channel | None  # the counter from which rope hauled is computed
    progress_gain: float  # metres of rope at the haul per metre of `progress`
    ratio: float  # rope at the haul / load travel
    levels: tuple[Level, ...]  # alarm levels of the sensors file and limits of the rig file
    stretch_m_per_N: float = 0.0  # rope that springs back at the haul / haul force that was let off

    def limits_of(self, channel: str) -> tuple[Level, ...]:
        """The levels of a channel."""
        return tuple(x for x in self.levels if x.channel == channel)


def check_places(rig: Rig, sensors: Sensors) -> None:
    """Raise SensorsFault for the first channel whose `at` the rig does not have."""
    for channel in sensors.channels:
        try:
            if channel.quantity == "force":
                force_gain(rig, channel.at)
            else:
                travel_gain(rig, channel.at)
        except RigFault as fault:
            raise SensorsFault(
                sensors.file, fault.fault, fault.cure, f"channel {channel.name}: at"
            ) from None


def roles(rig: Rig, sensors: Sensors, rig_model: Model | None = None) -> Roles:
    """Assign the channels their roles.

    rig_model: the model of the rig, solved here where it is not given.  Raises SensorsFault where a
    channel's `at` is no place of the rig.
    """
    check_places(rig, sensors)
    rig_model = rig_model or model(rig)
    hauls = ("haul", rig.stations[rig.haul].name)
    forces = [c for c in sensors.channels if c.quantity == "force"]
    lengths = [c for c in sensors.channels if c.quantity == "length"]
    haul_force = next((c for c in forces if c.at in hauls), None)
    haul_length = next((c for c in lengths if c.at in hauls), None)
    load_length = next((c for c in lengths if c.at == "load"), None)
    progress, gain = haul_length, 1.0
    if progress is None:
        others = [c for c in lengths if c is not load_length and travel_gain(rig, c.at) > 1e-6]
        progress = others[0] if others else load_length
        if progress is not None:
            gain = rig_model.travel_ratio / travel_gain(rig, progress.at)
    levels = []
    for c in sensors.channels:
        for key, level in (("warn_at", c.warn_at), ("stop_at", c.stop_at)):
            if level is not None:
                passed = (
                    message("force_level_passed", key=key, level_N=level) if c.quantity == "force"
                    else message("length_level_passed", key=key, level_m=level)
                )  # fmt: skip
                levels.append(Level(c.name, level, passed))
    levels += _of_parts(rig_model, forces, haul_force)
    ordered = ([haul_force] if haul_force else []) + [c for c in forces if c is not haul_force]
    return Roles(
        channels=sensors.channels, forces=tuple(ordered), haul_force=haul_force, haul_length=haul_length, load_length=load_length, progress=progress, progress_gain=gain,
        ratio=rig_model.travel_ratio, levels=tuple(levels), stretch_m_per_N=spring_back(rig_model),
    )  # fmt: skip


def _of_parts(rig_model: Model, forces: list[Channel], haul: Channel | None) -> list[Level]:
    """The limits of rated parts as levels of force channels.

    Each limit becomes a level of every cell that measures the part, and a level of the haul cell by
    the frictionless gain, which gives the highest force that the part can carry while hauling.
    """
    own = cells_of(rig_model, forces)
    levels = []
    for k, rated in enumerate(rig_model.parts):
        if rated.limit_N is None:
            continue
        values = {"name": rated.name, "limit_N": rated.limit_N, "why": rated.why}
        allowed = (
            message("strand_allowed", **values) if rated.kind == "strand"
            else message("part_allowed", **values)
        )  # fmt: skip
        mine = own.get(k, ())
        passed = message("over_limit_by_own_cell", allowed=allowed)
        levels += [Level(c.name, rated.limit_N, passed) for c in mine]
        if haul is not None and haul not in mine and abs(rated.ideal) > 1e-9:
            gain, names = abs(rated.ideal), tuple(c.name for c in mine)
            passed = message("over_limit_by_haul_cell", allowed=allowed)
            levels.append(
                Level(
                    channel=haul.name,
                    level=rated.limit_N / gain,
                    message=passed,
                    gain=gain,
                    unless=names,
                )
            )
    return levels
