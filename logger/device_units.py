"""Converts a device's units to SI; exact by definition (SI brochure, NIST SP 811)."""

from __future__ import annotations

LBF_N = 4.4482216152605  # by definition, see above
KGF_N = 9.80665  # by definition, see above

FORCE_UNITS: dict[str, float] = {
    "N": 1.0,
    "daN": 10.0,
    "kN": 1000.0,
    "kgf": KGF_N,
    "kg": KGF_N,
    "g": KGF_N / 1000.0,
    "t": KGF_N * 1000.0,
    "lbf": LBF_N,
    "lb": LBF_N,
}
LENGTH_UNITS: dict[str, float] = {"m": 1.0, "mm": 0.001, "cm": 0.01, "ft": 0.3048, "in": 0.0254}
COUNT = "count"

_SPELLINGS = {
    "lbs": "lb", "counts": COUNT, "feet": "ft", "inch": "in", "kgs": "kg", "kp": "kgf", "tf": "t",
}  # fmt: skip
# words that a device writes behind a number of something else, in lower case; common practice, no
# source.  "ton" is one of three masses
_OTHER_UNITS = frozenset({
    "oz", "ozf", "gr", "ct", "dwt", "lt", "ton", "tons", "tn", "klb", "klbf", "klbs", "kip", "kips",
    "mn", "cn", "un", "gf", "mg", "km", "dm", "um", "yd", "yds", "mi", "nm", "ftlb", "inlb", "psi",
    "bar", "mbar", "pa", "kpa", "mpa", "mv", "uv", "v", "ma", "hz", "khz", "rpm", "deg", "c", "f",
    "k", "pcs", "pc", "%", "ms", "us", "min", "m/s", "mv/v", "n/mm", "ft/s", "m/min", "kg/m",
})  # fmt: skip


def units_for(quantity: str) -> tuple[str, ...]:
    """The units that a channel of this quantity ("force" or "length") may have, and "count"."""
    return (*(FORCE_UNITS if quantity == "force" else LENGTH_UNITS), COUNT)


def to_si(unit: str) -> float:
    """Newtons or metres in one `unit`; 1 for "count", which the channel's scale converts."""
    if unit == COUNT:
        return 1.0
    return FORCE_UNITS[unit] if unit in FORCE_UNITS else LENGTH_UNITS[unit]


def is_other_unit(word: str) -> bool:
    """Whether a device writes `word`, in any case, for a unit that no channel may have."""
    return word.lower() in _OTHER_UNITS


def same_unit(word: str, unit: str) -> bool:
    """Whether `word`, as a device writes it, is `unit` or another name of the same unit."""
    named = unit_from_word(word)
    if named is None or (named == COUNT) != (unit == COUNT):
        return False
    return (named in LENGTH_UNITS) == (unit in LENGTH_UNITS) and to_si(named) == to_si(unit)


def unit_from_word(word: str) -> str | None:
    """The unit that a device writes as `word`, in any case and common spelling; None if unknown."""
    lower = word.lower()
    lower = _SPELLINGS.get(lower, lower)
    for unit in (*FORCE_UNITS, *LENGTH_UNITS, COUNT):
        if unit.lower() == lower:
            return unit
    return None
