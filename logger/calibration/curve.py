"""Evaluates and inverts a calibration curve, with its uncertainty; needs no numpy.

reading = c0 + c1 x + c2 x^2 + c3 x^3, with x the applied force (N) or length (m).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from logger.calibration.polynomial import Values, clamp, polynomial
from logger.errors import SensorsFault


@dataclass(frozen=True)
class Calibration:
    """A fitted curve: reading = sum c_i x^i.

    "Unit of the reading" is the device's; applied values are in N or m.

    least_loaded: least applied value other than 0, N or m; None: not stated; not used by the fit
    class_a_from: where class A of ASTM E74 begins, N or m; None: not stated; not used by the fit
    """

    degree: int  # of the polynomial, 1 to 3
    coefficients: tuple[float, ...]  # c0, c1 ..: degree + 1; c_i in unit of the reading / SI^i
    covariance: tuple[tuple[float, ...], ...]  # of the coefficients, (degree + 1) x (degree + 1)
    residual_sd: float | None  # unit of the reading; None: no more points than coefficients
    n: int  # number of points
    applied_least: float  # least applied value of the points, N or m
    applied_most: float  # greatest applied value of the points, N or m
    through_zero: bool = False  # whether c0 is 0 by decision and has no uncertainty
    resolution: float | None = None  # smallest step of a reading, in its unit; None: unknown
    quantity: str | None = None  # "force" or "length"; None: not stated
    least_loaded: float | None = field(default=None, compare=False)
    class_a_from: float | None = field(default=None, compare=False)

    @property
    def verified_from(self) -> tuple[float, str] | None:
        """Beginning of the verified range (N or m), and what sets it; None if not stated.

        Class A begins at 400 times the lower limit factor, but not below the least force (ASTM E74;
        ISO 376 too covers the range from the least to the greatest force applied; both from
        memory).
        """
        if self.class_a_from is not None and self.class_a_from > (self.least_loaded or 0.0):
            return self.class_a_from, "class A of ASTM E74"
        return None if self.least_loaded is None else (self.least_loaded, "its least force")

    @property
    def coefficients_u(self) -> tuple[float, ...]:
        """Standard uncertainties of c0, c1 ..; each in its coefficient's unit."""
        return tuple(math.sqrt(max(0.0, row[i])) for i, row in enumerate(self.covariance))

    @property
    def dof(self) -> int:
        """Degrees of freedom of residual_sd: points minus fitted coefficients."""
        return self.n - self.degree - (not self.through_zero)

    @property
    def reading_u(self) -> float:
        """Standard uncertainty of one new reading, in its unit.

        The scatter about the curve, but at least that of the resolution (see `resolution_u`).
        """
        return max(self.residual_sd or 0.0, resolution_u(self.resolution))

    def correlation(self, i: int, j: int) -> float | None:
        """Correlation coefficient of c_i and c_j; None if one of them has no uncertainty."""
        both = self.coefficients_u[i] * self.coefficients_u[j]
        return self.covariance[i][j] / both if both > 0.0 else None

    def reading(self, applied: Values) -> Values:
        """The reading (device's unit) at `applied` (N or m), scalar or array; same shape."""
        return polynomial(self.coefficients, applied)

    def slope(self, applied: Values) -> Values:
        """d reading / d applied at `applied` (N or m), device's unit / SI; same shape."""
        return polynomial(self._slope_terms, applied)

    def apply(self, reading: Values) -> Values:
        """The applied value (N or m) of a reading (device's unit), scalar or array; same shape.

        Within `reach` by the inverse of the curve, beyond by a straight line, so that the value
        never turns back as the reading grows.  Degrees 1 and 2 in closed form; degree 3 by Newton's
        method from the point of inflection, which converges on every curve that rises or falls
        throughout.
        """
        c0, c1, *rest = self.coefficients
        if self.degree == 1:
            return (reading - c0) / c1
        (least, slope_least), (most, slope_most) = self._ends
        inside: Any = clamp(reading, least, most)
        if self.degree == 2:
            y = inside - c0
            disc = clamp(c1 * c1 + 4.0 * rest[0] * y, 0.0, math.inf)
            x = 2.0 * y / (c1 + math.copysign(1.0, c1) * disc**0.5)
        else:
            x = self._newton(inside)
        beyond = reading - inside
        below, above = clamp(beyond, -math.inf, 0.0), clamp(beyond, 0.0, math.inf)
        return x + below / slope_least + above / slope_most  # type: ignore[no-any-return]

    def u_curve(self, applied: Values) -> Values:
        """Standard uncertainty of the curve alone at `applied` (N or m); N or m, same shape.

        It is common to all readings near `applied`.  u = sqrt(g' C g) / |slope| with
        g = (1, x, x^2 ..) and C the full covariance, correlations included (JCGM 100:2008, H.3.4,
        taken through the inverse).
        """
        return self._through_inverse(applied, self.spread_terms, 0.0)

    def u_applied(self, applied: Values) -> Values:
        """Standard uncertainty of values `applied` from one new reading each; N or m, same shape.

        u^2 = (s^2 + g' C g) / slope^2: as `u_curve`, with the scatter s of a new reading.
        """
        return self._through_inverse(applied, self.spread_terms, self.reading_u)

    def u_tared(self, applied: Values) -> Values:
        """As `u_applied`, for a value `applied` (N or m) from a reading minus the unloaded reading.

        In the difference of two readings c0 and its uncertainty cancel, and the scatter counts
        twice.
        """
        return self._through_inverse(applied, self._tared_terms, math.sqrt(2.0) * self.reading_u)

    @cached_property
    def reach(self) -> tuple[float, float]:
        """Lower and upper end of the range in which the curve itself is used, N or m.

        It covers zero and the points, and at each end up to the same width again, as long as the
        slope stays at least half of the slope at the end of the points.
        """
        low, high = min(0.0, self.applied_least), max(0.0, self.applied_most)
        step = (high - low) / 100.0

        def walk(end: float, step: float) -> float:
            """The last place, in steps of `step` from `end`, with half of its slope; all N or m."""
            at_end, x = self.slope(end), end
            for k in range(1, 101):
                if self.slope(end + k * step) * at_end < 0.5 * at_end * at_end:
                    break
                x = end + k * step
            return x

        return walk(low, -step), walk(high, step)

    @cached_property
    def _ends(self) -> list[tuple[float, float]]:
        """(reading, slope) at the two ends of `reach`, the lower reading first."""
        return sorted((self.reading(x), self.slope(x)) for x in self.reach)

    @cached_property
    def _slope_terms(self) -> tuple[float, ...]:
        return tuple(p * c for p, c in enumerate(self.coefficients))[1:]

    @cached_property
    def spread_terms(self) -> tuple[float, ...]:
        """The (2 degree + 1) coefficients of g' C g as a polynomial in the applied value."""
        return self._diagonals(0)

    @cached_property
    def _tared_terms(self) -> tuple[float, ...]:
        return self._diagonals(1)

    def _diagonals(self, first: int) -> tuple[float, ...]:
        terms = [0.0] * (2 * self.degree + 1)
        for i, row in enumerate(self.covariance[first:], first):
            for j, c in enumerate(row[first:], first):
                terms[i + j] += c
        return tuple(terms)

    def _through_inverse(self, applied: Values, terms: Sequence[float], reading_u: float) -> Values:
        spread = clamp(polynomial(terms, applied), 0.0, math.inf)
        spread = spread + reading_u * reading_u
        slope: Any = self.slope(clamp(applied, *self.reach) if self.degree > 1 else applied)
        return spread**0.5 / abs(slope)  # type: ignore[no-any-return]

    def _newton(self, reading: Any) -> Any:
        low, high = self.reach
        c2, c3 = self.coefficients[2:]
        turn = clamp(-c2 / (3.0 * c3), low, high) if c3 else low
        x = turn + 0.0 * reading
        for _ in range(100):
            before, x = x, clamp(x - (self.reading(x) - reading) / self.slope(x), low, high)
            moved = abs(x - before) > 1e-15 * (high - low)
            if not (moved if isinstance(moved, bool) else moved.any()):
                break
        return x


def check_invertible(curve: Calibration, where: str) -> None:
    """Check that the curve rises or falls throughout; raises SensorsFault.

    where: file or step, for the fault.
    """
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
            "the fitted curve does not rise or fall throughout from 0 to its last point, so it cannot be inverted",
            "give a lower degree or check the points",
        )


def resolution_u(resolution: float | None) -> float:
    """Standard uncertainty of a reading from its smallest step `resolution` d alone, same unit:
    d / sqrt(12) (JCGM 100:2008, F.2.2.1); 0 if d is unknown."""
    return (resolution or 0.0) / math.sqrt(12.0)
