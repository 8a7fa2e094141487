"""Keeps what has been read of a rig file so far.

Tables refer to each other by name in any order, so all readers work on one draft, and it keeps
each name unique over the file.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from analysis.messages.message import Message
from analysis.rig.rig import Body, Rating, Rope, Station, Strand
from logger.errors import RigFault
from logger.toml_tables import Table

RESERVED = ("anchor", "load", "free")


@dataclass
class RigDraft:
    """A rig while it is read; lists in the order of Rig."""

    file: str  # named in faults
    tables: dict[str, dict[str, Table]]  # [KIND.NAME] by kind and name
    default_e: float  # efficiency of a pulley that states none
    default_u: float  # its standard uncertainty
    names: dict[str, str] = field(default_factory=lambda: dict.fromkeys(RESERVED, "reserved"))
    bodies: list[Body] = field(default_factory=list)
    body_index: dict[str, int] = field(default_factory=dict)  # into bodies, by name
    stations: list[Station] = field(default_factory=list)
    strands: list[Strand] = field(default_factory=list)
    ropes: list[Rope] = field(default_factory=list)
    ratings: dict[str, Rating] = field(default_factory=dict)
    notes: list[Message] = field(default_factory=list)

    def fault(self, place: str, what: str, cure: str) -> RigFault:
        return RigFault(self.file, what, cure, place)

    def add(self, body: Body) -> None:
        self.body_index[body.name] = len(self.bodies)
        self.bodies.append(body)

    def name(self, name: Any, what: str, place: str) -> str:
        """A new name, unique over the file and free of what would confuse a strand's name."""
        if not isinstance(name, str) or not name.strip() or len(name) > 40:
            raise self.fault(
                place, f"a {what} needs a name of 1 to 40 characters", f'write {what} = "NAME"'
            )
        if ">" in name or not name.isprintable() or name != name.strip():
            raise self.fault(
                place,
                f'the name "{name}" holds a ">", a control character or outer blanks',
                "take it out",
            )
        if name in self.names:
            used = self.names[name]
            why = "is reserved" if used == "reserved" else f"already names a {used}"
            raise self.fault(place, f'the name "{name}" {why}', "give each thing a name of its own")
        self.names[name] = what
        return name


def needed(table: Table, key: str, **limits: Any) -> float:
    """The number under this key; raises RigFault where it is absent."""
    value = table.number(key, **limits)
    if value is None:
        raise table.fault(key, "is missing", f"write {key} = a number{limits.get('unit', '')}")
    return value
