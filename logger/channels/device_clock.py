"""Spaces the readings of a chunk by the device's own time, and compares that time with the clock here.

Arrival stays the anchor: the device's time says only how far apart readings are, so that neither its
drift nor its restart moves a reading by more than one chunk.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from logger.channels.channel import Channel

TIME_UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6}
# a difference of the clocks that is told, and told again when it has doubled; chosen by us: above the
# 0.1 s by which a busy machine may see a line late
TOLD_S = 0.25
LEAST_S = 5.0  # time before a drift is judged; chosen by us: TOLD_S is 5 % of it
# chunks in a row whose times make no sense before that is told; chosen by us: one may be a restart
MOST_SENSELESS = 10


class DeviceClock:
    """The device's time of one channel."""

    def __init__(self, channel: Channel) -> None:
        self._unit_s = TIME_UNITS[channel.time_unit]
        self._modulus, self._gap_s = channel.time_modulus, channel.stale_after_s
        self._last: float | None = None
        self._anchor_s = 0.0  # clock here at the beginning of `_passed_s`, s
        self._passed_s = 0.0  # by the device's time, s
        self._told_s = TOLD_S
        self._senseless = 0

    def offsets(self, times: Sequence[float], arrived_s: float) -> list[float] | None:
        """Times of a chunk's readings behind the first one, s; None where the device's times do not
        tell: one is missing, two are equal, or time goes back or leaps.

        times: in the device's numbers, NaN for none; arrived_s: when the chunk was complete, s.
        """
        steps = [self._step_s(a, b) for a, b in pairwise(times)]
        joint = None if self._last is None else self._step_s(self._last, times[0])
        self._last = times[-1] if math.isfinite(times[-1]) else None
        inner = all(0.0 < step <= self._gap_s for step in steps)
        if joint is None or not inner or not 0.0 <= joint <= self._gap_s:
            self._senseless += joint is not None
            self._anchor_s, self._passed_s = arrived_s, 0.0
        else:
            self._senseless = 0
            self._passed_s += joint + sum(steps)
        if not inner:
            return None
        offsets = [0.0]
        for step in steps:
            offsets.append(offsets[-1] + step)
        return offsets

    def complaint(self, arrived_s: float) -> str:
        """What to tell about the device's time now, once; "" for nothing.  arrived_s: as `offsets`."""
        if self._senseless == MOST_SENSELESS:
            self._senseless += 1
            return (
                "the device's time goes back or leaps from line to line: correct time_unit or "
                "time_modulus; readings are spaced by their arrival where it does not tell"
            )
        here_s = arrived_s - self._anchor_s
        ahead_s = self._passed_s - here_s
        if here_s < LEAST_S or abs(ahead_s) < self._told_s or not self._passed_s:
            return ""
        self._told_s = 2.0 * abs(ahead_s)
        word = "fast" if ahead_s > 0 else "slow"
        return (
            f"the device's clock is {word}: {abs(ahead_s):.2f} s in {here_s:.0f} s "
            f"({abs(ahead_s) / here_s:.2%}); readings keep the time of their arrival, the device's "
            "time only spaces them"
        )

    def _step_s(self, before: float, after: float) -> float:
        """Time from one reading to the next, s; NaN if one has none."""
        step = after - before
        if self._modulus is not None:
            step %= self._modulus
        return step * self._unit_s


def placed(offsets: Sequence[float], from_s: float, to_s: float, last_s: float) -> list[float]:
    """Times of a chunk's readings, s.

    offsets: s behind the first one; from_s, to_s: when the chunk began and ended to arrive, s;
    last_s: time of the reading before, s.  The first one has the time from_s, unless the device held
    them back: then the last one has to_s, and those before it come no earlier than last_s.
    """
    span = offsets[-1]
    start = max(from_s, last_s)
    if span <= to_s - start:
        return [start + offset for offset in offsets]
    share = min(1.0, max(0.0, to_s - last_s) / span)
    end = max(to_s, last_s)
    return [end - (span - offset) * share for offset in offsets]
