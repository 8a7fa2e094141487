"""Sums up the readings of one channel in fixed cells of 1/32 s, whatever their rate.

A power of two makes `time * RATE` and `cell / RATE` exact, so that a reading falls into the same
cell however it is computed.  A cell is reduced once, when all its readings are there, so the sums
are the same to the bit whether the readings come in one block or in a thousand.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

RATE = 32  # cells a second; chosen by us: a power of two (see above), several cells in a pull of a hand
PIECE = 1 << 16  # readings reduced at once; speed only
# readings in a cell below which, and above which, another way of summing is faster; speed only
FEW, MANY = 8, 24
# larger readings and times are rejected; chosen by us: below 2**53 = 9e15, above which a float skips whole
# numbers
MOST = 1e15


@dataclass(frozen=True)
class Cells:
    """Cells that hold a reading, in order of time; all arrays (n,), values in the channel's unit."""

    cell: Ints  # index of the cell, floor(time * RATE)
    count: Ints  # number of readings
    first_s: Floats  # time of the first reading, s
    last_s: Floats  # time of the last reading, s
    first: Floats  # value of the first reading
    last: Floats  # value of the last reading
    inner: Floats  # trapezoidal integral of the reading from first_s to last_s, unit x s
    low: Floats  # least reading
    high: Floats  # largest reading

    def __len__(self) -> int:
        return len(self.cell)

    def between(self, start: int, stop: int | None = None) -> Cells:
        """Cells start..stop; the arrays are views."""
        return Cells(*[getattr(self, name)[start:stop] for name in NAMES])


NAMES = tuple(f.name for f in fields(Cells))


def no_cells() -> Cells:
    """Return arrays without a cell."""
    i, f = np.empty(0, np.int64), np.empty(0)
    return Cells(cell=i, count=i, first_s=f, last_s=f, first=f, last=f, inner=f, low=f, high=f)


def cell_of(time_s: Floats) -> NDArray[Any]:
    """The index of the cell of each time, (n,), floor(time * RATE).

    time_s: (n,), in order.  Truncation is faster than numpy's floor, and 32 bits, where they suffice,
    are faster than 64.
    """
    scaled = time_s * RATE
    small = len(scaled) > 0 and scaled[0] > -(2.0**31) and scaled[-1] < 2.0**31
    cell: NDArray[Any] = scaled.astype(np.int32 if small else np.int64)
    if len(cell) and scaled[0] < 0:
        cell -= cell > scaled
    return cell


def reduce(time_s: Floats, reading: Floats, ends_only: bool = False) -> Cells:
    """Reduce readings to cells.

    time_s: (n,), in order; reading: (n,), in the channel's unit.  ends_only: keep only the first and
    last reading of each cell, which suffices for a counter: `inner` is 0, and `low` and `high` are
    these two in no order.
    """
    return extended(no_cells(), [(time_s, reading)], ends_only)


def extended(
    before: Cells, chunks: Sequence[tuple[Floats, Floats]], ends_only: bool = False
) -> Cells:
    """Append the cells of more readings to `before`.

    chunks: (time_s, reading), (n,) each, in order of time, all in later cells than `before`, and no
    cell in two chunks.  ends_only: as for `reduce`.
    """
    chunks = [chunk for chunk in chunks if len(chunk[0])]
    if not chunks:
        return before
    filled = len(before)
    most = filled + sum(min(len(t), _cell(t[-1]) - _cell(t[0]) + 1) for t, _ in chunks)
    cell, count = np.empty((2, most), np.int64)
    first_s, last_s, first, last, *sums = np.empty((4 if ends_only else 7, most))
    inner, low, high = sums or (np.broadcast_to(0.0, most), first, last)
    made = Cells(
        cell=cell,
        count=count,
        first_s=first_s,
        last_s=last_s,
        first=first,
        last=last,
        inner=inner,
        low=low,
        high=high,
    )
    for name in NAMES[: 6 if ends_only else 9]:
        getattr(made, name)[:filled] = getattr(before, name)
    for time_s, reading in chunks:
        for piece in _pieces(time_s):
            filled = _reduce(time_s[piece], reading[piece], ends_only, made, filled)
    return made.between(0, filled)


