"""Collects the contents of a rig file while it is read.

Tables refer to each other by name in any order, so all readers work on one draft, which keeps each name
unique over the file.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from analysis.messages.message import Message
from analysis.rig.rig import Body, Rating, Rope, Station, Strand
from analysis.rig_file.rig_keys import NAME_LENGTH, RESERVED
from logger.errors import RigFault
from logger.file_keys import spoken_unit
from logger.toml_tables import Table


@dataclass
class RigDraft:
    """A rig while it is read; lists in the order of Rig.

    names: kind of each name used so far.
    """

    file: str  # named in faults
    tables: dict[str, dict[str, Table]]  # [KIND.NAME] by kind and name
    default_e: float  # efficiency of a pulley that states none
    default_u: float  # its standard uncertainty
    names: dict[str, str] = field(default_factory=lambda: dict.fromkeys(RESERVED, "reserved"))
    bodies: list[Body] = field(default_factory=list)  # anchor, load, then in file order
    body_index: dict[str, int] = field(default_factory=dict)  # into bodies, by name
    stations: list[Station] = field(default_factory=list)  # in rope order
    strands: list[Strand] = field(default_factory=list)  # in rope order
    ropes: list[Rope] = field(default_factory=list)  # in file order
    ratings: dict[str, Rating] = field(default_factory=dict)  # by name of the item
    notes: list[Message] = field(default_factory=list)  # warnings so far

    def fault(self, place: str, what: str, cure: str) -> RigFault:
        """Make a fault of this file: where it is, what is wrong, what to write instead."""
        return RigFault(self.file, what, cure, place)

    def add(self, body: Body) -> None:
        """Append a body and index it by name."""
        self.body_index[body.name] = len(self.bodies)
        self.bodies.append(body)

    def name(self, name: Any, what: str, place: str) -> str:
        """Register a name for an item of kind `what`.

        Raises RigFault unless it is unique over the file and has no ">", which strand names use.
        """
        if not isinstance(name, str) or not name.strip() or len(name) > NAME_LENGTH:
            raise self.fault(
                place,
                f"a {what} needs a name of 1 to {NAME_LENGTH} characters",
                f'write {what} = "NAME"',
            )
        if ">" in name or not name.isprintable() or name != name.strip():
            raise self.fault(
                place,
                f'the name "{name}" has a ">", a control character, or a blank at its start or end',
                "take that out",
            )
        if name in self.names:
            used = self.names[name]
            why = "is reserved" if used == "reserved" else f"already names a {used}"
            raise self.fault(
                place, f'the name "{name}" {why}', "write a different name for each item"
            )
        self.names[name] = what
        return name


def needed(table: Table, key: str) -> float:
    """The number under this declared key of a table; raises RigFault where it is absent."""
    value = table.number(key)
    if value is None:
        unit = table.spelling(key).unit
        cure = f"write {key} = a number" + (f" of {spoken_unit(unit)}" if unit else "")
        raise table.fault(key, "is missing", cure)
    return value
