"""What people see: SI values as text, metric or US; files stay SI.

A number with an uncertainty is rounded to the second digit of the uncertainty (the usual way of
reporting, JCGM 100:2008 7.2.6), one without to three significant digits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from logger.units import LBF_N

FOOT_M = 0.3048
UNKNOWN = "not known"


@dataclass(frozen=True)
class Quantity:
    """How one kind of quantity is shown: `unit` is worth `size` in SI; from `big_from` (SI) on
    `big_unit` is used, worth `big_size`."""

    unit: str
    size: float = 1.0
    big_unit: str = ""
    big_size: float = 1.0
    big_from: float = math.inf

    def chosen(self, value_si: float) -> tuple[str, float]:
        """The unit for a value of this size, and what it is worth in SI."""
        if abs(value_si) >= self.big_from:
            return self.big_unit, self.big_size
        return self.unit, self.size


@dataclass(frozen=True)
class Units:
    """One system of units.  Every function takes SI, None for what is not known."""

    name: str
    force_shown: Quantity
    length_shown: Quantity
    work_shown: Quantity

    def force(self, newton: float | None) -> str:
        return _text(self.force_shown, newton)

    def length(self, metre: float | None) -> str:
        return _text(self.length_shown, metre)

    def work(self, joule: float | None) -> str:
        return _text(self.work_shown, joule)

    def force_pm(self, newton: float | None, u: float | None) -> str:
        """Value and expanded uncertainty (95 %, k = 2) from a standard one."""
        return _text(self.force_shown, newton, None if u is None else 2.0 * u)

    def of(self, kind: str, quantity: Mapping[str, Any] | None) -> str:
        """A measured quantity {"value", "U95"} of kind force, length, work or number."""
        if not quantity or quantity.get("value") is None:
            return UNKNOWN
        shown = {
            "force": self.force_shown, "length": self.length_shown, "work": self.work_shown,
        }.get(kind, Quantity(""))  # fmt: skip
        return _text(shown, quantity["value"], quantity.get("U95"))


_KILO = 1000.0
METRIC = Units(
    "metric",
    Quantity("N", 1.0, "kN", _KILO, 10_000.0),
    Quantity("m"),
    Quantity("J", 1.0, "kJ", _KILO, 10_000.0),
)
US = Units("us", Quantity("lbf", LBF_N), Quantity("ft", FOOT_M), Quantity("ft lbf", FOOT_M * LBF_N))
SYSTEMS = {"metric": METRIC, "us": US}


def number(value: float | None, digits: int = 3) -> str:
    """A plain number with this many significant digits, never in powers of ten; "-" if None."""
    if value is None:
        return "-"
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    rounded = float(f"{value:.{digits - 1}e}")  # 99.99 has one digit more once it is 100
    places = digits - 1 - math.floor(math.log10(abs(rounded)))
    return f"{rounded:.{max(0, places)}f}"


def plus_minus(value: float, expanded: float | None) -> str:
    """"7.34 ± 0.53": both rounded to the second digit of the uncertainty."""
    if expanded is None or not math.isfinite(expanded) or expanded <= 0:
        return number(value)
    places = 1 - math.floor(math.log10(float(f"{expanded:.1e}")))
    shown = max(0, places)
    return f"{round(value, places):.{shown}f} ± {round(expanded, places):.{shown}f}"


def percent(fraction: float | None) -> str:
    """A fraction as whole percent; "-" if None."""
    return "-" if fraction is None else f"{100 * fraction:.0f} %"


def _text(shown: Quantity, value: float | None, expanded: float | None = None) -> str:
    if value is None:
        return UNKNOWN
    unit, size = shown.chosen(value)
    text = plus_minus(value / size, None if expanded is None else expanded / size)
    return f"{text} {unit}".rstrip()