def _cell(time_s: float) -> int:
    return int(np.floor(time_s * RATE))


def _pieces(time_s: Floats) -> Iterator[slice]:
    """Yield slices of times (n,) that fit the cache, cut between cells."""
    begin, n = 0, len(time_s)
    while begin < n:
        end = min(begin + PIECE, n)
        if end < n:
            end = int(np.searchsorted(time_s, _cell(time_s[end]) / RATE, "left"))
            if end <= begin:
                end = n
        yield slice(begin, end)
        begin = end


def _reduce(time_s: Floats, reading: Floats, ends_only: bool, made: Cells, at: int) -> int:
    """Write the cells of readings (n,) into `made` from index `at` on; return the index behind them."""
    n = len(time_s)
    first, last = _cell(time_s[0]), _cell(time_s[-1])
    if n > MANY * (last - first + 1):
        edges = np.arange(first, last + 1, dtype=np.int64)
        begin = np.searchsorted(time_s, edges / RATE, "left")
        some = begin < np.append(begin[1:], n)
        cell, begin = edges[some], begin[some]
    else:
        each = cell_of(time_s)
        begin = np.empty(1 + n, np.int64)
        begin[0] = 0
        later = (each[1:] != each[:-1]).nonzero()[0]
        begin = begin[: 1 + len(later)]
        np.add(later, 1, out=begin[1:])
        cell = each.take(begin)
    until = at + len(begin)
    out = made.between(at, until)
    out.cell[:] = cell
    end = out.count  # holds the last reading of each cell first, and their number at the end
    np.subtract(begin[1:], 1, out=end[:-1])
    end[-1] = n - 1
    for values, index, target in (
        (time_s, begin, out.first_s), (time_s, end, out.last_s),
        (reading, begin, out.first), (reading, end, out.last),
    ):  # fmt: skip
        np.take(values, index, out=target, mode="wrap")  # "wrap" skips the check of each index
    end -= begin
    if not ends_only:
        _sum(time_s, reading, begin, end, out)
    end += 1
    return until


def _sum(time_s: Floats, reading: Floats, begin: Ints, more: Ints, out: Cells) -> None:
    """Write integral, least and largest reading of each cell; more: (n,) readings after its first."""
    terms = np.empty(
        len(reading)
    )  # one more, 0, so that a cell of one reading may begin at the last
    terms[-1] = 0.0
    np.add(reading[1:], reading[:-1], out=terms[:-1])
    terms[:-1] *= time_s[1:] - time_s[:-1]
    # how a cell is summed depends on its own readings alone, so that no cut changes a bit
    if int(more.max()) < FEW:
        out.low[:] = out.high[:] = out.first
        out.inner[:] = 0.0
        _few(terms, reading, begin, more, out.inner, out.low, out.high)
        return
    pairs = np.empty(2 * len(begin), np.int64)
    pairs[0::2], pairs[1::2] = begin, begin + more
    np.multiply(np.add.reduceat(terms, pairs)[0::2], 0.5, out=out.inner)
    np.minimum.reduceat(reading, begin, out=out.low)
    np.maximum.reduceat(reading, begin, out=out.high)
    few = (more < FEW).nonzero()[0]
    if len(few):
        inner, low, high = np.zeros(len(few)), out.first[few], out.first[few]
        _few(terms, reading, begin[few], more[few], inner, low, high)
        out.inner[few], out.low[few], out.high[few] = inner, low, high


