"""Defines the edits of a rig file: what a touch on the drawing or the list changes.

Each edit changes a TOML document in place, given as nested mappings and lists, and works alike on plain
dicts and on a parsed file that keeps its comments.  It raises EditFault where the document has no such
place.  Whether the rig can work afterwards is not asked here.
"""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping, MutableSequence
from dataclasses import dataclass
from typing import Any, Protocol

from analysis.rig_file.parser import TABLES
from analysis.rig_file.rig_keys import STATION_KEYS
from logger.errors import UserFault

Document = MutableMapping[str, Any]
Value = str | float | int | bool
BODY_KEYS = ("tie", "on")  # keys of a station whose value is the name of a body


class EditFault(UserFault):
    """An edit asks for a place that the rig file does not have, or for a name that is taken."""


def refused_edit(what: str, cure: str) -> EditFault:
    """The fault of an edit: what is wrong, what to do instead."""
    return EditFault("edit", what, cure)


@dataclass(frozen=True)
class StationPlace:
    """A place in a rope's path."""

    rope: int  # index of the rope, from 0
    station: int  # index of the station in its path, from 0


@dataclass(frozen=True)
class PutStation:
    """Put a station into a path, before the one that stands at this place."""

    place: StationPlace  # its index after the edit; the path's length puts it last
    values: tuple[tuple[str, Value], ...]  # its keys in order, the kind first with its name

    def change(self, document: Document) -> None:
        """Insert the station."""
        path = path_of(document, self.place.rope)
        if not 0 <= self.place.station <= len(path):
            raise refused_edit("there is no such place in the path", "read the rig again")
        _insert(path, self.place.station, dict(self.values))


@dataclass(frozen=True)
class TakeStation:
    """Take a station out of its path, with its own table and its mention in gear."""

    place: StationPlace  # of the station

    def change(self, document: Document) -> None:
        """Remove the station."""
        path, station = station_at(document, self.place)
        kind = kind_of(station)
        name = str(station.get(kind, ""))
        del path[self.place.station]
        if kind in TABLES:
            _drop_item(document, kind, name)
            _drop_from_gear(document, name)


@dataclass(frozen=True)
class MoveStation:
    """Move a station to another place in the same path."""

    place: StationPlace  # where it stands
    to: int  # its index after the edit

    def change(self, document: Document) -> None:
        """Take the station out and put it in again."""
        path, station = station_at(document, self.place)
        if not 0 <= self.to < len(path):
            raise refused_edit("there is no such place in the path", "read the rig again")
        values = dict(station)
        del path[self.place.station]
        _insert(path, self.to, values)


@dataclass(frozen=True)
class SetStation:
    """Set one key of a station, or take it out."""

    place: StationPlace  # of the station
    key: str  # its key, in any unit
    value: Value | None  # None takes the key out

    def change(self, document: Document) -> None:
        """Write the key, in place of its other spellings."""
        station = station_at(document, self.place)[1]
        _write(station, kind_of(station), self.key, self.value)


@dataclass(frozen=True)
class SetValue:
    """Set one key of a table, or take it out; an empty table goes too."""

    table: str  # "" for the top, "load", "rope.0" by index, "pulley.A1" by name
    key: str  # its key, in any unit
    value: Value | tuple[str, ...] | None  # None takes the key out

    def change(self, document: Document) -> None:
        """Write the key, in place of its other spellings."""
        kind, _, name = self.table.partition(".")
        if self.table == "":
            _write(document, "", self.key, self.value)
            return
        if kind == "rope":
            _write(rope_at(document, _index(name)), "rope", self.key, self.value)
            return
        holder = document
        if name:
            if self.value is None and kind not in document:
                return
            holder = document.setdefault(kind, {})
        leaf = name or kind
        if leaf not in holder:
            if self.value is None:
                return
            holder[leaf] = {}
        _write(holder[leaf], kind, self.key, self.value)
        if not holder[leaf]:
            del holder[leaf]
        if name and not holder:
            del document[kind]


@dataclass(frozen=True)
class Rename:
    """Give a part, body or rope another name, wherever the file names it."""

    old: str  # its name now
    new: str  # its name after the edit

    def change(self, document: Document) -> None:
        """Write the new name in paths, tables and gear."""
        names = names_in(document)
        if self.old not in names:
            raise refused_edit(f'there is no part "{self.old}"', "read the rig again")
        if self.new in names or self.new in ("anchor", "load", "free"):
            raise refused_edit(f'the name "{self.new}" is taken', "choose another name")
        for rope in document.get("rope", []):
            if rope.get("name") == self.old:
                rope["name"] = self.new
            for station in rope.get("path", []):
                for key in (*BODY_KEYS, *STATION_KEYS):
                    if station.get(key) == self.old:
                        station[key] = self.new
        for kind in TABLES:
            items = document.get(kind, {})
            if self.old in items:
                items[self.new] = items.pop(self.old)
        for gear in document.get("gear", {}).values():
            carries = gear.get("carries", [])
            for k, name in enumerate(carries):
                if name == self.old:
                    carries[k] = self.new


