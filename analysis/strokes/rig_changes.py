"""The rigs of a session: which holds when, from the copies that `rig` events name."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable
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
    """A rig of a session and from which time on it holds."""

    time_s: float  # of its event; the first rig holds from the beginning, -inf
    name: str  # its file in the session's folder
    rig: Rig | None  # None where the analyser was given its roles alone
    roles: Roles


class RigTimetable:
    """The rigs of a session, and from which whole second on each of them holds.

    spans: the first rig and those of the `rig` events, in the order in which these came
    index: which of them holds now
    notes: warnings about rigs that cannot be used
    """

    def __init__(self, first: Roles, load: Loader | None) -> None:
        self.spans = [RigSpan(-math.inf, "rig.toml", None, first)]
        self.index = 0
        self.notes: list[Message] = []
        self._load = load
        self._due: list[tuple[int, int]] = []  # second and index of those to come, in order

    def fork(self) -> RigTimetable:
        """A copy that can go on alone; events are added to neither meanwhile."""
        other = copy.copy(self)
        other._due = list(self._due)
        return other

    @property
    def roles(self) -> Roles:
        """Of the rig that holds now."""
        return self.spans[self.index].roles

    @property
    def next_s(self) -> float:
        """The second from which the next rig holds, inf where none is to come."""
        return self._due[0][0] if self._due else math.inf

    def add(self, event: Event) -> None:
        """The rig that a `rig` event names, from the first whole second at or after the event."""
        if self._load is None:
            return
        try:
            rig, its_roles = self._load(event.text)
            check_same(self.spans[0].roles, its_roles, event.text)
        except UserFault as fault:
            name = event.text or "its copy"
            self.notes.append(message("rig_change_not_used", copy=name, fault=fault.fault))
            return
        if len(self.spans) < MOST_RIGS:
            self._due.append((math.ceil(event.time_s), len(self.spans)))
            self._due.sort()
            self.spans.append(RigSpan(event.time_s, event.text, rig, its_roles))

    def go_on(self) -> None:
        """The next rig holds."""
        self.index = self._due.pop(0)[1]


def rigs_of(folder: str | Path, sensors: Sensors) -> Loader:
    """For an Analyser: the rig of a `rig` event's text, a file name in the session's folder.

    What it returns raises RigFault or SensorsFault for a file that cannot be used.
    """
    home = Path(folder)

    def load(name: str) -> tuple[Rig, Roles]:
        if not name or Path(name).name != name:  # never a path out of the session
            raise RigFault(home, "names no file of the session in a rig event", "take its copy")
        rig = parse_rig(read_text(home / name, RigFault), str(home / name))
        return rig, roles(rig, sensors)

    return load


def check_same(first: Roles, now: Roles, name: str) -> None:
    """RigFault where the channels have other parts to play than under the first rig."""
    same = (
        [c.name for c in first.forces] == [c.name for c in now.forces]
        and (first.haul_force is None) == (now.haul_force is None)
        and first.load_length is now.load_length
        and (first.progress is None) == (now.progress is None)
    )
    if not same:
        raise RigFault(
            name, "gives the channels other places than the first rig", "name its stations alike"
        )
