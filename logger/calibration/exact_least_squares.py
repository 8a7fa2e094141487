"""Fits a polynomial by least squares in whole numbers, without rounding until the result.

A calibration has few points, so the normal equations are solved exactly and the results are the
nearest floats.  No scaling or centring can do better, and numpy is not needed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class Solution:
    """The exact fit y = sum over `powers` of coefficient x^power.

    inverse: inverse of the normal matrix, (powers x powers), in units of x alone; times the
        variance of one y it is the covariance of the coefficients
    """

    powers: tuple[int, ...]  # fitted powers of x, rising
    coefficients: tuple[Fraction, ...]  # one per power, unit of y / (unit of x)^power
    inverse: tuple[tuple[Fraction, ...], ...]
    squares: Fraction  # sum of the squared residuals, unit of y squared

    def value(self, x: float) -> Fraction:
        """The exact value of the curve at x, in the unit of y."""
        at = Fraction(x)
        each = zip(self.powers, self.coefficients, strict=True)
        return sum((c * at**power for power, c in each), Fraction())

    def covariance(
        self, x: Sequence[float], x_u: Sequence[float], y_u: float
    ) -> tuple[tuple[float, ...], ...]:
        """Covariance of c0, c1 .. to first order: (degree + 1) x (degree + 1), 0 if not fitted.

        x: places of the points, one per point
        x_u: standard uncertainty of each x; points at the same x share one error, others are
            independent (JCGM 100:2008, 5.2.2)
        y_u: standard uncertainty of each y, independent (5.1.2)
        """
        first, size = self.powers[0], self.powers[-1] + 1
        total = [[0.0] * size for _ in range(size)]
        variance = Fraction(y_u) ** 2
        for i, row in enumerate(self.inverse):
            for j, value in enumerate(row):
                total[first + i][first + j] = float(variance * value)
        # whole numbers over one divisor, so that the large terms of a narrow range cancel exactly
        divisor = math.lcm(*(value.denominator for row in self.inverse for value in row))
        whole = [[int(value * divisor) for value in row] for row in self.inverse]
        slopes = [p * float(c) for p, c in zip(self.powers, self.coefficients, strict=True)]
        groups: dict[float, list[float]] = {}
        for place, u in zip(x, x_u, strict=True):
            groups.setdefault(place, []).append(u)
        for place, same in groups.items():
            if not any(same):
                continue
            top, bottom = place.as_integer_ratio()
            grown = [top**p * bottom ** (size - 1 - p) for p in self.powers]
            below = divisor * bottom ** (size - 1)
            slope = sum(s * place ** (p - 1) for p, s in zip(self.powers, slopes, strict=True) if p)
            by = len(same) * max(same) * slope
            moved = [by * (sum(map(int.__mul__, row, grown)) / below) for row in whole]
            for i, a in enumerate(moved):
                for j, b in enumerate(moved):
                    total[first + i][first + j] += a * b
        return tuple(tuple(row) for row in total)


def solve(x: Sequence[float], y: Sequence[float], powers: Sequence[int]) -> Solution | None:
    """Fit y by powers of x (same length); None if x has too few different values."""
    xs, grid_x = _whole(x)
    ys, grid_y = _whole(y)
    columns = [[value**power for value in xs] for power in powers]
    normal = [[Fraction(sum(map(int.__mul__, a, b))) for b in columns] for a in columns]
    right = [Fraction(sum(map(int.__mul__, a, ys))) for a in columns]
    inverse = _inverse(normal)
    if inverse is None:
        return None
    whole = [sum((a * b for a, b in zip(row, right, strict=True)), Fraction()) for row in inverse]
    squares = sum(v * v for v in ys) - sum(
        (a * b for a, b in zip(whole, right, strict=True)), Fraction()
    )
    back = [Fraction(grid_x) ** power for power in powers]
    return Solution(
        powers=tuple(powers),
        coefficients=tuple(c * b / grid_y for c, b in zip(whole, back, strict=True)),
        inverse=tuple(
            tuple(v * back[i] * back[j] for j, v in enumerate(row)) for i, row in enumerate(inverse)
        ),
        squares=squares / Fraction(grid_y) ** 2,
    )


def root(value: Fraction) -> float:
    """The square root of a fraction of at least 0, exact to the last digit of a float."""
    if value <= 0:
        return 0.0
    # scaled to 120 bits, so that its root has more bits than a float, whatever its size
    shift = 120 - (value.numerator.bit_length() - value.denominator.bit_length())
    shift += shift % 2
    scaled = value * Fraction(2) ** shift
    scaled_root = Fraction(math.isqrt(scaled.numerator // scaled.denominator))
    return float(scaled_root / Fraction(2) ** (shift // 2))


def _whole(values: Sequence[float]) -> tuple[list[int], int]:
    """The values as multiples of 1 / grid, and grid.

    Each float is taken as its shortest decimal, which is what a person or a device wrote, not as
    the nearest binary fraction.
    """
    ratios = [Fraction(repr(float(v))) for v in values]
    grid = math.lcm(*(ratio.denominator for ratio in ratios))
    return [ratio.numerator * (grid // ratio.denominator) for ratio in ratios], grid


def _inverse(matrix: list[list[Fraction]]) -> list[list[Fraction]] | None:
    """The exact inverse by Gauss-Jordan elimination; None if the matrix is singular."""
    size = len(matrix)
    rows = [[*row, *(Fraction(int(i == j)) for j in range(size))] for i, row in enumerate(matrix)]
    for k in range(size):
        pivot = next((i for i in range(k, size) if rows[i][k]), None)
        if pivot is None:
            return None
        rows[k], rows[pivot] = rows[pivot], rows[k]
        rows[k] = [v / rows[k][k] for v in rows[k]]
        for i in range(size):
            if i != k and rows[i][k]:
                by = rows[i][k]
                rows[i] = [a - by * b for a, b in zip(rows[i], rows[k], strict=True)]
    return [row[size:] for row in rows]
