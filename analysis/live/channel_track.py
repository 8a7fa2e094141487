"""What the page needs of each channel's readings as they come: the last seconds, the highest, the
way of a counter.  Works per block; keeps a few seconds, and a position per eighth of a second."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.live.minmax_pyramid import Pyramid
from analysis.signals.time_grid import JUMP_M, JUMP_M_S
from logger.channels.channel import Channel
from logger.session.records import ChannelReadings

KEPT_S = 3.0
Floats = NDArray[np.float64]


class Track:
    """One channel.  count, last_s, value (SI, None before the first); highest (SI) at highest_s."""

    def __init__(self, channel: Channel) -> None:
        self.channel = channel
        self.zero = channel.zero
        self.count = 0
        self.last_s: float | None = None
        self.value: float | None = None
        self.highest: float | None = None
        self.highest_s: float | None = None
        self.saturated = False
        self.time_s: Floats = np.empty(0)
        self.values: Floats = np.empty(0)
        self.pyramid = Pyramid()
        self._shift: float | None = None

    def push(self, readings: ChannelReadings) -> None:
        """More readings, in order of time."""
        time_s = np.asarray(readings.time_s, float)
        with np.errstate(all="ignore"):
            values = np.asarray(self.channel.si(readings.reading, self.zero), float)
        good = np.isfinite(values)
        if not good.all():
            time_s, values = time_s[good], values[good]
        if not len(time_s):
            return
        self.saturated = bool(np.any(self.channel.saturated(readings.reading[-1:])))
        if self.channel.quantity == "length":
            values = self._unjumped(time_s, values)
        self.pyramid.push(time_s, values)
        self.count += len(time_s)
        self.last_s, self.value = float(time_s[-1]), float(values[-1])
        top = int(np.argmax(values))
        if self.highest is None or values[top] > self.highest:
            self.highest, self.highest_s = float(values[top]), float(time_s[top])
        after = self.last_s - KEPT_S
        both = np.concatenate((self.time_s, time_s)), np.concatenate((self.values, values))
        cut = int(np.searchsorted(both[0], after))
        self.time_s, self.values = both[0][cut:], both[1][cut:]

    def _unjumped(self, time_s: Floats, values: Floats) -> Floats:
        """The counter's way since its first reading; what it jumps when it starts anew is left out."""
        if self._shift is None:
            self._shift = -float(values[0])
            before_s, before = float(time_s[0]), 0.0
        else:
            assert self.last_s is not None and self.value is not None
            before_s, before = self.last_s, self.value
        step = np.diff(values, prepend=before - self._shift)
        gone = np.minimum(np.diff(time_s, prepend=before_s), 1.0)
        jumps = np.where(np.abs(step) > JUMP_M + JUMP_M_S * gone, -step, 0.0)
        shift = self._shift + np.cumsum(jumps)
        self._shift = float(shift[-1])
        return np.asarray(values + shift, float)

    def age_s(self, now_s: float) -> float | None:
        """Seconds since the last reading, None before the first."""
        return None if self.last_s is None else max(0.0, now_s - self.last_s)

    def stale(self, now_s: float, began_s: float = 0.0) -> bool:
        """Whether a reading is overdue."""
        last = began_s if self.last_s is None else self.last_s
        return now_s - last > self.channel.stale_after_s

    def rate(self, now_s: float, over_s: float = 2.0) -> float:
        """Readings per second over the last seconds."""
        return float(len(self.time_s) - np.searchsorted(self.time_s, now_s - over_s)) / over_s

    def recent(self, over_s: float) -> Floats:
        """The values of the last seconds before the last reading."""
        if self.last_s is None:
            return self.values
        return self.values[int(np.searchsorted(self.time_s, self.last_s - over_s)) :]

    def moved(self, over_s: float, now_s: float) -> float | None:
        """How far a counter came in the last seconds; None where it did not speak."""
        if self.last_s is None or self.value is None or now_s - self.last_s > over_s:
            return None
        at = min(int(np.searchsorted(self.time_s, now_s - over_s)), len(self.values) - 1)
        return self.value - float(self.values[at])

    def at(self, time_s: float) -> float | None:
        """Where a counter stood at a time in the past, to an eighth of a second."""
        found = self.pyramid.before(time_s)
        if found is None:
            return 0.0 if self.count else None
        return (found[0] + found[1]) / 2


@dataclass(frozen=True)
class Way:
    """A counter's track, times the metres at the place that is asked for per metre of it, and what
    had come out there (m) when the counter stood at nothing: another rig has another gain."""

    track: Track
    gain: float
    offset_m: float = 0.0

    @property
    def value(self) -> float | None:
        return self._placed(self.track.value)

    def moved(self, over_s: float, now_s: float) -> float | None:
        moved = self.track.moved(over_s, now_s)
        return None if moved is None else moved * self.gain

    def at(self, time_s: float) -> float | None:
        return self._placed(self.track.at(time_s))

    def with_gain(self, gain: float, from_s: float) -> Way:
        """With another gain from a time on."""
        at = self.track.at(from_s) or 0.0
        return Way(self.track, gain, self.offset_m + at * (self.gain - gain))

    def _placed(self, way: float | None) -> float | None:
        return None if way is None else self.offset_m + way * self.gain
