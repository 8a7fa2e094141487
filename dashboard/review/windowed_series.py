"""A channel's readings kept whole for the review: any window of time as raw readings where they are
few, else as the lowest and highest of each column, at a cost that does not grow with the session."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.live.minmax_pyramid import BASE_S, LATEST_S, MOST_BINS, Pyramid
from analysis.signals.time_grid import JUMP_M, JUMP_M_S
from logger.channels.channel import Channel
from logger.session.records import ChannelReadings

MOST_RAW = 1200  # readings that are shown as they are
MOST_SCANNED = 100_000  # readings that are looked through for one window; beyond, the pyramid

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Window:
    """Part of a channel.  width_s 0: time_s (n,) are those of readings, low and high (n,) the same;
    else they begin columns of this width, low and high their least and largest reading."""

    time_s: Floats
    low: Floats
    high: Floats
    width_s: float = 0.0

    def path(self, gap_s: float) -> tuple[Floats, Floats]:
        """x (s) and y of a line: two points a column, NaN where nothing was read for gap_s."""
        if not self.width_s:
            return _broken(self.time_s, self.low, gap_s)
        n = len(self.time_s)
        x = np.repeat(self.time_s, 2) + np.tile([0.25, 0.75], n) * self.width_s
        # down and up in turn, so that the line joins columns at the same end
        down = np.arange(n) % 2 == 1
        y = np.empty(2 * n)
        y[0::2] = np.where(down, self.high, self.low)
        y[1::2] = np.where(down, self.low, self.high)
        return _broken(x, y, gap_s + 1.5 * self.width_s)


def _broken(x: Floats, y: Floats, gap_s: float) -> tuple[Floats, Floats]:
    gaps = np.flatnonzero(np.diff(x) > gap_s) + 1
    if not len(gaps):
        return x, y
    return np.insert(x, gaps, (x[gaps - 1] + x[gaps]) / 2), np.insert(y, gaps, np.nan)


class _Store:
    """Two arrays that grow together."""

    def __init__(self) -> None:
        self.n = 0
        self._time_s, self._value = np.empty(1024), np.empty(1024)

    def push(self, time_s: Floats, value: Floats) -> None:
        end = self.n + len(time_s)
        if end > len(self._time_s):
            room = np.empty(max(end, 2 * len(self._time_s)) - self.n)
            self._time_s = np.concatenate((self._time_s[: self.n], room))
            self._value = np.concatenate((self._value[: self.n], room))
        self._time_s[self.n : end], self._value[self.n : end] = time_s, value
        self.n = end

    @property
    def time_s(self) -> Floats:
        return self._time_s[: self.n]

    @property
    def value(self) -> Floats:
        return self._value[: self.n]


class Series:
    """One channel in SI.  A force is kept as read, because a zero may hold for readings that came
    before it was told; a length as its way since the first reading, restarts of the counter left out.

    gain: times this is what is asked for (rope at the haul per metre of the counter).
    """

    def __init__(self, channel: Channel, gain: float = 1.0) -> None:
        self.channel, self.gain = channel, gain
        self._store = _Store()
        self._zeros: list[tuple[float, float]] = []
        self._shift: float | None = None
        self.pyramid = Pyramid()

    def __len__(self) -> int:
        return self._store.n

    @property
    def last_s(self) -> float | None:
        return float(self._store.time_s[-1]) if self._store.n else None

    def push(self, readings: ChannelReadings) -> None:
        """More readings; what is no number or goes back in time is left out, as in the analysis."""
        time_s = np.asarray(readings.time_s, float)
        reading = np.asarray(readings.reading, float)
        with np.errstate(all="ignore"):
            good = np.isfinite(self.channel.si(reading)) & (np.abs(time_s) < LATEST_S)
        time_s, reading = time_s[good], reading[good]
        if not len(time_s):
            return
        last = self.last_s
        latest = np.maximum.accumulate(time_s if last is None else np.append(last, time_s))
        sorted_ = time_s >= (latest if last is None else latest[1:])
        time_s, reading = time_s[sorted_], reading[sorted_]
        if not len(time_s):
            return
        if self.channel.quantity == "length":
            reading = self._unjumped(time_s, reading)
        self._store.push(time_s, reading)
        self.pyramid.push(time_s, self._shown(time_s, reading))

    def zero(self, time_s: float, value: float) -> None:
        """A zero that holds from time_s on; only a force has one that counts."""
        if self.channel.quantity != "force" or not np.isfinite(value):
            return
        self._zeros = sorted([*self._zeros, (time_s, value)], key=lambda z: z[0])
        if self._store.n and time_s <= self._store.time_s[-1]:
            self.pyramid = Pyramid()
            self.pyramid.push(
                self._store.time_s, self._shown(self._store.time_s, self._store.value)
            )

    def part(self, begin_s: float, end_s: float) -> tuple[Floats, Floats]:
        """All readings from begin_s to end_s, and one more on each side: time_s and values (n,)."""
        every = self._store.time_s
        first = max(0, int(np.searchsorted(every, begin_s, "left")) - 1)
        last = min(len(every), int(np.searchsorted(every, end_s, "right")) + 1)
        time_s = every[first:last].copy()
        return time_s, self._shown(time_s, self._store.value[first:last])

    def count(self, begin_s: float, end_s: float) -> int:
        """Readings between two times."""
        first, last = np.searchsorted(self._store.time_s, [begin_s, end_s])
        return int(last - first)

    def at(self, time_s: Floats) -> Floats:
        """Values at these times (n,), straight between readings, NaN before and after all of them."""
        every = self._store.time_s
        if not len(every):
            return np.full(len(time_s), np.nan)
        right = np.clip(np.searchsorted(every, time_s), 1, max(1, len(every) - 1))
        left = right - 1
        right = np.minimum(right, len(every) - 1)
        a = self._shown(every[left], self._store.value[left])
        b = self._shown(every[right], self._store.value[right])
        step = every[right] - every[left]
        share = np.where(step > 0, (time_s - every[left]) / np.where(step > 0, step, 1.0), 0.0)
        inside = (time_s >= every[0]) & (time_s <= every[-1])
        return np.where(inside, a + share * (b - a), np.nan)

    def window(self, begin_s: float, end_s: float) -> Window:
        """The window, in at most MOST_RAW readings or about MOST_BINS columns; no extreme is lost."""
        many = self.count(begin_s, end_s)
        if many <= MOST_RAW - 2:
            time_s, value = self.part(begin_s, end_s)
            return Window(time_s, value, value)
        if many <= MOST_SCANNED:
            return _columns(*self.part(begin_s, end_s), (end_s - begin_s) / (MOST_BINS - 4))
        level = self.pyramid.level_for(end_s - begin_s)
        first, last = int(np.floor(begin_s / BASE_S)), int(np.ceil(end_s / BASE_S))
        bins, low, high = self.pyramid.bins(level, first, last)
        width_s = BASE_S * 2.0**level
        return Window(np.asarray(bins * width_s, float), low, high, width_s)

    def _shown(self, time_s: Floats, kept: Floats) -> Floats:
        if self.channel.quantity == "length":
            return kept * self.gain
        zero = np.full(len(time_s), self.channel.zero)
        for since_s, value in self._zeros:
            zero[time_s >= since_s] = value
        return np.asarray(self.channel.si(kept - zero, 0.0), float)

    def _unjumped(self, time_s: Floats, reading: Floats) -> Floats:
        metres = np.asarray(self.channel.si(reading), float)
        if self._shift is None:
            self._shift = -float(metres[0])
            before_s, before = float(time_s[0]), 0.0
        else:
            before_s, before = float(self._store.time_s[-1]), float(self._store.value[-1])
        step = np.diff(metres, prepend=before - self._shift)
        gone = np.minimum(np.diff(time_s, prepend=before_s), 1.0)
        jumps = np.where(np.abs(step) > JUMP_M + JUMP_M_S * gone, -step, 0.0)
        shift = self._shift + np.cumsum(jumps)
        self._shift = float(shift[-1])
        return metres + shift


def _columns(time_s: Floats, value: Floats, width_s: float) -> Window:
    """Least and largest of each column that holds a reading; columns lie at whole multiples of
    their width, so that they stay where they are when the window is moved."""
    column = np.floor(time_s / width_s).astype(np.int64)
    begin = np.flatnonzero(np.concatenate(([True], column[1:] != column[:-1])))
    return Window(
        np.asarray(column[begin] * width_s, float), np.minimum.reduceat(value, begin),
        np.maximum.reduceat(value, begin), width_s,
    )  # fmt: skip
