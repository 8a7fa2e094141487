"""Reads what a person types into a field: a number with or without its unit, or a text."""

from __future__ import annotations

import math
import re
from typing import Any

from logger.errors import CallFault
from logger.file_keys import Key, KeyKind
from logger.typed_commas import asked_comma, comma_in_number

MOST_TYPED = 200  # characters; memory only


def typed_value(key: Key, typed: Any) -> tuple[str, float | int | str | None]:
    """The key's name and value for what was typed: the name in the unit that was typed.

    "900 kg" under mass_kg is ("mass_kg", 900.0), "2000 lb" is ("mass_lb", 2000.0); a number without a
    unit is in the declared one; nothing typed takes the key out.  Raises CallFault, which says what to
    type instead.
    """
    text = "" if typed is None else str(typed).strip()
    if len(text) > MOST_TYPED:
        raise CallFault(key.name, "is too long", f"type at most {MOST_TYPED} characters")
    if text == "":
        return key.name, None
    if key.kind is KeyKind.TEXT:
        if key.choices and text not in key.choices:
            raise CallFault(key.name, f'"{text}" is not one of them', ", ".join(key.choices))
        return key.name, text
    if comma_in_number(text):
        raise CallFault(key.name, *asked_comma(text))
    match = re.fullmatch(r"([+-]?[0-9]*[.]?[0-9]+|[+-]?[0-9]+[.])\s*([A-Za-z%°]*)", text, re.ASCII)
    if match is None:
        raise CallFault(key.name, f'"{text}" is no number', f"type {_valid(key)}")
    number = float(match[1])
    if not math.isfinite(number):
        raise CallFault(key.name, f'"{text}" is no number', f"type {_valid(key)}")
    if key.kind is KeyKind.WHOLE:
        if match[2] or number != int(number):
            raise CallFault(key.name, f'"{text}" is no whole number', f"type {_valid(key)}")
        return key.name, int(number)
    unit = {"%": "percent", "°": "deg"}.get(match[2], match[2])
    for spelling in key.spellings:
        if unit in ("", spelling.unit):
            return spelling.name, number
    raise CallFault(key.name, f'"{match[2]}" is no unit for it', f"type {_valid(key)}")


def _valid(key: Key) -> str:
    """What may be typed under a key, with all its units."""
    if key.kind is KeyKind.WHOLE:
        return "a whole number without a unit, such as 4"
    units = " ".join(each.unit for each in key.spellings if each.unit)
    return f"a number with one of {units}" if units else "a number without a unit, such as 0.9"
