"""Tracks which rig is in use when, from the rig files that `rig` events name."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.messages.message import Message, message
from analysis.rig.rig import Rig
from analysis.rig_file.load import parse_rig
from analysis.signals.channel_roles import Roles, roles
from logger.channels.channel import Sensors
from logger.errors import RigFault, UserFault
from logger.session.records import Event
from logger.toml_tables import read_text

MOST_RIGS = 1000  # memory only
Loader = Callable[[str], tuple[Rig, Roles]]


@dataclass(frozen=True)
class RigSpan:
    """A rig of a session and the time from which it is in use."""

    time_s: float  # of its event; -inf for the first rig
    name: str  # its file in the session's folder
    rig: Rig | None  # None where the analyser got its roles alone
    roles: Roles  # of the session's channels in this rig


@dataclass(frozen=True)
class RigReadings:
    """What was read while one rig was in use."""

    highest: Mapping[str, tuple[float, float]]  # channel -> highest value, N or m, and its time, s
    load_m: float | None  # load counter at the end, m since its first reading; None without one


NOTHING_READ = RigReadings({}, None)


def in_order(spans: Sequence[RigSpan]) -> list[int]:
    """Indices of the rigs in the order in which they were in use."""
    return sorted(range(len(spans)), key=lambda k: (_second(spans[k].time_s), k))


def _second(time_s: float) -> float:
    """The first whole second at or after time_s; -inf for the first rig."""
    return float(math.ceil(time_s)) if math.isfinite(time_s) else time_s


class RigTimetable:
    """The rigs of a session, and the whole second from which each is in use.

    spans: the first rig and those of the `rig` events, in order of arrival.
    index: of the rig in use, in `spans`.
    readings: index of each rig -> what was read while it was in use.
    warnings: about rig files that cannot be used.
    """

    def __init__(self, first: Roles, load: Loader | None) -> None:
        self.spans = [RigSpan(-math.inf, "rig.toml", None, first)]
        self.index = 0
        self.readings: dict[int, RigReadings] = {}
        self.warnings: list[Message] = []
        self._load = load
        self._due: list[tuple[int, int]] = []  # second and index of those to come, in order

    def fork(self) -> RigTimetable:
        """Return a copy that can advance independently; no event is added to either meanwhile."""
        other = copy.copy(self)
        other._due, other.readings = list(self._due), dict(self.readings)
        return other

    @property
    def roles(self) -> Roles:
        """The roles of the channels in the rig in use."""
        return self.spans[self.index].roles

    @property
    def next_s(self) -> float:
        """The second from which the next rig is in use; inf where there is none."""
        return self._due[0][0] if self._due else math.inf

    def add(self, event: Event) -> None:
        """Load the rig that a `rig` event names; use it from the first whole second at or after the event."""
        if self._load is None:
            return
        try:
            rig, its_roles = self._load(event.text)
            check_same(self.spans[0].roles, its_roles, event.text)
        except UserFault as fault:
            name = event.text or "its copy"
            self.warnings.append(message("rig_change_not_used", copy=name, fault=fault.fault))
            return
        if len(self.spans) < MOST_RIGS:
            self._due.append((math.ceil(event.time_s), len(self.spans)))
            self._due.sort()
            self.spans.append(RigSpan(event.time_s, event.text, rig, its_roles))

    def keep(self, readings: RigReadings) -> None:
        """Keep what was read while the rig in use was in use."""
        self.readings[self.index] = readings

    def go_on(self) -> None:
        """Switch to the next rig."""
        self.index = self._due.pop(0)[1]


def rigs_of(folder: str | Path, sensors: Sensors) -> Loader:
    """Return the function by which an Analyser loads the rig of a `rig` event.

    It takes the event's text, a file name in the session's folder, and returns the rig and the roles of
    its channels; it raises RigFault or SensorsFault for a file that cannot be used.
    """
    home = Path(folder)

    def load(name: str) -> tuple[Rig, Roles]:
        """Load the rig file of this name and assign the channels their roles."""
        if not name or Path(name).name != name:  # never a path out of the session
            raise RigFault(
                home,
                "is not a file in the session's folder",
                "name the copy that the recorder made",
            )
        rig = parse_rig(read_text(home / name, RigFault), str(home / name))
        return rig, roles(rig, sensors)

    return load


def check_same(first: Roles, now: Roles, name: str) -> None:
    """Raise RigFault where the channels have other roles than in the first rig."""
    same = (
        [c.name for c in first.forces] == [c.name for c in now.forces]
        and (first.haul_force is None) == (now.haul_force is None)
        and first.load_length is now.load_length
        and (first.progress is None) == (now.progress is None)
    )
    if not same:
        raise RigFault(
            name,
            "puts a channel at another place than the first rig",
            "name the stations with channels as in the first rig",
        )
