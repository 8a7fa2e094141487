"""A calibration: what a cell or counter reads for a known force or length, and its inverse.

The curve is reading = c0 + c1 x + c2 x^2 + c3 x^3 with x the applied force (N) or length (m);
fitted by least squares (`logger/least_squares.py`), inverted in use.  Needs no numpy.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from logger.errors import SensorsFault
from logger.files import write_atomic
from logger.tables import Table, parse_toml, read_text

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from logger.least_squares import Solution

Values = TypeVar("Values", float, "npt.NDArray[np.float64]")

FORMAT = 1
MOST_DEGREE = 3


@dataclass(frozen=True)
class Calibration:
    """A fitted curve.

    covariance: of the coefficients, rows of (degree + 1)^2 numbers.  residual_sd: in the unit of
    the reading; None where there are no more points than coefficients.  n: points.  applied_*: the
    range of the points, SI.  through_zero: c0 is 0 by decision and has no uncertainty.
    resolution: the smallest step of a reading; None if not known.
    """

    degree: int
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    residual_sd: float | None
    n: int
    applied_least: float
    applied_most: float
    through_zero: bool = False
    resolution: float | None = None

    @property
    def coefficients_u(self) -> tuple[float, ...]:
        """Standard uncertainties of the coefficients."""
        return tuple(math.sqrt(max(0.0, row[i])) for i, row in enumerate(self.covariance))

    @property
    def dof(self) -> int:
        """Degrees of freedom of residual_sd: points less fitted coefficients."""
        return self.n - self.degree - (not self.through_zero)

    @property
    def reading_u(self) -> float:
        """Standard uncertainty of one new reading, in its unit: the scatter about the curve, and
        never less than what the resolution d alone gives, d / sqrt(12) (JCGM 100:2008, F.2.2.1).
        """
        return max(self.residual_sd or 0.0, _of_resolution(self.resolution))

    def correlation(self, i: int, j: int) -> float | None:
        """Correlation coefficient of two coefficients; None where one has no uncertainty."""
        both = self.coefficients_u[i] * self.coefficients_u[j]
        return self.covariance[i][j] / both if both > 0.0 else None

    def reading(self, applied: Values) -> Values:
        """What is read for an applied value (SI); same shape."""
        return _polynomial(self.coefficients, applied)

    def slope(self, applied: Values) -> Values:
        """d reading / d applied; same shape."""
        return _polynomial([p * c for p, c in enumerate(self.coefficients)][1:], applied)

    def apply(self, reading: Values) -> Values:
        """The applied value (SI) for a reading, scalar or array; same shape.

        The curve holds in `reach`; beyond it goes on as a straight line, so that a greater reading
        is never worth less.  Degree 1 and 2 in closed form, degree 3 by Newton's method from the
        point of inflection, which cannot miss on a curve that rises or falls all the way.
        """
        c0, c1, *rest = self.coefficients
        if self.degree == 1:
            return (reading - c0) / c1
        ends = sorted((self.reading(x), self.slope(x)) for x in self.reach)
        inside: Any = _clamp(reading, ends[0][0], ends[1][0])
        if self.degree == 2:
            y = inside - c0
            disc = _clamp(c1 * c1 + 4.0 * rest[0] * y, 0.0, math.inf)
            x = 2.0 * y / (c1 + math.copysign(1.0, c1) * disc**0.5)
        else:
            x = self._newton(inside)
        below = _clamp(reading - ends[0][0], -math.inf, 0.0) / ends[0][1]
        above = _clamp(reading - ends[1][0], 0.0, math.inf) / ends[1][1]
        return x + below + above  # type: ignore[no-any-return]

    def u_curve(self, applied: Values) -> Values:
        """Standard uncertainty (SI) of the curve alone, common to all readings near `applied`.

        u = sqrt(g' C g) / |slope| with g = (1, x, x^2 ..) and C the full covariance, the
        correlations included (JCGM 100:2008, H.3.4, taken through the inverse).
        """
        return self._through_inverse(applied, 0.0)

    def u_applied(self, applied: Values) -> Values:
        """Standard uncertainty (SI) of one applied value found from one new reading; same shape.

        u^2 = (s^2 + g' C g) / slope^2: as `u_curve`, with the scatter s of a new reading.
        """
        return self._through_inverse(applied, self.reading_u)

    @cached_property
    def reach(self) -> tuple[float, float]:
        """Where the curve is taken at its word (SI): the points' range and zero, and as far again
        on both sides while the slope keeps half of what it is at the end of the range."""
        low, high = min(0.0, self.applied_least), max(0.0, self.applied_most)
        step = (high - low) / 100.0

        def walk(end: float, step: float) -> float:
            at_end, x = self.slope(end), end
            for k in range(1, 101):
                if self.slope(end + k * step) * at_end < 0.5 * at_end * at_end:
                    break
                x = end + k * step
            return x

        return walk(low, -step), walk(high, step)

    @cached_property
    def spread_terms(self) -> tuple[float, ...]:
        """g' C g as a polynomial in the applied value: 2 degree + 1 numbers, by rising power."""
        terms = [0.0] * (2 * self.degree + 1)
        for i, row in enumerate(self.covariance):
            for j, c in enumerate(row):
                terms[i + j] += c
        return tuple(terms)

    def _through_inverse(self, applied: Values, reading_u: float) -> Values:
        spread = _clamp(_polynomial(self.spread_terms, applied), 0.0, math.inf)
        spread = spread + reading_u * reading_u
        slope: Any = self.slope(_clamp(applied, *self.reach) if self.degree > 1 else applied)
        return spread**0.5 / abs(slope)  # type: ignore[no-any-return]

    def _newton(self, reading: Any) -> Any:
        low, high = self.reach
        c2, c3 = self.coefficients[2:]
        turn = _clamp(-c2 / (3.0 * c3), low, high) if c3 else low
        x = turn + 0.0 * reading
        for _ in range(100):
            before, x = x, _clamp(x - (self.reading(x) - reading) / self.slope(x), low, high)
            moved = abs(x - before) > 1e-15 * (high - low)
            if not (moved if isinstance(moved, bool) else moved.any()):
                break
        return x


def fit(
    applied: Sequence[float],
    reading: Sequence[float],
    degree: int = 1,
    *,
    through_zero: bool = False,
    applied_u: Sequence[float] | None = None,
    resolution: float | None = None,
) -> Calibration:
    """Least squares of reading = sum c_i applied^i, solved exactly and rounded once.

    through_zero: without c0.  applied_u: standard uncertainty of each applied value (SI); points
    with the same value share one error (the same mass, the same mark on the tape), different values
    have errors of their own; without it the applied values count as exact.  resolution: the
    smallest step of a reading.

    Covariance: variance of one reading times (A'A)^-1, plus what the applied values' errors do to
    the coefficients (JCGM 100:2008, 5.2.2).  As many points as coefficients leave no scatter to
    see: then applied_u and resolution are needed.

    Raises SensorsFault where the points do not determine a curve that can be inverted.
    """
    from logger.least_squares import root, solve

    where = "calibration points"
    if not 1 <= degree <= MOST_DEGREE:
        raise SensorsFault(where, f"degree {degree} is out of range", "take 1, 2 or 3")
    x, y = [float(v) for v in applied], [float(v) for v in reading]
    u = [0.0] * len(x) if applied_u is None else [float(v) for v in applied_u]
    powers = range(1 if through_zero else 0, degree + 1)
    n, m = len(x), len(powers)
    if not all(map(math.isfinite, (*x, *y, *u))) or any(v < 0 for v in u):
        raise SensorsFault(where, "a value is not finite", "give plain numbers")
    alone = n == m and resolution and any(u)  # no scatter to see, but the errors are stated
    if n < m + 1 and not alone:
        cure = f"give at least {m + 1}"
        if n == m:
            cure += ", or say how well the applied values are known (--applied-u)"
        count = f"{n} points are" if n != 1 else "1 point is"
        raise SensorsFault(where, f"{count} too few for degree {degree}", cure)
    if len(set(x) - {0.0} if through_zero else set(x)) < degree + (not through_zero):
        what = "different applied values" + (" other than 0" if through_zero else "")
        raise SensorsFault(where, f"fewer than {m} {what}", "apply more different values")
    try:
        solution = solve(x, y, powers)
        if solution is None:
            raise SensorsFault(where, "the points determine no curve", "take a lower degree")
        residual_sd = root(solution.squares / (n - m)) if n > m else None
        found = Calibration(
            degree=degree,
            coefficients=(*[0.0] * powers[0], *map(float, solution.coefficients)),
            covariance=solution.covariance(
                x, u, max(residual_sd or 0.0, _of_resolution(resolution))
            ),
            residual_sd=residual_sd,
            n=n,
            applied_least=min(x),
            applied_most=max(x),
            through_zero=through_zero,
            resolution=resolution,
        )
    except OverflowError:
        raise SensorsFault(
            where, "the values are too large or too small to be fitted", "take another unit"
        ) from None
    _check_invertible(found, where)
    _check_digits(found, solution, where)
    return found


def _check_invertible(curve: Calibration, where: str) -> None:
    steps = 200
    low, high = min(0.0, curve.applied_least), max(0.0, curve.applied_most)
    places = [low + (high - low) * i / steps for i in range(steps + 1)]
    if curve.degree == 3 and curve.coefficients[3]:
        turn = -curve.coefficients[2] / (3.0 * curve.coefficients[3])  # steepest or least steep
        places += [turn] if low < turn < high else []
    slopes = [curve.slope(place) for place in places]
    if not (all(s > 0 for s in slopes) or all(s < 0 for s in slopes)) or not all(
        map(math.isfinite, slopes)
    ):
        raise SensorsFault(
            where,
            "the fitted curve does not rise or fall all the way from 0, so it cannot be inverted",
            "take a lower degree or check the points",
        )


def _check_digits(curve: Calibration, solution: Solution, where: str) -> None:
    """Refuse a curve that floats cannot hold: a high degree over a narrow range far from zero."""
    from fractions import Fraction

    for place in (curve.applied_least, curve.applied_most):
        exact = solution.value(place)
        lost = abs(float(exact - Fraction(curve.reading(place))))
        terms = curve.spread_terms
        rounding = 4e-16 * _polynomial([abs(t) for t in terms], abs(place))
        spread = max(_polynomial(terms, place), 0.0) + curve.reading_u**2
        if lost > 0.01 * curve.reading_u + 1e-9 * abs(float(exact)) or rounding > 0.01 * spread:
            raise SensorsFault(
                where,
                "the points lie too close together, so far from 0, for this degree",
                "take a lower degree, or points over a wider range",
            )


def _of_resolution(resolution: float | None) -> float:
    return (resolution or 0.0) / math.sqrt(12.0)


def _polynomial(coefficients: Sequence[float], x: Values) -> Values:
    """sum c_i x^i by Horner's rule; same shape as x.  Products, not powers: they never raise."""
    total: Any = 0.0 * x
    for c in reversed(coefficients):
        total = total * x + c
    return total  # type: ignore[no-any-return]


def _clamp(value: Any, low: float, high: float) -> Any:
    """The value, or each of an array, held between low and high."""
    if isinstance(value, (float, int)):
        return min(max(value, low), high)
    return value.clip(low, high)


def save(
    curve: Calibration, path: str | Path, terms: Mapping[str, float | str] | None = None
) -> None:
    """Write the calibration as TOML; raises SensorsFault if the file cannot be written.

    terms: what else the points tell, for people; a number, or why it is not known.
    """
    rows = ",\n".join("  [" + ", ".join(map(repr, row)) + "]" for row in curve.covariance)
    lines = [
        "# reading = c0 + c1 applied + ..., applied in N or m; made by `haul calibrate`",
        f"haul_calibration = {FORMAT}",
        f"degree = {curve.degree}",
        f"coefficients = [{', '.join(map(repr, curve.coefficients))}]",
        f"covariance = [\n{rows},\n]",
        "# residual_sd: not known, there are no more points than coefficients"
        if curve.residual_sd is None else f"residual_sd = {curve.residual_sd!r}",
        f"n = {curve.n}",
        f"applied_least = {curve.applied_least!r}",
        f"applied_most = {curve.applied_most!r}",
    ]  # fmt: skip
    if curve.through_zero:
        lines.append("through_zero = true")
    if curve.resolution is not None:
        lines.append(f"resolution = {curve.resolution!r}")
    if terms:
        lines += [
            "",
            "# for people; nothing is computed from it. This is no calibration certificate.",
        ]
        lines += ["[terms]", *(f"{key} = {_toml(value)}" for key, value in terms.items())]
    try:
        write_atomic(Path(path), ("\n".join(lines) + "\n").encode())
    except OSError as error:
        raise SensorsFault(
            path, f"cannot be written ({error.strerror or error})", "give another --out"
        ) from None


def load(path: str | Path) -> Calibration:
    """Read a calibration file; raises SensorsFault."""
    return parse(read_text(path, SensorsFault), str(path))


def parse(text: str, file: str) -> Calibration:
    """The calibration in `text`; raises SensorsFault, one line, on anything unexpected."""
    table = Table(parse_toml(text, file, SensorsFault), file, "", SensorsFault)
    version = table.whole("haul_calibration")
    if version is None:
        raise table.fault("haul_calibration", "is missing", "make the file with `haul calibrate`")
    if version != FORMAT:
        raise table.fault("haul_calibration", f"format {version} is not known", "take a newer haul")
    degree = table.whole("degree", least=1, most=MOST_DEGREE)
    if degree is None:
        raise table.fault("degree", "is missing", "write degree = 1, 2 or 3")
    coefficients = _numbers(table, "coefficients", table.raw("coefficients"), degree + 1)
    rows = table.raw("covariance")
    if not isinstance(rows, list) or len(rows) != degree + 1:
        raise table.fault("covariance", f"must be {degree + 1} rows", "make the file anew")
    covariance = tuple(_numbers(table, "covariance", row, degree + 1) for row in rows)
    if any(row[i] < 0 for i, row in enumerate(covariance)):
        raise table.fault("covariance", "has a negative variance", "make the file anew")
    through_zero = bool(table.flag("through_zero"))
    fitted = degree + (not through_zero)
    residual_sd = table.number("residual_sd", least=0.0)
    n = table.whole("n", least=fitted)
    if n is None:
        raise table.fault("n", "is missing", "write how many points were fitted")
    if (residual_sd is None) != (n == fitted):
        raise table.fault(
            "residual_sd",
            "is missing" if residual_sd is None else f"cannot be known from {n} points",
            "make the file with `haul calibrate`",
        )
    found = Calibration(
        degree=degree,
        coefficients=coefficients,
        covariance=covariance,
        residual_sd=residual_sd,
        n=n,
        applied_least=_needed(table, "applied_least", table.number("applied_least")),
        applied_most=_needed(table, "applied_most", table.number("applied_most")),
        through_zero=through_zero,
        resolution=table.number("resolution", above=0.0),
    )
    terms = table.raw("terms", {})
    if not isinstance(terms, Mapping):
        raise table.fault("terms", "must be a table", "leave it out")
    table.done()
    if found.reading_u == 0.0 and not any(map(any, covariance)) and residual_sd is None:
        raise table.fault("covariance", "says nothing of the uncertainty", "make the file anew")
    _check_invertible(found, file)
    return found


def _toml(value: float | str) -> str:
    if isinstance(value, float):
        return repr(value)
    clean = "".join(c if c.isprintable() else " " for c in value)
    return '"' + clean.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _needed(table: Table, key: str, value: float | None) -> float:
    if value is None:
        raise table.fault(key, "is missing", "make the file with `haul calibrate`")
    return value


def _numbers(table: Table, key: str, value: Any, count: int) -> tuple[float, ...]:
    good = isinstance(value, list) and len(value) == count
    good = good and all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in value)
    if not good or not all(math.isfinite(v) for v in value):
        raise table.fault(
            key, f"must be {count} finite numbers", "make the file with `haul calibrate`"
        )
    return tuple(float(v) for v in value)
