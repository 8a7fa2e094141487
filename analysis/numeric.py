"""Bisection: locates the point of an interval at which a condition turns from true to false."""

from __future__ import annotations

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
        if below(middle):
            low = middle
        else:
            high = middle
    return low, high
