"""Renders messages for people: a code with values becomes a sentence in the reader's units.

A `Message` holds its code in `analysis.messages.catalogue` and plain values.  The program decides by codes
and values and never reads a rendered text.  A value whose name ends in a unit (`least_N`, `way_m`) is a
quantity in that SI unit.

A template is a text with fields in braces:

- `{cell}`: a text as it is; a number as `str` gives it; a `Message` in the same units; a tuple of
  messages or texts, joined by "; ".
- `{least_N:.0f}`: a quantity with this format and its unit, "12 N".
- `{limit_N:.2f kN}`: a quantity in a multiple of its unit; `{share:.0f %}`: a fraction in percent.
- `{low_m:.1f~} to {high_m:.1f}`: `~` leaves the unit out, since the next quantity gives it.
- `{lines:line|lines}`: the first word for 1, the second for any other number.
- `{high_N:.{places}f}`: a format may itself hold a value.

A system of units other than SI writes each quantity with as many digits as the template gives in SI.
"""

from __future__ import annotations

import math
import string
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any, NamedTuple, Protocol

from analysis.messages.catalogue import CATALOGUE
from analysis.messages.template import Level

# SI unit of a value, by the ending of its name
UNITS = {"_N": "N", "_m": "m", "_s": "s", "_J": "J", "_W": "W", "_kg": "kg", "_deg": "deg",
         "_m_s": "m/s", "_N_m": "N/m"}  # fmt: skip
# units that a template may show in place of the SI unit, each in SI units
MULTIPLES = {"kN": 1000.0, "kJ": 1000.0, "cm": 0.01, "mm": 0.001, "%": 0.01}


class UnitSystem(Protocol):
    """How one system of units writes a quantity."""

    def written(self, value: float, form: str, unit: str) -> tuple[str, str]:
        """(number, unit) as text, for a value in the SI unit `unit` with the format `form` in SI."""


class _SI:
    """Quantities as they are, in SI."""

    def written(self, value: float, form: str, unit: str) -> tuple[str, str]:
        """(number, unit) as text, for a value in the SI unit `unit`."""
        return format(value, form), unit


SI: UnitSystem = _SI()


@dataclass(frozen=True)
class Message:
    """A message for a person.

    code: of its row in the catalogue; a code never changes its meaning.
    values: by name of the template's field; numbers are in the unit that the name ends in, if any.
    """

    code: str
    values: Mapping[str, Any] = field(default_factory=dict)

    @property
    def level(self) -> Level:
        """info, caution or stop."""
        return CATALOGUE[self.code].level

    def text(self, units: UnitSystem = SI) -> str:
        """The sentence, its quantities in these units."""
        return "".join([one.before + _shown(one, self.values, units) for one in _fields(self.code)])

    def json(self) -> dict[str, Any]:
        """The message as JSON (one of `messages` of interface section 6): code, text in SI, level, values."""
        values = {name: _plain(value) for name, value in self.values.items()}
        return {"code": self.code, "text": self.text(), "level": self.level, "values": values}


def message(code: str, **values: Any) -> Message:
    """Make a message; a test checks every call against the fields of its template."""
    return Message(code, values)


def text_of(one: Message | None, units: UnitSystem = SI) -> str:
    """The sentence of a message; "" for None."""
    return "" if one is None else one.text(units)


def texts(messages: tuple[Message, ...] | list[Message], units: UnitSystem = SI) -> list[str]:
    """The sentences of messages in their order, each once."""
    return list(dict.fromkeys(one.text(units) for one in messages))


def once(messages: Iterable[Message]) -> tuple[Message, ...]:
    """The messages in their order, without those whose sentence came before."""
    return tuple({one.text(): one for one in messages}.values())


def fields(code: str) -> set[str]:
    """Names of the values that a code's template needs."""
    parse = string.Formatter().parse
    inner = {name for one in _fields(code) for _, name, _, _ in parse(one.form)}
    return {name for name in {one.name for one in _fields(code)} | inner if name}


class _Field(NamedTuple):
    """A field of a template with the text before it."""

    before: str  # text before the field
    name: str  # of its value; "": no field, the text ends
    form: str  # format of the number
    unit: str  # unit written after the number; "": none
    size: float  # one such unit in the SI unit of the value
    bare: bool  # whether the unit is left out, because the next quantity gives it
    words: tuple[str, ...]  # words for 1 and for any other number; empty: the number is shown


@cache
def _fields(code: str) -> tuple[_Field, ...]:
    """The fields of a code's template; the last has no name and holds the closing text."""
    parsed = string.Formatter().parse(CATALOGUE[code].text)
    return tuple(_field(before, name or "", form or "") for before, name, form, _ in parsed)


def _field(before: str, name: str, form: str) -> _Field:
    """Parse one field of a template: its name and its format."""
    words = tuple(form.split("|")) if "|" in form else ()
    number, _, multiple = form.removesuffix("~").partition(" ")
    ends = [end for end in UNITS if name.endswith(end)]
    unit = multiple or (UNITS[max(ends, key=len)] if ends else "")
    size = MULTIPLES[multiple] if multiple and not words else 1.0
    return _Field(before, name, "" if words else number, unit, size, form.endswith("~"), words)


def _shown(one: _Field, values: Mapping[str, Any], units: UnitSystem) -> str:
    """The text of a field: its value in these units, or one of its words."""
    if not one.name:
        return ""
    value = values[one.name]
    if one.words:
        return one.words[0] if value == 1 else one.words[1]
    return _written(one, value, values, units)


def _written(one: _Field, value: Any, values: Mapping[str, Any], units: UnitSystem) -> str:
    """A value as text; values: those of the whole message, for a format that holds one of them."""
    if isinstance(value, str):
        return value
    if isinstance(value, Message):
        return value.text(units)
    if isinstance(value, tuple | list):
        return "; ".join(_written(one, each, values, units) for each in value)
    if value is None:
        return ""
    form = one.form.format_map(values) if "{" in one.form else one.form
    if not one.unit or isinstance(value, bool):
        return str(value) if isinstance(value, bool) else format(value, form)
    value = value if one.size == 1.0 else value / one.size
    number, unit = (
        (format(value, form), "%") if one.unit == "%" else units.written(value, form, one.unit)
    )
    return number if one.bare else f"{number} {unit}"


def _plain(value: Any) -> Any:
    """A value as JSON takes it; a number that is not finite is null."""
    if isinstance(value, Message):
        return {"code": value.code, "values": {n: _plain(v) for n, v in value.values.items()}}
    if isinstance(value, tuple | list):
        return [_plain(one) for one in value]
    if isinstance(value, bool | str) or value is None:
        return value
    if isinstance(value, int):
        return int(value)
    return float(value) if math.isfinite(value) else None
