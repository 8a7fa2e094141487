"""Asks what a comma in a typed number is: a decimal mark or a mark between thousands; nothing is guessed."""

from __future__ import annotations

import re

_WITH_COMMA = re.compile(r"[+-]?[0-9.]*,[0-9.,]*\s*[A-Za-z%°]*", re.ASCII)
_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(,[0-9]{3})+(\.[0-9]*)?\s*[A-Za-z%°]*", re.ASCII)
_DECIMAL = re.compile(r"[+-]?([0-9]*|[0-9]{1,3}(\.[0-9]{3})+),[0-9]*\s*[A-Za-z%°]*", re.ASCII)


def comma_in_number(text: str) -> bool:
    """Whether a typed text is a number with a comma in it, with or without a unit."""
    return (
        _WITH_COMMA.fullmatch(text) is not None and re.search("[0-9]", text, re.ASCII) is not None
    )


def asked_comma(text: str) -> tuple[str, str]:
    """The fault and the cure for a typed number with a comma: what to type for each that the comma may be."""
    decimal = text.replace(".", "").replace(",", ".") if _DECIMAL.fullmatch(text) else ""
    plain = text.replace(",", "") if _THOUSANDS.fullmatch(text) else ""
    if decimal and plain:
        cure = f"type {decimal} if it is, or {plain} if it parts thousands"
        return f'"{text}": is the comma a decimal mark?', cure
    if decimal:
        return f'"{text}": is the comma a decimal mark?', f"type {decimal} if it is"
    if plain:
        return f'"{text}": do commas part thousands?', f"type {plain} if they do"
    return f'"{text}" is no number', "type it without a comma, a point as the decimal mark"
