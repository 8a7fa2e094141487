"""Makes the rig file at each stage of a conversion, from the edits that are done.

Parts keep their names until the last edit; then everything has the other rig's names.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from analysis.conversion.outline import Outline, Spot
from analysis.conversion.pairing import (
    FIXED,
    PairedPlace,
    PairedRope,
    Pairing,
    relocated,
    same_end,
    slid,
)
from analysis.rig.rig import Rig
from analysis.rig_edit.fresh_parts import LETTERS
from analysis.rig_file.parser import TABLES, read_rig

# tables of the job, which goes on with the other rig
JOB = ("anchor_to_load", "clearance", "load", "team", "defaults", "limits", "anchor")


@dataclass(frozen=True)
class Edit:
    """The smallest change of a conversion."""

    kind: str  # off | on | relocate | slide | end | rope off | rope on
    item: str  # kind of the station; "" of a rope
    rope: int  # index into Pairing.ropes
    entry: int  # index into its entries; -1 of a whole rope


@dataclass(frozen=True)
class Standing:
    """A station at one stage."""

    rope: int  # index into Pairing.ropes
    entry: int  # index into its entries
    spot: Spot  # as one of the two files writes it
    fresh: bool  # whether that is the other rig's file
    name: str  # its name at this stage; of a tie, its body


class Stages:
    """All stages between two rigs that are laid over each other."""

    def __init__(self, old: Outline, new: Outline, pairing: Pairing) -> None:
        self.old, self.new, self.pairing = old, new, pairing
        self.moved = relocated(pairing.bodies, pairing.ropes)
        self.edits = tuple(self._edits())
        self.all = frozenset(range(len(self.edits)))
        self._bit = {(edit.rope, edit.entry): k for k, edit in enumerate(self.edits)}
        for k, edit in enumerate(self.edits):
            if edit.kind == "relocate":
                self._bit[self._target(edit)] = k
        self._back = {b: a for a, b in pairing.bodies.items()}
        self._cache: dict[frozenset[int], Rig | None] = {}
        self.stays = self._stays()  # name in the other rig -> name of the same part now

    def _stays(self) -> dict[str, str]:
        """The parts that stay, name in the other rig -> name now."""
        pairs = {
            entry.new.name: entry.old.name
            for rope in self.pairing.ropes
            for entry in rope.entries
            if entry.old is not None and entry.new is not None
            and entry.old.kind == entry.new.kind and entry.new.kind not in ("tie", "free")
        }  # fmt: skip
        return pairs | {new: old for old, new in self.pairing.bodies.items()}

    def carry_over(self, off: Edit, on: Edit) -> None:
        """Take note that what comes off with one edit goes on with the other."""
        old, new = self.entry(off).old, self.entry(on).new
        assert old is not None and new is not None
        self.stays[new.name] = old.name

    def _edits(self) -> Iterable[Edit]:
        for r, rope in enumerate(self.pairing.ropes):
            if rope.old is None or rope.new is None:
                yield Edit("rope on" if rope.old is None else "rope off", "", r, -1)
                # its parts come and go with it, or one by one while it is there
                for k, entry in list(enumerate(rope.entries))[1:-1]:
                    if entry.new is not None:
                        yield Edit("on", entry.new.kind, r, k)
                    elif entry.old is not None:
                        yield Edit("off", entry.old.kind, r, k)
                continue
            for k, entry in enumerate(rope.entries):
                if k in (0, len(rope.entries) - 1):
                    if not same_end(self.pairing.bodies, entry) and entry.old is not None:
                        yield Edit("end", entry.old.kind, r, k)
                elif entry.new is None and entry.old is not None:
                    moves = entry.old.kind == "grab" and entry.old.name in self.moved
                    yield Edit("relocate" if moves else "off", entry.old.kind, r, k)
                elif entry.old is None and entry.new is not None:
                    if not (entry.new.kind == "grab" and entry.new.name in self.moved.values()):
                        yield Edit("on", entry.new.kind, r, k)
                elif slid(self.pairing.bodies, entry):
                    yield Edit("slide", "grab", r, k)

    def _target(self, edit: Edit) -> tuple[int, int]:
        """Rope and entry to which a relocated grab goes."""
        spot = self.entry(edit).old
        assert spot is not None
        for r, rope in enumerate(self.pairing.ropes):
            if rope.old is None:
                continue
            for k, entry in enumerate(rope.entries):
                there = entry.new if entry.old is None else None
                if there and there.kind == "grab" and there.name == self.moved[spot.name]:
                    return r, k
        raise KeyError(spot.name)

    def parts_of_rope(self, edit: Edit) -> tuple[int, ...]:
        """Indices of the edits of the parts on a whole rope that comes or goes."""
        return tuple(k for k, e in enumerate(self.edits) if e.rope == edit.rope and e.entry >= 0)

    def spoken(self, edits: tuple[int, ...]) -> tuple[Edit, ...]:
        """The edits of a move that are spoken of: parts that come or go with their rope are not."""
        chosen = [self.edits[k] for k in edits]
        ropes = {edit.rope for edit in chosen if edit.entry < 0}
        return tuple(edit for edit in chosen if edit.entry < 0 or edit.rope not in ropes)

    def entry(self, edit: Edit) -> PairedPlace:
        """The place in its rope that an edit changes."""
        return self.pairing.ropes[edit.rope].entries[edit.entry]

    def places(self, edit: Edit) -> tuple[tuple[int, int], ...]:
        """(rope, entry) of the stations that an edit changes: two of a grab that is moved, all of a rope."""
        if edit.kind == "relocate":
            return ((edit.rope, edit.entry), self._target(edit))
        if edit.entry < 0:
            return tuple((edit.rope, k) for k in range(len(self.pairing.ropes[edit.rope].entries)))
        return ((edit.rope, edit.entry),)

    @cached_property
    def fresh_names(self) -> dict[str, str]:
        """Names, until the last edit, of what only the other rig has: its own where no part has it yet."""
        taken = _names(self.old) | set(FIXED) | {"free"}
        result: dict[str, str] = {}
        kept = {e.new.name for r in self.pairing.ropes for e in r.entries
                if e.old is not None and e.new is not None and e.new.kind != "tie"}  # fmt: skip
        kept |= set(self._back)
        for name in sorted(_names(self.new) - kept):
            wanted, number = name, 1
            letters = name.rstrip("0123456789") or LETTERS["plate"]
            while wanted in taken:
                wanted = f"{letters}{number}"
                number += 1
            taken.add(wanted)
            result[name] = wanted
        # a rig has one haul, so it is the same team on whichever rope
        hauls = [side.rig.stations[side.rig.haul].name for side in (self.new, self.old)]
        if hauls[0] not in kept:
            result[hauls[0]] = hauls[1]
        return result

    def _body(self, name: str, fresh: bool) -> str:
        """The name at a stage of a body that one of the files names."""
        if not fresh or name in FIXED or not name:
            return name
        return self._back.get(name) or self.fresh_names.get(name, name)

    def body_name(self, one: Standing) -> str:
        """The name at this stage of the body that a station acts on."""
        return self._body(one.spot.on, one.fresh)

    def rope_name(self, rope: int) -> str:
        """The name at this stage of a rope; rope: index into Pairing.ropes."""
        laid = self.pairing.ropes[rope]
        if laid.old is not None:
            return self.old.rig.ropes[laid.old].name
        assert laid.new is not None
        name = self.new.rig.ropes[laid.new].name
        return self.fresh_names.get(name, name)

    def standing(self, done: frozenset[int]) -> list[list[Standing]]:
        """The stations of each rope that is there after these edits, in order."""
        result = []
        for r, rope in enumerate(self.pairing.ropes):
            whole = self._bit.get((r, -1))
            if whole is not None and (whole in done) == (rope.new is None):
                continue
            result.append(
                [
                    one
                    for k, entry in enumerate(rope.entries)
                    if (one := self._standing(r, k, rope, entry, done)) is not None
                ]
            )
        return result

    def _standing(
        self, r: int, k: int, rope: PairedRope, entry: PairedPlace, done: frozenset[int]
    ) -> Standing | None:
        bit = self._bit.get((r, k))
        after = bit is not None and bit in done
        if rope.new is None or rope.old is None:
            spot, fresh = (entry.new, True) if rope.old is None else (entry.old, False)
            if bit is not None and after != fresh:
                return None
        elif entry.new is None:
            spot, fresh = (None if after else entry.old), False
        elif entry.old is None:
            spot, fresh = (entry.new if after else None), True
        else:
            spot, fresh = (entry.new, True) if after else (entry.old, False)
        if spot is None:
            return None
        if spot.kind == "tie":
            return Standing(
                rope=r, entry=k, spot=spot, fresh=fresh, name=self._body(spot.on, fresh)
            )
        name = spot.name
        if fresh:
            if entry.old is not None and entry.old.kind == spot.kind:
                name = entry.old.name
            else:
                own = spot.kind in ("grab", "edge")
                name = self._body(name, True) if own else self.fresh_names.get(name, name)
        return Standing(rope=r, entry=k, spot=spot, fresh=fresh, name=name)

    def rig(self, done: frozenset[int]) -> Rig | None:
        """The rig after these edits; None where the file could not be read, a pulley without its grab say."""
        if done not in self._cache:
            try:
                self._cache[done] = read_rig(self.document(done), "conversion", whole=False)
            except (ValueError, KeyError, _fault()):
                self._cache[done] = None
        return self._cache[done]

    def document(self, done: frozenset[int]) -> dict[str, Any]:
        """The rig file after these edits, as values."""
        standing = self.standing(done)
        document: dict[str, Any] = {
            key: copy.deepcopy(value)
            for key, value in self.old.document.items()
            if key != "rope" and key not in TABLES
        }
        ropes = []
        for stations in standing:
            laid = self.pairing.ropes[stations[0].rope]
            source = self.old if laid.old is not None else self.new
            index = laid.old if laid.old is not None else laid.new
            assert index is not None
            rope = dict(source.document["rope"][index])
            if laid.old is None:
                rope["name"] = self.fresh_names.get(str(rope["name"]), str(rope["name"]))
            rope["path"] = [self._values(one) for one in stations]
            ropes.append(rope)
        document["rope"] = ropes
        self._add_tables(document, standing)
        return document

    def _values(self, one: Standing) -> dict[str, Any]:
        """A station as the file writes it at this stage."""
        values = dict(one.spot.values)
        if one.spot.kind != "free":
            values[one.spot.kind] = one.name
        if "on" in values:
            values["on"] = self._body(str(values["on"]), one.fresh)
        return values

    def _add_tables(self, document: dict[str, Any], standing: list[list[Standing]]) -> None:
        """Add the tables of the parts, bodies and gear that are there."""
        used = set()
        for stations in standing:
            for one in stations:
                used |= {one.name, self._body(one.spot.on, one.fresh)}
        for kind in TABLES:
            if kind == "gear":
                continue
            rows = {
                name: copy.deepcopy(row)
                for name, row in self.old.document.get(kind, {}).items()
                if name in used
            }
            for name, row in self.new.document.get(kind, {}).items():
                fresh = self.fresh_names.get(name)
                if fresh in used and fresh not in rows:
                    rows[fresh] = copy.deepcopy(row)
            for name, fresh in self.fresh_names.items():
                row = self.old.document.get(kind, {}).get(self.stays.get(name))
                if row is not None and fresh in used and fresh not in rows:
                    rows[fresh] = copy.deepcopy(row)
            if rows:
                document[kind] = rows
        gears = {}
        for name, row in self.old.document.get("gear", {}).items():
            carries = [one for one in row.get("carries", []) if one in used or one == "anchor"]
            if carries:
                gears[name] = {**row, "carries": carries}
        if gears:
            document["gear"] = gears

    def last(self) -> dict[str, Any]:
        """The other rig's file on the job of the rig that is converted.

        A rope or part that stays keeps what its file says of it, where the other file says nothing.
        """
        own = {_stem(key) for key in self.old.document}
        document: dict[str, Any] = {
            key: copy.deepcopy(value)
            for key, value in self.new.document.items()
            if not (_stem(key) and _stem(key) in own)
        }
        for key, value in self.old.document.items():
            if _stem(key):
                document[key] = copy.deepcopy(value)
        for laid in self.pairing.ropes:
            if laid.new is None:
                continue
            rope = document["rope"][laid.new]
            rope["path"] = [dict(spot.values) for spot in self.new.ropes[laid.new]]
            if laid.old is not None and set(rope) == {"name", "path"}:
                stays = self.old.document["rope"][laid.old]
                document["rope"][laid.new] = {**copy.deepcopy(dict(stays)), **rope}
        for kind in TABLES:
            if kind == "gear":
                continue
            rows = self.old.document.get(kind, {})
            for name in sorted(_names(self.new)):
                row = rows.get(self.stays.get(name))
                if row is not None and name not in document.get(kind, {}):
                    document.setdefault(kind, {})[name] = copy.deepcopy(row)
        if "gear" not in document:
            names = {old: new for new, old in self.stays.items()} | {"anchor": "anchor"}
            for name, row in self.old.document.get("gear", {}).items():
                carries = [names[one] for one in row.get("carries", []) if one in names]
                if carries and name not in _names(self.new):
                    document.setdefault("gear", {})[name] = {**row, "carries": carries}
        plain = {key: one for key, one in document.items() if not isinstance(one, dict | list)}
        return plain | document


def _stem(key: str) -> str:
    """The key of the job that this is, without its unit; "" where it belongs to the rig."""
    return next((one for one in JOB if key == one or key.startswith(f"{one}_")), "")


def _names(rig: Outline) -> set[str]:
    """Names of all ropes, stations and bodies."""
    names = {rope.name for rope in rig.rig.ropes} | {body.name for body in rig.rig.bodies}
    return names | {s.name for s in rig.rig.stations if s.kind not in ("tie", "free")}


def _fault() -> type[Exception]:
    from logger.errors import UserFault

    return UserFault
