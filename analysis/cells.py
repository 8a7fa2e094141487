"""Readings of one channel summed up in fixed cells of 1/32 s, whatever the rate and the cut.

A power of two makes `time * RATE` and `cell / RATE` exact, so that a reading falls into the same
cell however it is computed.  A cell is reduced once, when all its readings are there, so the sums
come out the same to the bit whether the readings came in one block or in a thousand.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

RATE = 32
PIECE = 1 << 16  # readings
FEW, MANY = 8, 24  # readings in a cell: up to how many, from how many on it is summed otherwise
MOST = 1e15  # larger readings and times are not of this world


@dataclass(frozen=True)
class Cells:
    """Cells that hold a reading, in order; all arrays (n,), values in the channel's unit.

    cell: floor(time * RATE); count; first_s, last_s, first, last: time and value of the first
    and last reading; inner: trapezoidal integral of the reading over time between these two;
    low, high: least and largest reading.
    """

    cell: Ints
    count: Ints
    first_s: Floats
    last_s: Floats
    first: Floats
    last: Floats
    inner: Floats
    low: Floats
    high: Floats

    def __len__(self) -> int:
        return len(self.cell)

    def part(self, start: int, stop: int | None = None) -> Cells:
        """Cells start..stop (views)."""
        return Cells(*(getattr(self, f.name)[start:stop] for f in fields(self)))


def joined(*parts: Cells) -> Cells:
    """All, one after the other."""
    some = [p for p in parts if len(p)] or [parts[0]]
    if len(some) == 1:
        return some[0]
    return Cells(*(np.concatenate([getattr(p, f.name) for p in some]) for f in fields(Cells)))


def no_cells() -> Cells:
    """Nothing."""
    i, f = np.empty(0, np.int64), np.empty(0)
    return Cells(i, i, f, f, f, f, f, f, f)


def cell_of(time_s: Floats) -> NDArray[Any]:
    """The cell of each time (n,), in order: floor(time * RATE), faster than numpy's floor; in 32 bits
    where they do, because that is faster again."""
    scaled = time_s * RATE
    small = len(scaled) > 0 and scaled[0] > -(2.0**31) and scaled[-1] < 2.0**31
    cell: NDArray[Any] = scaled.astype(np.int32 if small else np.int64)
    if len(cell) and scaled[0] < 0:
        cell -= cell > scaled
    return cell


def reduce(time_s: Floats, reading: Floats, ends_only: bool = False) -> Cells:
    """The cells of readings (n,) in order of time; a few passes over the arrays.

    ends_only: of each cell only the first and last reading is wanted (`inner` is 0, low and high
    are of these two), which is enough for a counter.
    """
    n = len(time_s)
    if n == 0:
        return no_cells()
    first, last = (int(np.floor(t * RATE)) for t in (time_s[0], time_s[-1]))
    if n > MANY * (last - first + 1):
        edges = np.arange(first, last + 1, dtype=np.int64)
        begin = np.searchsorted(time_s, edges / RATE, "left")
        some = begin < np.append(begin[1:], n)
        cell, begin = edges[some], begin[some]
    else:
        each = cell_of(time_s)
        begin = (each[1:] != each[:-1]).nonzero()[0]
        begin += 1
        begin = np.concatenate(([0], begin))
        cell = each[begin].astype(np.int64)
    end = np.append(begin[1:], n)
    end -= 1
    count = end - begin
    count += 1
    left, right = reading[begin], reading[end]
    ends = (cell, count, time_s[begin], time_s[end], left, right)
    if ends_only:
        return Cells(*ends, np.zeros(len(cell)), np.minimum(left, right), np.maximum(left, right))
    most = int(count.max())
    terms = np.empty(n)
    np.add(reading[1:], reading[:-1], out=terms[:-1])
    terms[:-1] *= time_s[1:] - time_s[:-1]
    terms[-1] = 0.0
    # how a cell is summed depends on its own readings alone, so that no cut changes a bit
    if most <= FEW:
        return Cells(*ends, *_few(terms, reading, begin, end, most))
    pairs = np.empty(2 * len(begin), np.int64)
    pairs[0::2], pairs[1::2] = begin, end
    inner = np.add.reduceat(terms, pairs)[0::2] * 0.5
    low, high = np.minimum.reduceat(reading, begin), np.maximum.reduceat(reading, begin)
    few = count <= FEW
    if few.any():
        inner[few], low[few], high[few] = _few(terms, reading, begin[few], end[few], FEW)
    return Cells(*ends, inner, low, high)


def _few(
    terms: Floats, reading: Floats, begin: Ints, end: Ints, most: int
) -> tuple[Floats, Floats, Floats]:
    """Integral, least and largest of cells with at most `most` readings, one reading of all
    cells after the other: five times as fast as reduceat for a handful."""
    low = reading[begin]
    high = low.copy()
    inner = np.zeros(len(begin))
    more = end - begin
    least = int(more.min()) if len(more) else 0
    for k in range(most - 1):
        if k < least:  # all of them have another one
            now = reading[begin + (k + 1)]
            inner += terms[begin + k]
            np.minimum(low, now, out=low)
            np.maximum(high, now, out=high)
        else:
            some = (more > k).nonzero()[0]
            where = begin[some] + k
            now = reading[where + 1]
            inner[some] += terms[where]
            low[some] = np.minimum(low[some], now)
            high[some] = np.maximum(high[some], now)
    inner *= 0.5
    return inner, low, high


class CellStream:
    """Readings in, complete cells out; what is not yet complete waits.

    count, first_s, last_s: of all readings so far (NaN before the first); late: readings for a
    cell that was already given away, not used; bad: not finite or beyond reason, not used.
    """

    def __init__(self, ends_only: bool = False) -> None:
        self._ends_only = ends_only
        self.count = self.late = self.bad = 0
        self.first_s = self.last_s = np.nan
        self.ready = no_cells()
        self._wait: tuple[Floats, Floats] = (np.empty(0), np.empty(0))
        self._given = -(2**62)  # cells up to this one are complete

    def push(self, time_s: Floats, reading: Floats) -> None:
        """More readings, not earlier than those before."""
        time_s, reading = np.asarray(time_s, np.float64), np.asarray(reading, np.float64)
        if len(time_s) == 0:
            return
        if not (abs(time_s[0]) < MOST and abs(time_s[-1]) < MOST and _sane(reading)):
            good = (np.abs(time_s) < MOST) & (np.abs(reading) < MOST)
            self.bad += int(len(good) - good.sum())
            time_s, reading = time_s[good], reading[good]
            if len(time_s) == 0:
                return
        if time_s[0] < self.last_s or bool(np.any(time_s[1:] < time_s[:-1])):
            before = time_s[0] if np.isnan(self.last_s) else max(self.last_s, time_s[0])
            time_s = np.maximum.accumulate(np.concatenate(([before], time_s)))[1:]
        self.count += len(time_s)
        if np.isnan(self.first_s):
            self.first_s = float(time_s[0])
        self.last_s = float(time_s[-1])
        if time_s[0] * RATE < self._given + 1:
            late = int(np.searchsorted(time_s, (self._given + 1) / RATE, "left"))
            self.late += late
            time_s, reading = time_s[late:], reading[late:]
        if len(self._wait[0]):
            time_s = np.concatenate((self._wait[0], time_s))
            reading = np.concatenate((self._wait[1], reading))
        self._wait = (time_s, reading)
        if len(time_s):
            self.complete(int(np.floor(time_s[-1] * RATE)) - 1)

    def complete(self, cell: int) -> None:
        """No more readings will come for cells up to this one."""
        if cell <= self._given:
            return
        self._given = cell
        time_s, reading = self._wait
        split = int(np.searchsorted(time_s, (cell + 1) / RATE, "left"))
        if split:
            parts = [self.ready] if len(self.ready) else []
            begin = 0
            while begin < split:  # in pieces that stay in cache, cut between cells
                end = min(begin + PIECE, split)
                if end < split:
                    border = np.floor(time_s[end] * RATE) / RATE
                    end = int(np.searchsorted(time_s[:split], border, "left"))
                    if end <= begin:
                        end = split
                parts.append(reduce(time_s[begin:end], reading[begin:end], self._ends_only))
                begin = end
            self.ready = joined(*parts)
            # copies: a view would keep the whole block
            self._wait = (time_s[split:].copy(), reading[split:].copy())

    def fork(self) -> CellStream:
        """A copy that can be pushed without changing this one (arrays are never written to)."""
        return copy.copy(self)


def _sane(reading: Floats) -> bool:
    return bool(np.abs(reading.min()) < MOST and np.abs(reading.max()) < MOST)
