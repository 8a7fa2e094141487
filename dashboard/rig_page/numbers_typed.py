"""Reads what a person types into a field: a number with or without its unit, or a text."""

from __future__ import annotations

import math
import re
from typing import Any

from logger.errors import CallFault
from logger.file_keys import Key, KeyKind, spoken_unit

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
    match = re.fullmatch(r"([+-]?[0-9]*[.,]?[0-9]+|[+-]?[0-9]+[.,])\s*([A-Za-z%°]*)", text)
    if match is None:
        raise CallFault(key.name, f'"{text}" is no number', f"type a number{_in(key)}")
    if "," in match[1]:
        raise CallFault(
            key.name,
            f'"{text}": is the comma a decimal mark?',
            f"type {text.replace(',', '.')} if it is",
        )
    number = float(match[1])
    if not math.isfinite(number):
        raise CallFault(key.name, f'"{text}" is no number', f"type a number{_in(key)}")
    if key.kind is KeyKind.WHOLE:
        if match[2] or number != int(number):
            raise CallFault(key.name, f'"{text}" is no whole number', "type a whole number")
        return key.name, int(number)
    unit = {"%": "percent", "°": "deg"}.get(match[2], match[2])
    for spelling in key.spellings:
        if unit in ("", spelling.unit):
            return spelling.name, number
    units = " ".join(each.unit for each in key.spellings if each.unit)
    raise CallFault(
        key.name,
        f'"{match[2]}" is no unit for it',
        f"type a number with one of {units}" if units else "type a number without a unit",
    )


def _in(key: Key) -> str:
    return f" of {spoken_unit(key.unit)}" if key.unit else ""
