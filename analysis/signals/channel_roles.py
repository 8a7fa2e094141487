"""What each channel tells about this rig; every `at` of a sensors file checked against the rig."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.mechanics.measured_parts import cells_of
from analysis.mechanics.model import Model, force_gain, model, travel_gain
from analysis.messages.message import Message, message
from analysis.rig.rig import Rig
from logger.channels.channel import Channel, Sensors
from logger.errors import RigFault, SensorsFault


@dataclass(frozen=True)
class Level:
    """A value of a channel that should not be passed; unless: names of the cells that measure the
    part itself, so that this level counts only while they are silent or beyond their capacity."""

    channel: str
    level: float  # SI, of that channel
    message: Message
    gain: float = 1.0  # force on the thing that the limit belongs to / force of the channel
    unless: tuple[str, ...] = ()


@dataclass(frozen=True)
class Roles:
    """Which channel is what.  progress: the length channel that distance is taken from, with
    metres of rope at the haul for each of its metres; ratio: rope at the haul / load travel."""

    channels: tuple[Channel, ...]
    forces: tuple[Channel, ...]  # the haul cell first, where there is one
    haul_force: Channel | None
    haul_length: Channel | None
    load_length: Channel | None
    progress: Channel | None
    progress_gain: float
    ratio: float
    levels: tuple[Level, ...]

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


def roles(rig: Rig, sensors: Sensors, known: Model | None = None) -> Roles:
    """The roles of these channels; raises SensorsFault where a place is not the rig's."""
    check_places(rig, sensors)
    known = known or model(rig)
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
            gain = known.travel_ratio / travel_gain(rig, progress.at)
    levels = []
    for c in sensors.channels:
        for key, level in (("warn_at", c.warn_at), ("stop_at", c.stop_at)):
            if level is not None:
                passed = (
                    message("force_level_passed", key=key, level_N=level) if c.quantity == "force"
                    else message("length_level_passed", key=key, level_m=level)
                )  # fmt: skip
                levels.append(Level(c.name, level, passed))
    levels += _of_parts(known, forces, haul_force)
    ordered = ([haul_force] if haul_force else []) + [c for c in forces if c is not haul_force]
    return Roles(
        channels=sensors.channels, forces=tuple(ordered), haul_force=haul_force, haul_length=haul_length, load_length=load_length, progress=progress, progress_gain=gain,
        ratio=known.travel_ratio, levels=tuple(levels),
    )  # fmt: skip


def _of_parts(known: Model, forces: list[Channel], haul: Channel | None) -> list[Level]:
    """What rated parts are allowed: as levels of the cells that measure them, and of the haul cell
    with the frictionless gain, which tells the most that a part can carry while hauling."""
    own = cells_of(known, forces)
    levels = []
    for k, part in enumerate(known.parts):
        if part.limit_N is None:
            continue
        values = {"name": part.name, "limit_N": part.limit_N, "why": part.why}
        allowed = (
            message("strand_allowed", **values) if part.kind == "strand"
            else message("part_allowed", **values)
        )  # fmt: skip
        mine = own.get(k, ())
        passed = message("over_limit_by_own_cell", allowed=allowed)
        levels += [Level(c.name, part.limit_N, passed) for c in mine]
        if haul is not None and haul not in mine and abs(part.ideal) > 1e-9:
            gain, names = abs(part.ideal), tuple(c.name for c in mine)
            passed = message("over_limit_by_haul_cell", allowed=allowed)
            levels.append(
                Level(
                    channel=haul.name,
                    level=part.limit_N / gain,
                    message=passed,
                    gain=gain,
                    unless=names,
                )
            )
    return levels
