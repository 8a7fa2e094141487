"""Uncertainty after the GUM (JCGM 100): budgets, effective degrees of freedom, U95 by Student's t."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analysis.numeric import bisect
from analysis.signals.time_cells import Floats


@dataclass(frozen=True)
class Component:
    """One independent contribution to the uncertainty of a result."""

    name: str  # what it comes from
    u: float  # standard uncertainty times its sensitivity, in the result's unit
    degrees: float = math.inf  # degrees of freedom; inf for type B


@dataclass(frozen=True)
class Quantity:
    """A measured value with its uncertainty budget."""

    value: float  # in the unit of the quantity
    budget: tuple[Component, ...]  # its components, in the same unit
    n: int  # number of independent observations

    @property
    def u(self) -> float:
        """Combined standard uncertainty (GUM 5.1.2), in the unit of the value."""
        return math.sqrt(sum(c.u * c.u for c in self.budget))

    @property
    def degrees(self) -> float:
        """Effective degrees of freedom by Welch-Satterthwaite (GUM G.4.1)."""
        u = self.u
        if not 0 < u < math.inf:
            return math.inf
        below = sum((c.u / u) ** 4 / c.degrees for c in self.budget if math.isfinite(c.degrees))
        return 1 / below if below > 1e-12 else math.inf

    @property
    def U95(self) -> float:
        """Expanded uncertainty by the two-sided 95 % quantile of t, in the unit of the value."""
        return t_quantile(self.degrees) * self.u

    def scaled(self, factor: float) -> Quantity:
        """The quantity times `factor`, an exact number."""
        parts = tuple(Component(c.name, c.u * abs(factor), c.degrees) for c in self.budget)
        return Quantity(self.value * factor, parts, self.n)

    def json(self) -> dict[str, Any]:
        """The object {"value", "u", "U95", "n"} of interface section 6."""
        return {"value": self.value, "u": self.u, "U95": self.U95, "n": self.n}


def slopes(f: Callable[[Floats], float], x: Floats, step: Floats) -> Floats:
    """Partial derivatives of f at x (n,) by central differences of `step` (n,): (n,), unit of f / of x."""
    result = np.empty(len(x))
    for k in range(len(x)):
        d = np.zeros(len(x))
        d[k] = step[k]
        result[k] = (f(x + d) - f(x - d)) / (2 * step[k])
    return result


def propagate(f: Callable[[Floats], ArrayLike], x: Floats, cov: Floats) -> tuple[Floats, Floats]:
    """Values f(x), (m,), and their covariance, (m, m), for correlated inputs x (n,) with cov (n, n).

    Linear propagation J cov J', with J by central differences of a thousandth of the standard uncertainty
    (JCGM 100, 5.2.2 and H.2; JCGM 102 for several results).
    """
    value = np.atleast_1d(np.asarray(f(x), dtype=np.float64))
    u = np.sqrt(np.diag(cov))
    jacobian = np.zeros((len(value), len(x)))
    for k in np.flatnonzero(u > 0):
        d = np.zeros(len(x))
        d[k] = 1e-3 * u[k]
        jacobian[:, k] = (np.atleast_1d(f(x + d)) - np.atleast_1d(f(x - d))) / (2 * d[k])
    return value, np.asarray(jacobian @ cov @ jacobian.T)


class BudgetRow(NamedTuple):
    """The components of one name combined."""

    name: str  # what they come from
    u: float  # combined standard uncertainty, in the result's unit
    degrees: float  # effective degrees of freedom
    share: float  # of the result's variance


def budget_rows(quantity: Quantity) -> list[BudgetRow]:
    """The budget of a quantity by name of the component, the largest share first."""
    merged: dict[str, list[Component]] = {}
    for c in quantity.budget:
        merged.setdefault(c.name, []).append(c)
    total = quantity.u**2
    rows = []
    for name, parts in merged.items():
        one = Quantity(0.0, tuple(parts), 1)
        rows.append(BudgetRow(name, one.u, one.degrees, one.u**2 / total if total > 0 else 0.0))
    return sorted(rows, key=lambda row: -row.share)


def type_a(values: Floats, weights: Floats) -> tuple[float, Component]:
    """Weighted mean of values (n,), any unit, and its standard uncertainty by their scatter (GUM 4.2.3).

    weights: (n,).  With equal weights u = s / sqrt(n), with unequal ones
    u^2 = n / (n - 1) sum w^2 (x - m)^2 / (sum w)^2.  A single value has u = 0.
    """
    mean = float(np.sum(values * weights) / np.sum(weights))
    n = len(values)
    if n < 2:
        return mean, Component("scatter", 0.0)
    square = float(np.sum((weights * (values - mean)) ** 2) / np.sum(weights) ** 2)
    return mean, Component("scatter", math.sqrt(square * n / (n - 1)), n - 1)


@lru_cache(maxsize=256)
def t_quantile(degrees: float, p: float = 0.95) -> float:
    """Two-sided quantile of Student's t: |t| stays below it with probability p.

    degrees: > 0, may be fractional or inf.  Up to 200 by bisection of the regularised incomplete beta
    function, P(|T| > t) = I(v / (v + t^2); v/2, 1/2); beyond by the expansion 26.7.5 of Abramowitz and
    Stegun.  Correct to 9 digits.
    """
    if not degrees > 0:
        return math.inf
    if degrees > 200:
        return _large(NormalDist().inv_cdf((1 + p) / 2), degrees)
    degrees = max(degrees, 0.2)
    low, high = 0.0, 1.0
    while _outside(high, degrees) > 1 - p and high < 1e15:
        high *= 2
    low, high = bisect(lambda t: _outside(t, degrees) > 1 - p, low, high, steps=80)
    return (low + high) / 2


def _large(z: float, v: float) -> float:
    """Quantile of t for many degrees of freedom v (Abramowitz and Stegun 26.7.5); z: normal quantile."""
    if math.isinf(v):
        return z
    terms = (
        (z**3 + z) / 4,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
        (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160,
    )
    return z + sum(g / v ** (k + 1) for k, g in enumerate(terms))


def _outside(t: float, degrees: float) -> float:
    """Probability that Student's |T| exceeds t."""
    return _beta_i(degrees / 2, 0.5, degrees / (degrees + t * t))


def _beta_i(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function I(x; a, b) by its continued fraction (Lentz's method)."""
    if x <= 0 or x >= 1:
        return 0.0 if x <= 0 else 1.0
    if x > (a + 1) / (a + b + 2):
        return 1.0 - _beta_i(b, a, 1 - x)
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )
    tiny = 1e-300
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1)
    d = 1.0 / (d if abs(d) > tiny else tiny)
    total = d
    for m in range(1, 10_000):
        for term in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 + term * d
            d = 1.0 / (d if abs(d) > tiny else tiny)
            c = 1.0 + term / c
            c = c if abs(c) > tiny else tiny
            total *= c * d
        if abs(c * d - 1.0) < 1e-14:
            break
    return front * total / a
