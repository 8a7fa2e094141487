"""Keeps the lowest, highest and mean reading per bin of time, at widths that double from level to level.

Any window is drawn from a few hundred bins, at a cost that does not grow with the session, and no peak is
left out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

BASE_S = 0.125  # width of a bin on level 0; on level n 2**n times that; chosen by us: eight bins a second
# in a window; speed only: two points each make 1,200, which a browser draws quickly
MOST_BINS = 600
LATEST_S = 1e11  # readings beyond this time are rejected; chosen by us: 3,000 years
# sums are kept in units of 2**64; derived: exact, and no 2**64 doubles of 2**1024 at most overflow in them
SUM_UNIT = 2.0**64

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


class _Level:
    """The bins of one level that hold a reading, in order; bin k covers times from k to k + 1 widths.

    n: number of bins in use; the arrays have room for more.
    bin: index of each bin.
    low, high: lowest and highest reading in it, N or m.
    total: sum of its readings, SUM_UNIT N or m.
    count: number of its readings.
    """

    def __init__(self) -> None:
        self.n = 0
        self.bin: Ints = np.empty(64, np.int64)
        self.low: Floats = np.empty(64)
        self.high: Floats = np.empty(64)
        self.total: Floats = np.empty(64)
        self.count: Floats = np.empty(64)

    def push(self, bins: Ints, low: Floats, high: Floats, total: Floats, count: Floats) -> None:
        """Merge readings or finer bins: bins (n,), not decreasing and not below the last one here.

        low, high, total, count: of each, (n,), as the attributes; for readings, twice the value in N or m,
        the value in SUM_UNIT, and ones.
        """
        begin = np.flatnonzero(np.concatenate(([True], bins[1:] != bins[:-1])))
        bins = bins[begin]
        low, high = np.minimum.reduceat(low, begin), np.maximum.reduceat(high, begin)
        total, count = np.add.reduceat(total, begin), np.add.reduceat(count, begin)
        if self.n and self.bin[self.n - 1] == bins[0]:
            last = self.n - 1
            self.low[last] = min(self.low[last], low[0])
            self.high[last] = max(self.high[last], high[0])
            self.total[last] += total[0]
            self.count[last] += count[0]
            bins, low, high, total, count = bins[1:], low[1:], high[1:], total[1:], count[1:]
        end = self.n + len(bins)
        if end > len(self.bin):
            room = max(end, 2 * len(self.bin))
            more = np.empty(room - self.n)
            self.bin = np.concatenate((self.bin[: self.n], np.empty(len(more), np.int64)))
            self.low, self.high, self.total, self.count = (
                np.concatenate((a[: self.n], more))
                for a in (self.low, self.high, self.total, self.count)
            )
        self.bin[self.n : end], self.low[self.n : end], self.high[self.n : end] = bins, low, high
        self.total[self.n : end], self.count[self.n : end] = total, count
        self.n = end


class Pyramid:
    """One channel's readings on all levels: `push` new ones, read the `bins` of a level."""

    def __init__(self) -> None:
        self._levels = [_Level()]

    def push(self, time_s: Floats, value: Floats) -> None:
        """Add readings: time_s (n,), not decreasing over all calls; value (n,), N or m.

        Values that are not finite are left out.
        """
        good = np.isfinite(value) & (np.abs(time_s) < LATEST_S)
        if not good.all():
            time_s, value = time_s[good], value[good]
        if not len(time_s):
            return
        bins = np.floor(time_s / BASE_S).astype(np.int64)
        base = self._levels[0]
        if base.n:
            bins = np.maximum(bins, base.bin[base.n - 1])
        one, scaled = np.ones(len(value)), value / SUM_UNIT
        for n, level in enumerate(self._levels):
            level.push(bins >> n, value, value, scaled, one)
        while self._span(len(self._levels) - 1) > MOST_BINS:
            below = self._levels[-1]
            self._levels.append(_Level())
            self._levels[-1].push(
                below.bin[: below.n] >> 1, below.low[: below.n], below.high[: below.n],
                below.total[: below.n], below.count[: below.n],
            )  # fmt: skip

    @property
    def first(self) -> int | None:
        """Index of the first bin of level 0; None before any reading."""
        return int(self._levels[0].bin[0]) if self._levels[0].n else None

    @property
    def last(self) -> int | None:
        """Index of the latest bin of level 0, which still grows; None before any reading."""
        base = self._levels[0]
        return int(base.bin[base.n - 1]) if base.n else None

    def _span(self, n: int) -> int:
        """Number of bins of level n from the first to the last, empty ones included."""
        level = self._levels[n]
        return int(level.bin[level.n - 1] - level.bin[0]) + 1 if level.n else 0

    def level_for(self, span_s: float | None) -> int:
        """The finest level at which a window of span_s (None: the session) has at most MOST_BINS bins."""
        if span_s is None:
            return next(n for n in range(len(self._levels)) if self._span(n) <= MOST_BINS)
        n = 0
        while span_s / (BASE_S * 2**n) > MOST_BINS:
            n += 1
        return min(n, len(self._levels) - 1)

    def bins(
        self, n: int, since: int | None = None, until: int | None = None
    ) -> tuple[Ints, Floats, Floats]:
        """Bins of level n: (index, lowest, highest), (k,) each, N or m.

        since, until: the first and last bin, as indices of level 0; None: no bound.
        """
        level = self._levels[n]
        filled = level.bin[: level.n]
        at = 0 if since is None else int(np.searchsorted(filled, since >> n))
        end = level.n if until is None else int(np.searchsorted(filled, until >> n, "right"))
        return level.bin[at:end].copy(), level.low[at:end].copy(), level.high[at:end].copy()

    def means(self, n: int, since: int | None = None) -> Floats:
        """Mean reading in each of the bins that `bins` returns for n and since, N or m, (k,)."""
        level = self._levels[n]
        at = 0 if since is None else int(np.searchsorted(level.bin[: level.n], since >> n))
        mean = level.total[at : level.n] / level.count[at : level.n]
        # by rounding alone a mean of equal readings could lie outside them, or overflow
        low, high = level.low[at : level.n], level.high[at : level.n]
        return np.asarray(np.clip(mean, low / SUM_UNIT, high / SUM_UNIT) * SUM_UNIT)

    def before(self, time_s: float) -> tuple[float, float] | None:
        """(lowest, highest), N or m, of the last bin of level 0 that begins at or before time_s."""
        base = self._levels[0]
        if abs(time_s) >= LATEST_S:
            return None
        wanted = int(np.floor(time_s / BASE_S))
        k = int(np.searchsorted(base.bin[: base.n], wanted, "right")) - 1
        return None if k < 0 else (float(base.low[k]), float(base.high[k]))