@dataclass(frozen=True)
class PutRope:
    """Add a rope, last in the file."""

    name: str  # of the rope
    stations: tuple[tuple[tuple[str, Value], ...], ...]  # its path, each station as in PutStation

    def change(self, document: Document) -> None:
        """Append the rope."""
        if self.name in names_in(document):
            raise refused_edit(f'the name "{self.name}" is taken', "choose another name")
        row = {"name": self.name, "path": [dict(station) for station in self.stations]}
        if "rope" in document:
            document["rope"].append(row)
        else:
            document["rope"] = [row]


@dataclass(frozen=True)
class TakeRope:
    """Take a rope out, with the tables of its parts."""

    rope: int  # its index, from 0

    def change(self, document: Document) -> None:
        """Remove the rope."""
        rope = rope_at(document, self.rope)
        for station in rope.get("path", []):
            kind = kind_of(station)
            if kind in TABLES:
                _drop_item(document, kind, str(station.get(kind, "")))
                _drop_from_gear(document, str(station.get(kind, "")))
        del document["rope"][self.rope]
        if not document["rope"]:
            del document["rope"]


@dataclass(frozen=True)
class TakeItem:
    """Take out the table of a further anchor, a plate or gear, and its mention in gear."""

    kind: str  # "further_anchor", "plate" or "gear"
    name: str  # of the item

    def change(self, document: Document) -> None:
        """Remove the table."""
        if self.name not in document.get(self.kind, {}):
            raise refused_edit(f'there is no {self.kind} "{self.name}"', "read the rig again")
        _drop_item(document, self.kind, self.name)
        _drop_from_gear(document, self.name)


class RigEdit(Protocol):
    """One change of a rig file; a value."""

    def change(self, document: Document) -> None:
        """Make the change in place; raises EditFault where the file has no place for it."""


def rope_at(document: Document, rope: int) -> Any:
    """The table of a rope; raises EditFault where there is none."""
    ropes = document.get("rope", [])
    if not 0 <= rope < len(ropes):
        raise refused_edit("there is no such rope", "read the rig again")
    return ropes[rope]


def path_of(document: Document, rope: int) -> Any:
    """The path of a rope, an empty one if it has none; raises EditFault where there is no such rope."""
    return rope_at(document, rope).setdefault("path", [])


def station_at(document: Document, place: StationPlace) -> tuple[Any, Any]:
    """The path and the station at a place; raises EditFault where there is none."""
    path = path_of(document, place.rope)
    if not 0 <= place.station < len(path):
        raise refused_edit("there is no such station", "read the rig again")
    return path, path[place.station]


def kind_of(station: Mapping[str, Any]) -> str:
    """The kind of a station as written; "" where it has none."""
    return next((kind for kind in STATION_KEYS if kind in station), "")


def names_in(document: Document) -> set[str]:
    """Every name that the document gives to a rope, part or body."""
    names: set[str] = set()
    for rope in document.get("rope", []):
        names.add(str(rope.get("name", "")))
        for station in rope.get("path", []):
            kind = kind_of(station)
            if kind not in ("tie", "free", ""):
                names.add(str(station[kind]))
    for kind in ("further_anchor", "plate", "gear"):
        names |= set(document.get(kind, {}))
    return names - {""}


def _index(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() else -1


def _write(table: Document, declared: str, key: str, value: Any) -> None:
    """Write a key in place of its other spellings, or take it out where value is None."""
    for spelling in _spellings(declared, key):
        if spelling in table and (value is None or spelling != key):
            del table[spelling]
    if value is not None:
        table[key] = list(value) if isinstance(value, tuple) else value


def _spellings(declared: str, key: str) -> tuple[str, ...]:
    """All names of the key in the declared tables of this kind; raises EditFault where it has none."""
    from analysis.rig_file.rig_keys import RIG

    for table in RIG.tables:
        if table.name.partition(".")[0] == declared:
            for each in table.keys:
                names = tuple(spelling.name for spelling in each.spellings)
                if key in names:
                    return names
    raise refused_edit(f'there is no key "{key}" here', "read `haul help rig`")


def _insert(path: MutableSequence[Any], index: int, values: dict[str, Value]) -> None:
    path.insert(index, values)


def _drop_item(document: Document, kind: str, name: str) -> None:
    items = document.get(kind, {})
    if name in items:
        del items[name]
        if not items:
            del document[kind]


def _drop_from_gear(document: Document, name: str) -> None:
    """Take a name out of what gear carries; gear that then carries nothing goes too."""
    gears = document.get("gear", {})
    for gear, row in list(gears.items()):
        carries = row.get("carries", [])
        if name in carries:
            left = [one for one in carries if one != name]
            if left:
                row["carries"] = left
            else:
                _drop_item(document, "gear", gear)
