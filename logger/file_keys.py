"""Declares the keys of a TOML file once: unit, range, default, meaning and an example of each.

The strict reader (`logger/toml_tables.py`), `haul help`, `haul schema` and the fields of the pages
take what they need from the same declaration, so they can't disagree.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Any

from logger.device_units import FORCE_UNITS, LBF_N, LENGTH_UNITS

# by definition: one avoirdupois pound is 0.45359237 kg (NIST SP 811, table 3)
LB_KG = 0.45359237
# the units that a key's name may end in, by quantity, with the SI value of one (interface, top);
# the first of each is named where no other is written
UNIT_SUFFIXES: dict[str, dict[str, float]] = {
    "length": {unit: LENGTH_UNITS[unit] for unit in ("m", "ft", "in", "mm")},
    "force": {"N": 1.0, "kN": 1000.0, "lbf": LBF_N, "kgf": FORCE_UNITS["kgf"]},
    "mass": {"kg": 1.0, "lb": LB_KG},
}
# units that stand in a key's name and have no other spelling
_OTHER_SUFFIXES = {"deg": "degrees", "percent": "%", "s": "seconds"}
_SPOKEN = {"m": "metres", "ft": "feet", "in": "inches", "mm": "mm"} | _OTHER_SUFFIXES


class KeyKind(StrEnum):
    """What a key's value is."""

    NUMBER = "number"
    WHOLE = "whole number"
    TEXT = "text"
    FLAG = "true or false"
    TEXTS = "list of texts"
    STATIONS = "list of stations"
    NUMBERS = "list of numbers"
    ROWS = "list of lists of numbers"
    FIGURE = "number, or a text that says why there is none"


class TableForm(StrEnum):
    """How often a table may stand in its file."""

    TOP = "top of the file"
    ONE = "once"
    NAMED = "once for each name"
    LIST = "any number of times"
    STATION = "a station of a rope's path"


@dataclass(frozen=True)
class Spelling:
    """One name under which a number may be written, and its unit."""

    name: str  # as written, such as "anchor_to_load_ft"
    unit: str  # of the number, such as "ft"; "" where it has none
    factor: float  # numbers in the declared unit in one of this unit


@dataclass(frozen=True)
class Key:
    """One key of a table."""

    name: str  # as declared; a number with a unit ends in it, such as "mass_kg"
    kind: KeyKind  # what its value is
    meaning: str  # one sentence, without the unit
    example: str  # a value as it is written in TOML
    default: str = ""  # what holds where it is left out; "" if nothing does
    least: float = -math.inf  # inclusive bound of a number, in the declared unit
    most: float = math.inf  # inclusive bound of a number, in the declared unit
    above: float | None = None  # exclusive lower bound of a number, in the declared unit
    choices: tuple[str, ...] = ()  # the texts that are allowed; empty: any
    longest: int = 2000  # characters of a text; memory only
    needed: bool = False  # whether the table can't do without it
    plain_unit: str = ""  # unit of a number whose key doesn't name it, such as "N"
    never_beside: tuple[str, ...] = ()  # keys of the same table that it excludes, as declared
    needs_one_of: tuple[str, ...] = ()  # keys of the same table, one of which it needs; empty: none
    listed: tuple[
        str, ...
    ] = ()  # the texts allowed, where the reader says more of another than a list
    pattern: str = ""  # regular expression that a text matches; "": any text

    @property
    def unit(self) -> str:
        """The unit that the key's name ends in, or `plain_unit`; "" where the number has none."""
        found_unit = _unit_and_place(self.name)
        return self.plain_unit if found_unit is None else found_unit[0]

    @cached_property
    def spellings(self) -> tuple[Spelling, ...]:
        """The key's names, the declared one first, then those in other units of its quantity."""
        own = Spelling(self.name, self.unit, 1.0)
        place = _unit_and_place(self.name)
        if self.kind is not KeyKind.NUMBER or place is None:
            return (own,)
        unit, before, behind = place
        for units in UNIT_SUFFIXES.values():
            if unit in units:
                return (own, *(
                    Spelling(f"{before}_{other}{behind}", other, size / units[unit])
                    for other, size in units.items() if other != unit
                ))  # fmt: skip
        return (own,)


@dataclass(frozen=True)
class KeyTable:
    """One table of a file, or one kind of station of a path."""

    name: str  # as written, NAME for a name of the user's: "load", "pulley.NAME"; "" at the top
    form: TableForm  # how often it may stand in the file
    meaning: str  # one sentence
    keys: tuple[Key, ...]  # in the order in which help lists them
    others: bool = False  # whether further keys may stand beside them, unread

    def key(self, name: str) -> Key:
        """The declared key of this name; raises KeyError where there is none."""
        return self._by_name[name]

    @cached_property
    def _by_name(self) -> dict[str, Key]:
        """The keys by their declared name."""
        return {key.name: key for key in self.keys}


@dataclass(frozen=True)
class FileKeys:
    """All tables of one kind of file."""

    name: str  # "rig", "sensors", "calibration"
    meaning: str  # one sentence
    tables: tuple[KeyTable, ...]  # in the order in which a file holds them
    rules: tuple[
        Mapping[str, Any], ...
    ] = ()  # of its JSON Schema, beside what follows from each key

    def table(self, name: str) -> KeyTable:
        """The declared table of this name; raises KeyError where there is none."""
        for each in self.tables:
            if each.name == name:
                return each
        raise KeyError(name)


def spoken_unit(unit: str) -> str:
    """The unit as a sentence names it: "metres" for "m"."""
    return _SPOKEN.get(unit, unit)


def _unit_and_place(name: str) -> tuple[str, str, str] | None:
    """The unit in a key's name, what stands before it and behind it; None where it names no unit.

    A `_u` for the standard uncertainty stands before the unit or behind it.
    """
    match = re.fullmatch(r"(.+)_(m|mm|N|kN|kg|deg|percent|s)(_u)?", name)
    return (match[2], match[1], match[3] or "") if match else None