def _few(
    terms: Floats, reading: Floats, begin: Ints, more: Ints,
    inner: Floats, low: Floats, high: Floats,
) -> None:  # fmt: skip
    """Integral, least and largest reading of cells with few readings.

    Takes the k-th reading of all cells at once, five times as fast as reduceat.  On entry inner is 0,
    and low and high hold the first reading of each cell, (n,).
    """
    least = int(more.min())
    for k in range(int(more.max())):
        if k < least:  # all of them have another one
            now = reading[k + 1 :].take(begin)
            inner += terms[k:].take(begin)
            np.minimum(low, now, out=low)
            np.maximum(high, now, out=high)
        else:
            some = (more > k).nonzero()[0]
            where = begin.take(some)
            now = reading[k + 1 :].take(where)
            inner[some] = inner.take(some) + terms[k:].take(where)
            low[some] = np.minimum(low.take(some), now)
            high[some] = np.maximum(high.take(some), now)
    inner *= 0.5


class CellStream:
    """Turns readings into complete cells; readings of an incomplete cell wait.

    count: number of readings so far.
    first_s, last_s: times of the first and last of them, NaN before the first.
    late: number of readings rejected because their cell was complete already.
    bad: number of readings rejected because they are not finite or beyond MOST.
    ready: the complete cells, in the channel's unit.
    """

    def __init__(self, ends_only: bool = False) -> None:
        self._ends_only = ends_only
        self.count = self.late = self.bad = 0
        self.first_s = self.last_s = np.nan
        self.ready = no_cells()
        self._wait: tuple[Floats, Floats] = (np.empty(0), np.empty(0))
        self._given = -(2**62)  # cells up to this one are complete

    def push(self, time_s: Floats, reading: Floats, in_order: bool = False) -> None:
        """Add readings.

        time_s: (n,), an earlier time than the one before is raised to it; reading: (n,), in the
        channel's unit; in_order: the caller guarantees that times do not decrease.
        """
        time_s, reading = np.asarray(time_s, np.float64), np.asarray(reading, np.float64)
        if len(time_s) == 0:
            return
        in_order = in_order or _in_order(time_s)
        if not (in_order and abs(time_s[0]) < MOST and abs(time_s[-1]) < MOST and _sane(reading)):
            good = (np.abs(time_s) < MOST) & (np.abs(reading) < MOST)
            self.bad += int(len(good) - good.sum())
            time_s, reading = time_s[good], reading[good]
            if len(time_s) == 0:
                return
            in_order = _in_order(time_s)
        if not in_order or time_s[0] < self.last_s:
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
        if len(time_s):
            self._give(_cell(time_s[-1]) - 1, time_s, reading)

    def complete(self, cell: int) -> None:
        """Declare all cells up to this index complete: later readings for them are rejected."""
        if cell > self._given:
            self._give(cell, np.empty(0), np.empty(0))

    def _give(self, cell: int, time_s: Floats, reading: Floats) -> None:
        """Add readings (n,), none for a complete cell; make the cells up to this index complete."""
        wait = self._wait
        if len(wait[0]) and len(time_s):
            # copy only the readings that share a cell with waiting ones
            split = int(np.searchsorted(time_s, (_cell(wait[0][-1]) + 1) / RATE, "left"))
            if split:
                wait = (
                    np.concatenate((wait[0], time_s[:split])),
                    np.concatenate((wait[1], reading[:split])),
                )
                time_s, reading = time_s[split:], reading[split:]
        self._given = max(self._given, cell)
        chunks, left = [], []
        for times, readings in (wait, (time_s, reading)):
            split = int(np.searchsorted(times, (self._given + 1) / RATE, "left"))
            chunks.append((times[:split], readings[:split]))
            left.append((times[split:], readings[split:]))
        self.ready = extended(self.ready, chunks, self._ends_only)
        # copies: a view would keep the whole block
        self._wait = (
            np.concatenate([times for times, _ in left]),
            np.concatenate([readings for _, readings in left]),
        )

    def fork(self) -> CellStream:
        """Return a copy that takes readings independently."""
        return copy.copy(self)  # arrays are never written to


def _in_order(time_s: Floats) -> bool:
    return bool((time_s[1:] >= time_s[:-1]).all())


def _sane(reading: Floats) -> bool:
    return bool(np.abs(reading.min()) < MOST and np.abs(reading.max()) < MOST)
