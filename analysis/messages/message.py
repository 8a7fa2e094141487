"""Messages for people: a code with values, rendered from one catalogue in the reader's units.

A `Message` names its code in `analysis.messages.catalogue` and carries plain values.  Code decides by codes
and values; no code reads a rendered text again.  A value whose name ends in a unit (`least_N`,
`way_m`) is a quantity in that SI unit.

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
from typing import Any, Protocol

from analysis.messages.catalogue import CATALOGUE
from analysis.messages.template import Level

# SI unit of a value, by what its name ends in
UNITS = {"_N": "N", "_m": "m", "_s": "s", "_J": "J", "_W": "W", "_kg": "kg", "_deg": "deg",
         "_m_s": "m/s", "_N_m": "N/m"}  # fmt: skip
# what a template may show in place of the SI unit: the SI unit of one of it
MULTIPLES = {"kN": 1000.0, "kJ": 1000.0, "cm": 0.01, "mm": 0.001, "%": 0.01}


class UnitSystem(Protocol):
    """How one system of units writes a quantity."""

    def written(self, value: float, form: str, unit: str) -> tuple[str, str]:
        """(number, unit) as text, for a value in `unit` that SI writes with the format `form`."""


class _SI:
    def written(self, value: float, form: str, unit: str) -> tuple[str, str]:
        return format(value, form), unit


SI: UnitSystem = _SI()


@dataclass(frozen=True)
class Message:
    """What is to be said to a person.

    code: the row of the catalogue; a code never changes its meaning.
    values: by name of the template's field; numbers in the unit that the name ends in, else plain.
    """

    code: str
    values: Mapping[str, Any] = field(default_factory=dict)

    @property
    def level(self) -> Level:
        """info, caution or stop."""
        return CATALOGUE[self.code].level

    def text(self, units: UnitSystem = SI) -> str:
        """The sentence, its quantities in these units."""
        return "".join(
            literal if name is None else literal + _shown(name, self._form(form), self.values[name], units)
            for literal, name, form in _fields(self.code)
        )

    def _form(self, form: str) -> str:
        return form.format_map(self.values) if "{" in form else form

    def json(self) -> dict[str, Any]:
        """One of `messages` of interface section 6: code, text in SI, level, plain values."""
        values = {name: _plain(value) for name, value in self.values.items()}
        return {"code": self.code, "text": self.text(), "level": self.level, "values": values}


def message(code: str, **values: Any) -> Message:
    """A message with these values; a test holds every call against the fields of its template."""
    return Message(code, values)


def text_of(one: Message | None, units: UnitSystem = SI) -> str:
    """The sentence; "" where there is nothing to say."""
    return "" if one is None else one.text(units)


def texts(messages: tuple[Message, ...] | list[Message], units: UnitSystem = SI) -> list[str]:
    """The sentences in their order, each once."""
    return list(dict.fromkeys(one.text(units) for one in messages))


def once(messages: Iterable[Message]) -> tuple[Message, ...]:
    """The messages in their order, each sentence once."""
    return tuple({one.text(): one for one in messages}.values())


def fields(code: str) -> set[str]:
    """Names of the values that a code's template needs."""
    inner = (name for _, _, form in _fields(code) for _, name, _, _ in string.Formatter().parse(form))
    return {name for name in (*(name for _, name, _ in _fields(code)), *inner) if name is not None}


@cache
def _fields(code: str) -> tuple[tuple[str, str | None, str], ...]:
    """(text before, name of the field or None at the end, format) of a code's template."""
    parsed = string.Formatter().parse(CATALOGUE[code].text)
    return tuple((literal, name, form or "") for literal, name, form, _ in parsed)


def _shown(name: str, form: str, value: Any, units: UnitSystem) -> str:
    """A value as its field asks for it."""
    if "|" in form:
        one, many = form.split("|")
        return one if value == 1 else many
    if isinstance(value, Message):
        return value.text(units)
    if isinstance(value, tuple | list):
        return "; ".join(_shown(name, form, one, units) for one in value)
    if value is None:
        return ""
    if isinstance(value, str | bool):
        return str(value)
    bare = form.endswith("~")
    form, _, multiple = form.removesuffix("~").partition(" ")
    unit = _unit(name)
    if multiple:
        value, unit = value / MULTIPLES[multiple], multiple
    if not unit:
        return format(value, form)
    number, written = (format(value, form), unit) if unit == "%" else units.written(value, form, unit)
    return number if bare else f"{number} {written}"


def _unit(name: str) -> str:
    """The SI unit that a value's name ends in, "" for none; the longest ending counts."""
    ends = [end for end in UNITS if name.endswith(end)]
    return UNITS[max(ends, key=len)] if ends else ""


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
