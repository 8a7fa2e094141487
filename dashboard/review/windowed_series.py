"""Stores all readings of a channel and returns any window of them at a bounded cost.

A window with few readings holds the readings themselves; one with many holds the lowest and highest
reading of each column of time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.live.minmax_pyramid import BASE_S, LATEST_S, MOST_BINS, Pyramid
from analysis.signals.counter_modulus import CounterTurns
from analysis.signals.time_grid import JUMP_M, JUMP_M_S
from logger.channels.channel import Channel
from logger.session.records import ChannelReadings

MOST_RAW = 1200  # readings in a window that are returned themselves
MOST_SCANNED = 100_000  # readings that are reduced for one window; beyond, the pyramid is used

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Window:
    """A channel between two times: readings, or columns of time with their lowest and highest
    reading."""

    time_s: Floats  # (n,) times of readings, or begins of columns
    low: Floats  # (n,) lowest reading of each column, N or m; or the readings
    high: Floats  # (n,) highest reading of each column, N or m; or the readings
    width_s: float = 0.0  # width of a column; 0: the window holds readings

    def path(self, gap_s: float) -> tuple[Floats, Floats]:
        """(x in s, y in N or m) of a line: two points a column, NaN where no reading came for
        gap_s."""
        if not self.width_s:
            return _broken(self.time_s, self.low, gap_s)
        n = len(self.time_s)
        x = np.repeat(self.time_s, 2) + np.tile([0.25, 0.75], n) * self.width_s
        # low first and high first in turn, so that neighbouring columns join at the same end
        down = np.arange(n) % 2 == 1
        y = np.empty(2 * n)
        y[0::2] = np.where(down, self.high, self.low)
        y[1::2] = np.where(down, self.low, self.high)
        return _broken(x, y, gap_s + 1.5 * self.width_s)


def _broken(x: Floats, y: Floats, gap_s: float) -> tuple[Floats, Floats]:
    """The line with a NaN in each gap of x that is longer than gap_s."""
    gaps = np.flatnonzero(np.diff(x) > gap_s) + 1
    if not len(gaps):
        return x, y
    return np.insert(x, gaps, (x[gaps - 1] + x[gaps]) / 2), np.insert(y, gaps, np.nan)


class _Store:
    """Times and values of readings, in two arrays that double when they are full."""

    def __init__(self) -> None:
        self.n = 0
        self._time_s, self._value = np.empty(1024), np.empty(1024)

    def push(self, time_s: Floats, value: Floats) -> None:
        """Append readings.  time_s: their times (n,); value: (n,), as `Series` stores them."""
        end = self.n + len(time_s)
        if end > len(self._time_s):
            room = np.empty(max(end, 2 * len(self._time_s)) - self.n)
            self._time_s = np.concatenate((self._time_s[: self.n], room))
            self._value = np.concatenate((self._value[: self.n], room))
        self._time_s[self.n : end], self._value[self.n : end] = time_s, value
        self.n = end

    @property
    def time_s(self) -> Floats:
        """Times of all readings (n,), s."""
        return self._time_s[: self.n]

    @property
    def value(self) -> Floats:
        """Values of all readings (n,), as `Series` stores them."""
        return self._value[: self.n]


class Series:
    """All readings of one channel, and windows of them in SI.

    A force is stored as it was read, because a zero may apply to earlier readings.  A length is
    stored in m from the first reading, without the jumps of a counter that restarts.

    gains: (time s, factor from the counter's length to the length that is returned), from that time on, in
        order of time; rope at the haul has one for each rig.
    """

    def __init__(self, channel: Channel, gain: float = 1.0) -> None:
        self.channel = channel
        self.gains: tuple[tuple[float, float], ...] = ((-np.inf, gain),)
        self._store = _Store()
        self._zeros: list[tuple[float, float]] = []
        self._shift: float | None = None
        self._turns = CounterTurns(channel)
        self.pyramid = Pyramid()

    def __len__(self) -> int:
        return self._store.n

    @property
    def last_s(self) -> float | None:
        """Time of the last reading, s; None: there is none."""
        return float(self._store.time_s[-1]) if self._store.n else None

    def push(self, readings: ChannelReadings) -> None:
        """Append readings; those that are no number or go back in time are left out, as in the
        analysis."""
        time_s = np.asarray(readings.time_s, float)
        reading = np.asarray(readings.reading, float)
        with np.errstate(all="ignore"):
            good = np.isfinite(self.channel.si(reading)) & (np.abs(time_s) < LATEST_S)
        time_s, reading = time_s[good], reading[good]
        if not len(time_s):
            return
        last = self.last_s
        latest = np.maximum.accumulate(time_s if last is None else np.append(last, time_s))
        in_order = time_s >= (latest if last is None else latest[1:])
        time_s, reading = time_s[in_order], reading[in_order]
        if not len(time_s):
            return
        if self.channel.quantity == "length":
            reading = self._unjumped(time_s, self._turns.followed(time_s, reading))
        self._store.push(time_s, reading)
        self.pyramid.push(time_s, self._si(time_s, reading))

    def zero(self, time_s: float, value: float) -> None:
        """Set the zero of a force from time_s on; a length has none.  value: in the unit of the
        device."""
        if self.channel.quantity != "force" or not np.isfinite(value):
            return
        self._zeros = sorted([*self._zeros, (time_s, value)], key=lambda z: z[0])
        if self._store.n and time_s <= self._store.time_s[-1]:
            self.pyramid = Pyramid()
            self.pyramid.push(self._store.time_s, self._si(self._store.time_s, self._store.value))

    def follow(self, gains: Sequence[tuple[float, float]]) -> None:
        """Use these gains of a length, as the attribute; the length has no jump where they change."""
        if tuple(gains) == self.gains or not gains:
            return
        self.gains = tuple(gains)
        self.pyramid = Pyramid()
        self.pyramid.push(self._store.time_s, self._si(self._store.time_s, self._store.value))

    def between(self, begin_s: float, end_s: float) -> tuple[Floats, Floats]:
        """(time_s, value) (n,) of the readings from begin_s to end_s, and of one more on each side."""
        every = self._store.time_s
        first = max(0, int(np.searchsorted(every, begin_s, "left")) - 1)
        last = min(len(every), int(np.searchsorted(every, end_s, "right")) + 1)
        time_s = every[first:last].copy()
        return time_s, self._si(time_s, self._store.value[first:last])

    def count(self, begin_s: float, end_s: float) -> int:
        """Number of readings between two times."""
        first, last = np.searchsorted(self._store.time_s, [begin_s, end_s])
        return int(last - first)

    def at(self, time_s: Floats) -> Floats:
        """Values (n,) at the times time_s (n,), linear between readings, NaN before the first and
        after the last."""
        every = self._store.time_s
        if not len(every):
            return np.full(len(time_s), np.nan)
        right = np.clip(np.searchsorted(every, time_s), 1, max(1, len(every) - 1))
        left = right - 1
        right = np.minimum(right, len(every) - 1)
        a = self._si(every[left], self._store.value[left])
        b = self._si(every[right], self._store.value[right])
        step = every[right] - every[left]
        share = np.where(step > 0, (time_s - every[left]) / np.where(step > 0, step, 1.0), 0.0)
        inside = (time_s >= every[0]) & (time_s <= every[-1])
        return np.where(inside, a + share * (b - a), np.nan)

    def window(self, begin_s: float, end_s: float) -> Window:
        """The window as at most MOST_RAW readings or about MOST_BINS columns; no lowest or highest
        is lost."""
        many = self.count(begin_s, end_s)
        if many <= MOST_RAW - 2:
            time_s, value = self.between(begin_s, end_s)
            return Window(time_s, value, value)
        if many <= MOST_SCANNED:
            return _columns(*self.between(begin_s, end_s), (end_s - begin_s) / (MOST_BINS - 4))
        level = self.pyramid.level_for(end_s - begin_s)
        first, last = int(np.floor(begin_s / BASE_S)), int(np.ceil(end_s / BASE_S))
        bins, low, high = self.pyramid.bins(level, first, last)
        width_s = BASE_S * 2.0**level
        return Window(np.asarray(bins * width_s, float), low, high, width_s)

    def _si(self, time_s: Floats, stored: Floats) -> Floats:
        """Stored values (n,) in N, with the zero of their time, or in m."""
        if self.channel.quantity == "length":
            return self._placed(time_s, stored)
        zero = np.full(len(time_s), self.channel.zero)
        for since_s, value in self._zeros:
            zero[time_s >= since_s] = value
        return np.asarray(self.channel.si(stored - zero, 0.0), float)

    def _placed(self, time_s: Floats, stored: Floats) -> Floats:
        """Stored lengths (n,), m, by the gain of their time."""
        offset, gain = 0.0, self.gains[0][1]
        placed = stored * gain
        for from_s, later in self.gains[1:]:
            if not self._store.n or from_s > self._store.time_s[-1]:
                break
            at = float(np.interp(from_s, self._store.time_s, self._store.value))
            offset, gain = offset + at * (gain - later), later
            placed = np.where(time_s > from_s, offset + stored * gain, placed)
        return placed

    def _unjumped(self, time_s: Floats, reading: Floats) -> Floats:
        """Readings of a length (n,) in m from the first one, without jumps of the counter."""
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
    """The lowest and highest reading of each column that holds one.

    Columns begin at whole multiples of width_s, so that they do not shift when the window is moved.
    """
    column = np.floor(time_s / width_s).astype(np.int64)
    begin = np.flatnonzero(np.concatenate(([True], column[1:] != column[:-1])))
    return Window(
        np.asarray(column[begin] * width_s, float), np.minimum.reduceat(value, begin),
        np.maximum.reduceat(value, begin), width_s,
    )  # fmt: skip
