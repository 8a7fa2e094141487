"""Follows a counter that starts again from 0 at its modulus: the step nearest to zero is taken.

All numbers are the device's, before zero and scale.  Across a gap the number of turns is not known,
so no step is taken there.
"""

from __future__ import annotations

from typing import Any


def nearest_step(step: Any, modulus: float) -> Any:
    """The step of a counter less the whole turns that bring it nearest to zero.

    step: one number or an array.  The result is from -modulus/2, included, to modulus/2.
    """
    half = modulus / 2.0
    return (step + half) % modulus - half


class CounterReading:
    """The reading of one counter as if it never started again, from single readings in order."""

    def __init__(self, modulus: float, gap_s: float) -> None:
        """modulus: in the device's numbers; gap_s: time between readings that is a gap, s."""
        self._modulus, self._gap_s = modulus, gap_s
        self._last: tuple[float, float, float] | None = None  # time s, as sent, followed

    def follow(self, time_s: float, reading: float) -> float:
        """The followed reading; time_s: of this one, s; reading: as sent."""
        followed = reading
        if self._last is not None:
            before_s, before, followed = self._last
            if time_s - before_s <= self._gap_s:
                followed += nearest_step(reading - before, self._modulus)
        self._last = (time_s, reading, followed)
        return followed
