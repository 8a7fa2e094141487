"""A rig that was changed during a session: the copies that `rig` events name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from analysis.messages.message import Message, message
from analysis.rig.rig import Rig
from analysis.rig_file.load import parse_rig
from analysis.signals.channel_roles import Roles, roles
from logger.channels.sensors_file import Sensors
from logger.errors import RigFault, UserFault
from logger.toml_tables import read_text


@dataclass(frozen=True)
class RigSpan:
    """A rig of a session and from which time on it holds; rig: None where the analyser was given
    its roles alone."""

    time_s: float
    name: str
    rig: Rig | None
    roles: Roles


Loader = Callable[[str], tuple[Rig, Roles]]


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


def not_used(name: str, fault: UserFault) -> Message:
    """The warning where a rig cannot be used."""
    return message("rig_change_not_used", copy=name or "its copy", fault=fault.fault)
