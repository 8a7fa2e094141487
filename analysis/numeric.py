"""Bisection, and the weighted mean of two correlated estimates."""

from __future__ import annotations

import math
from collections.abc import Callable


def bisect(
    below: Callable[[float], bool], low: float, high: float, steps: int = 60, tolerance: float = 0.0
) -> tuple[float, float]:
    """Narrow the interval low..high around the point where `below` turns false; returns its two ends.

    below: true left of the point and false right of it.  It is evaluated once a step, in the middle, so
    the caller makes sure that it holds at low and not at high; if not, the interval shrinks to the
    nearer end.  low, high: any unit.  steps: most halvings; 60 leave 1e-18 of the interval, the rounding
    of a float.  tolerance: width, in the unit of low and high, at which halving stops.  Raises
    ValueError where low is above high or one is not a number.
    """
    if not low <= high:
        raise ValueError(f"no interval: {low} to {high}")
    for _ in range(steps):
        if high - low <= tolerance:
            break
        middle = (low + high) / 2
        if middle in (low, high):
            # no float lies between the ends, so every further step would ask the same again
            return (middle, high) if below(middle) else (low, middle)
        if below(middle):
            low = middle
        else:
            high = middle
    return low, high


def weighted_mean(
    one: float, one_u: float, other: float, other_u: float, correlation: float = 0.0
) -> tuple[float, float, float]:
    """The best linear unbiased estimate from two estimates of one quantity: (value, u, weight of `other`).

    one, other: the estimates, and one_u, other_u: their standard uncertainties, in one unit; correlation: of
    their errors, -1 to 1.  The weight that gives the least variance is that of generalised least squares
    (A. C. Aitken, 1935; for correlated measurements L. Lyons, D. Gibaut, P. Clifford, Nuclear Instruments and
    Methods A 270 (1988) 110, eq. 4, from memory); the variance is the propagation of JCGM 100, 5.2.2.  The
    weight is kept within 0 and 1: beyond, a small error of the correlation would decide.
    """
    both = correlation * one_u * other_u
    apart = one_u**2 + other_u**2 - 2 * both
    weight = 0.5 if apart <= 0 else min(max((one_u**2 - both) / apart, 0.0), 1.0)
    value = one + weight * (other - one)
    rest = 1 - weight
    square = (rest * one_u) ** 2 + (weight * other_u) ** 2 + 2 * rest * weight * both
    return value, math.sqrt(max(0.0, square)), weight
