"""Bisection: where a condition that holds on the left of an interval stops to hold."""

from __future__ import annotations

from collections.abc import Callable


def bisect(
    below: Callable[[float], bool], low: float, high: float, steps: int = 60, tolerance: float = 0.0
) -> tuple[float, float]:
    """The two ends of what is left of low..high around the place where `below` turns false.

    below: true left of the place and false right of it; asked once a step, in the middle alone,
    so the caller makes sure that it holds at low and not at high; otherwise the end that is
    nearest remains.  steps: at most as many halvings; 60 of them leave 1e-18 of the interval,
    which is the rounding of a float.  tolerance: an interval as narrow as this, in the unit of low
    and high, is not halved again.  Raises ValueError where low is above high or one is no number.
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
