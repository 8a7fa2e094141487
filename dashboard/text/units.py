"""Formats SI values as text in metric or US units.

A number with an uncertainty is rounded to the second digit of the uncertainty (JCGM 100:2008, 7.2.6),
one without to three significant digits.  `Units.written` converts the quantities of a message.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from logger.device_units import LBF_N

FOOT_M = 0.3048
INCH_M = 0.0254
POUND_KG = 0.45359237
HORSEPOWER_W = 550 * FOOT_M * LBF_N
UNKNOWN = "not known"


@dataclass(frozen=True)
class DisplayUnit:
    """The unit in which one kind of quantity is shown, and a second one for large values.

    unit: its symbol; "" for a plain number.
    size: one `unit` in SI.
    big_unit: symbol for large values.
    big_size: one `big_unit` in SI.
    big_from: value from which `big_unit` is used, SI.
    """

    unit: str
    size: float = 1.0
    big_unit: str = ""
    big_size: float = 1.0
    big_from: float = math.inf

    def chosen(self, value_si: float) -> tuple[str, float]:
        """The symbol of the unit for a value, value_si in SI, and the size of one unit in SI."""
        if abs(value_si) >= self.big_from:
            return self.big_unit, self.big_size
        return self.unit, self.size


@dataclass(frozen=True)
class Units:
    """One system of units, metric or US.  The methods take SI values, and None for one that is not known.

    name: as in --units.
    force_shown: unit of forces.
    length_shown: unit of lengths.
    work_shown: unit of work.
    force_beside: unit of a force beside what is allowed, which has two figures.
    message_units: unit of a message's quantity -> (symbol shown, how many of it are one of the former);
        a unit that is missing is shown as it is.  Factors: NIST SP 811, appendix B.
    """

    name: str
    force_shown: DisplayUnit
    length_shown: DisplayUnit
    work_shown: DisplayUnit
    force_beside: DisplayUnit
    message_units: Mapping[str, tuple[str, float]] = field(default_factory=dict)

    def written(self, value: float, form: str, unit: str) -> tuple[str, str]:
        """Number and unit of a message's quantity, as text.

        value: in `unit`; form: its format in that unit.  After conversion the number keeps as many
        significant digits, within LEAST_DIGITS and MOST_DIGITS.
        """
        si = format(value, form)
        if unit not in self.message_units or not math.isfinite(value):
            return si, unit
        shown, size = self.message_units[unit]
        exact = "." not in si or unit.startswith("k")
        places = _places(si, size, LEAST_OF_EXACT if exact else LEAST_DIGITS)
        signs = ("+" if si[0] == "+" else "") + ("," if "," in form else "")
        return format(round(value * size, places), f"{signs}.{max(0, places)}f"), shown

    def force(self, newton: float | None) -> str:
        """A force as text; newton: N."""
        return _text(self.force_shown, newton)

    def force_of(self, newton: float, allowed_N: float) -> str:
        """A force against what is allowed, "8.5 of 5.1 kN"; newton: N."""
        return _of(self.force_beside, newton, allowed_N)

    def length_of(self, metre: float, allowed_m: float) -> str:
        """A length against what is allowed, "2.1 of 2.0 m"; metre: m."""
        return _of(self.length_shown, metre, allowed_m)

    def length(self, metre: float | None) -> str:
        """A length as text; metre: m."""
        return _text(self.length_shown, metre)

    def work(self, joule: float | None) -> str:
        """A work as text; joule: J."""
        return _text(self.work_shown, joule)

    def force_pm(self, newton: float | None, u: float | None) -> str:
        """A force with its expanded uncertainty (95 %, k = 2); newton: N; u: standard uncertainty,
        N."""
        return _text(self.force_shown, newton, None if u is None else 2.0 * u)

    def quantity(self, kind: str, quantity: Mapping[str, Any] | None) -> str:
        """A quantity {"value", "U95"}, SI, as text; kind: force, length, work or number."""
        if not quantity or quantity.get("value") is None:
            return UNKNOWN
        shown = {
            "force": self.force_shown, "length": self.length_shown, "work": self.work_shown,
        }.get(kind, DisplayUnit(""))  # fmt: skip
        return _text(shown, quantity["value"], quantity.get("U95"))


_KILO = 1000.0
KN_FROM_N = 995.0  # derivation: two figures round it to 1.0 kN; as on the live page
METRIC = Units(
    "metric",
    DisplayUnit(unit="N", size=1.0, big_unit="kN", big_size=_KILO, big_from=10_000.0),
    DisplayUnit("m"),
    DisplayUnit(unit="J", size=1.0, big_unit="kJ", big_size=_KILO, big_from=10_000.0),
    DisplayUnit(unit="N", size=1.0, big_unit="kN", big_size=_KILO, big_from=KN_FROM_N),
)
US = Units(
    "us",
    DisplayUnit("lbf", LBF_N),
    DisplayUnit("ft", FOOT_M),
    DisplayUnit("ft lbf", FOOT_M * LBF_N),
    DisplayUnit("lbf", LBF_N),
    {
        "N": ("lbf", 1 / LBF_N),
        "kN": ("lbf", _KILO / LBF_N),
        "m": ("ft", 1 / FOOT_M),
        "cm": ("in", 0.01 / INCH_M),
        "mm": ("in", 0.001 / INCH_M),
        "m/s": ("ft/s", 1 / FOOT_M),
        "m/min": ("ft/min", 1 / FOOT_M),
        "m/s2": ("ft/s2", 1 / FOOT_M),
        "N/m": ("lbf/ft", FOOT_M / LBF_N),
        "kN/m": ("lbf/ft", _KILO * FOOT_M / LBF_N),
        "kg": ("lb", 1 / POUND_KG),
        "J": ("ft lbf", 1 / (FOOT_M * LBF_N)),
        "kJ": ("ft lbf", _KILO / (FOOT_M * LBF_N)),
        "W": ("hp", 1 / HORSEPOWER_W),
        "kW": ("hp", _KILO / HORSEPOWER_W),
    },
)
SYSTEMS = {"metric": METRIC, "us": US}


# Bounds of the significant digits of a converted number.  A whole number and one in kN may be exact, such
# as a rating, so three digits are kept: a rating must not be rounded up by much.
LEAST_DIGITS, LEAST_OF_EXACT, MOST_DIGITS = 2, 3, 4
# share by which rounding may change how far a force is beyond what is allowed; chosen by us: not felt
OF_RATIO = 0.05


def number(value: float | None, digits: int = 3) -> str:
    """A value as a decimal number with this many significant digits, never with an exponent; "-" if
    None."""
    if value is None:
        return "-"
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    rounded = float(f"{value:.{digits - 1}e}")  # 99.99 has one digit more once it is 100
    places = digits - 1 - math.floor(math.log10(abs(rounded)))
    return f"{rounded:.{max(0, places)}f}"


def plus_minus(value: float, expanded: float | None) -> str:
    """ "7.34 ± 0.53": value and expanded uncertainty, both rounded to the second digit of the
    latter."""
    if expanded is None or not math.isfinite(expanded) or expanded <= 0:
        return number(value)
    places = 1 - math.floor(math.log10(float(f"{expanded:.1e}")))
    shown = max(0, places)
    return f"{round(value, places):.{shown}f} ± {round(expanded, places):.{shown}f}"


def percent(fraction: float | None) -> str:
    """A fraction (1 for 100 %) as a whole number of percent; "-" if None."""
    return "-" if fraction is None else f"{100 * fraction:.0f} %"


def _places(written: str, size: float, least: int) -> int:
    """Decimal places that keep as many significant digits as `written` has, within bounds; below 0: the
    number is rounded to tens, hundreds and so on.  size: factor by which the number is converted."""
    value = abs(float(written.replace(",", ""))) * size
    if not value:
        return len(written.partition(".")[2])
    digits = "".join(filter(str.isdigit, written.partition("e")[0])).lstrip("0")
    kept = min(MOST_DIGITS, max(least, len(digits)))
    return kept - 1 - math.floor(math.log10(float(f"{value:.{kept - 1}e}")))


def _of(shown: DisplayUnit, value: float, allowed: float) -> str:
    """ "a of b" with the fewest figures, two to four, that tell them apart and keep their ratio.

    value, allowed: in SI.
    """
    unit, size = shown.chosen(max(abs(value), abs(allowed)))
    one, other = value / size, allowed / size
    figures = next((n for n in (2, 3) if _as_far_apart(one, other, n)), MOST_DIGITS)
    return f"{number(one, figures)} of {number(other, figures)} {unit}"


def _as_far_apart(one: float, other: float, figures: int) -> bool:
    """Whether two numbers, each with so many figures, are as far apart as they are."""
    a, b = float(number(one, figures)), float(number(other, figures))
    if one == other or not b:
        return True
    return a != b and abs(a / b - one / other) <= OF_RATIO * abs(one / other)


def _text(shown: DisplayUnit, value: float | None, expanded: float | None = None) -> str:
    if value is None:
        return UNKNOWN
    unit, size = shown.chosen(value)
    text = plus_minus(value / size, None if expanded is None else expanded / size)
    return f"{text} {unit}".rstrip()
