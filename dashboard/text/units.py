"""What people see: SI values as text, metric or US; files stay SI.

A number with an uncertainty is rounded to the second digit of the uncertainty (the usual way of
reporting, JCGM 100:2008 7.2.6), one without to three significant digits.

A sentence is made once, in SI, where it is found out; `Units.words` is the one place where the
quantities in it become what the reader asked for.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from logger.device_units import LBF_N

FOOT_M = 0.3048
INCH_M = 0.0254
POUND_KG = 0.45359237
HORSEPOWER_W = 550 * FOOT_M * LBF_N
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
    # SI unit in a text: (shown as, one of the SI unit in it); NIST SP 811, appendix B
    of_si: Mapping[str, tuple[str, float]] = field(default_factory=dict)

    def written(self, value: float, form: str, unit: str) -> tuple[str, str]:
        """(number, unit) of a message's quantity, which SI writes with the format `form`: the same
        number of digits, within bounds."""
        si = format(value, form)
        if unit not in self.of_si or not math.isfinite(value):
            return si, unit
        shown, size = self.of_si[unit]
        exact = "." not in si or unit.startswith("k")
        places = _places(si, size, LEAST_OF_EXACT if exact else LEAST_DIGITS)
        signs = ("+" if si[0] == "+" else "") + ("," if "," in form else "")
        return format(round(value * size, places), f"{signs}.{max(0, places)}f"), shown

    def words(self, text: str, own: Iterable[str] = ()) -> str:
        """A sentence with its quantities in these units: "12 N", "12 to 18 N", "356 +- 96 N".

        What a person wrote stays as written: what stands in quotes, and the names in `own`.
        """
        if not self.of_si or not _QUANTITY.search(text):
            return text
        kept = [re.escape(name) for name in sorted(set(own), key=len, reverse=True) if name]
        whole = re.compile("|".join([_QUOTED, *(rf"(?<!\w){name}(?!\w)" for name in kept)]))
        told, at = [], 0
        for part in whole.finditer(text):
            told += [self._converted(text, at, part.start()), part[0]]
            at = part.end()
        return "".join([*told, self._converted(text, at, len(text))])

    def _converted(self, text: str, begin: int, end: int) -> str:
        """text[begin:end], which is no one's name, in these units."""
        told, at = [], begin
        for found in _QUANTITY.finditer(text, begin, end):
            unit, size = self.of_si[found["unit"]]
            told += [text[at : found.start()], f"{_rewritten(found, size)}{found['gap']}{unit}"]
            at = found.end()
        return "".join([*told, text[at:end]])

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
US = Units(
    "us",
    Quantity("lbf", LBF_N),
    Quantity("ft", FOOT_M),
    Quantity("ft lbf", FOOT_M * LBF_N),
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


# -- quantities in a sentence ---------------------------------------------------------------------
_NUMBER = r"[-\u2212+]?(?:\d{1,3}(?:,\d{3}){1,4}|\d{1,15})(?:\.\d{1,15})?(?:e[-+]?\d{1,2})?"
_JOINED = r"\ ?(?:±|\+-|\+/-|–)\ ?|\ to\ "  # what may stand between two numbers of one unit
_UNITS = "|".join(sorted(map(re.escape, US.of_si), key=len, reverse=True))
_QUANTITY = re.compile(
    rf"""(?<![\w.,:/\\-])
    (?P<between>between\ )? (?P<first>{_NUMBER})
    (?:(?P<joined>(?(between)\ and\ |(?:{_JOINED})))(?P<second>{_NUMBER}))?
    (?P<gap>\ ) (?P<unit>{_UNITS}) (?![\w/²³^*·]|\ m\b)""",
    re.VERBOSE,
)
# digits of a number that was written with fewer or more; a whole one and one in kN may be exact, such
# as a rating, which must not be rounded up by much
LEAST_DIGITS, LEAST_OF_EXACT, MOST_DIGITS = 2, 3, 4
# a name or a command that is quoted; an apostrophe within a word opens nothing
_QUOTED = r"""\"[^\"]*\"|“[^”]*”|`[^`]*`|(?<!\w)'[^']*'(?!\w)"""


def holds_quantity(text: str) -> bool:
    """Whether something in a text would be told in other units."""
    return _QUANTITY.search(text) is not None


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


def _rewritten(found: re.Match[str], size: float) -> str:
    """The numbers of a quantity in another unit, one of which is `size` of the first."""
    first, second = found["first"], found["second"]
    before = found["between"] or ""
    if second is None:
        exact = "." not in first or found["unit"].startswith("k")
        places = _places(first, size, LEAST_OF_EXACT if exact else LEAST_DIGITS)
        return before + _as_written(first, size, places)
    if "±" in found["joined"] or "-" in found["joined"]:
        # a value goes with its uncertainty, which is shown with two digits
        u = abs(_value(second)) * size
        places = 1 - math.floor(math.log10(float(f"{u:.1e}"))) if u else _places(first, size, LEAST_DIGITS)
    else:
        places = max(_places(one, size, LEAST_DIGITS) for one in (first, second))
    return (
        f"{before}{_as_written(first, size, places)}{found['joined']}"
        f"{_as_written(second, size, places)}"
    )


def _value(written: str) -> float:
    return float(written.replace(",", "").replace("\u2212", "-"))


def _places(written: str, size: float, least: int) -> int:
    """Decimal places that keep as many digits as were written, within bounds; < 0: tens, hundreds."""
    value = abs(_value(written)) * size
    if not value:
        return len(written.partition(".")[2])
    digits = re.sub(r"e.*|\D", "", written).lstrip("0")
    kept = min(MOST_DIGITS, max(least, len(digits)))
    return kept - 1 - math.floor(math.log10(float(f"{value:.{kept - 1}e}")))


def _as_written(written: str, size: float, places: int) -> str:
    """The number times `size`, with the sign and the thousands separators that were written."""
    value = abs(_value(written)) * size
    sign = written[0] if written[0] in "+-\u2212" else ""
    commas = "," if "," in written else ""
    return f"{sign}{round(value, places):{commas}.{max(0, places)}f}"


def _text(shown: Quantity, value: float | None, expanded: float | None = None) -> str:
    if value is None:
        return UNKNOWN
    unit, size = shown.chosen(value)
    text = plus_minus(value / size, None if expanded is None else expanded / size)
    return f"{text} {unit}".rstrip()
