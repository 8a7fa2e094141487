"""Readings of one channel summed up in fixed cells of 1/32 s, whatever the rate and the cut.

A power of two makes `time * RATE` and `cell / RATE` exact, so that a reading falls into the same
cell however it is computed.  A cell is reduced once, when all its readings are there, so the sums
come out the same to the bit whether the readings came in one block or in a thousand.
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
PIECE = 1 << 16  # readings taken at once; speed only
# readings in a cell: up to how many, from how many on it is summed otherwise; speed only
FEW, MANY = 8, 24
# larger readings and times are not used; chosen by us: below 2**53 = 9e15, from where a float skips whole
# numbers
MOST = 1e15


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
        return Cells(*[getattr(self, name)[start:stop] for name in NAMES])


NAMES = tuple(f.name for f in fields(Cells))


def no_cells() -> Cells:
    """Nothing."""
    i, f = np.empty(0, np.int64), np.empty(0)
    return Cells(cell=i, count=i, first_s=f, last_s=f, first=f, last=f, inner=f, low=f, high=f)


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

    ends_only: of each cell only the first and last reading is wanted, which is enough for a
    counter: `inner` is 0, low and high are these two in no order.
    """
    return extended(no_cells(), [(time_s, reading)], ends_only)


def extended(
    before: Cells, chunks: Sequence[tuple[Floats, Floats]], ends_only: bool = False
) -> Cells:
    """Cells that are known and behind them those of more readings, which all lie in later ones:
    (time, reading) in order, no cell in two chunks.  Every number is written once."""
    chunks = [chunk for chunk in chunks if len(chunk[0])]
    if not chunks:
        return before
    known = len(before)
    most = known + sum(min(len(t), _cell(t[-1]) - _cell(t[0]) + 1) for t, _ in chunks)
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
        getattr(made, name)[:known] = getattr(before, name)
    for time_s, reading in chunks:
        for piece in _pieces(time_s):
            known = _reduce(time_s[piece], reading[piece], ends_only, made, known)
    return made.part(0, known)


def _cell(time_s: float) -> int:
    return int(np.floor(time_s * RATE))


def _pieces(time_s: Floats) -> Iterator[slice]:
    """Pieces that stay in cache, cut between cells."""
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
    """Write the cells of readings (n,) into `made` from `at` on; up to where."""
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
    out = made.part(at, until)
    out.cell[:] = cell
    end = out.count  # first where a cell ends, then how many there are in it
    np.subtract(begin[1:], 1, out=end[:-1])
    end[-1] = n - 1
    for values, of, to in (
        (time_s, begin, out.first_s), (time_s, end, out.last_s),
        (reading, begin, out.first), (reading, end, out.last),
    ):  # fmt: skip
        np.take(values, of, out=to, mode="wrap")  # without a check of each index
    end -= begin
    if not ends_only:
        _sum(time_s, reading, begin, end, out)
    end += 1
    return until


def _sum(time_s: Floats, reading: Floats, begin: Ints, more: Ints, out: Cells) -> None:
    """Integral, least and largest of cells; more: readings in each after its first."""
    terms = reading[1:] + reading[:-1]
    terms *= time_s[1:] - time_s[:-1]
    # how a cell is summed depends on its own readings alone, so that no cut changes a bit
    if int(more.max()) < FEW:
        out.low[:] = out.high[:] = out.first
        out.inner[:] = 0.0
        _few(terms, reading, begin, more, out.inner, out.low, out.high)
        return
    pairs = np.empty(2 * len(begin), np.int64)
    pairs[0::2], pairs[1::2] = begin, begin + more
    np.multiply(np.add.reduceat(np.append(terms, 0.0), pairs)[0::2], 0.5, out=out.inner)
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
    """Integral, least and largest of cells with a handful of readings, one reading of all cells
    after the other: five times as fast as reduceat.  inner: 0; low, high: the first reading."""
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

    def push(self, time_s: Floats, reading: Floats, in_order: bool = False) -> None:
        """More readings, not earlier than those before; in_order: they are known to be so among
        themselves."""
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
        """No more readings will come for cells up to this one."""
        if cell > self._given:
            self._give(cell, np.empty(0), np.empty(0))

    def _give(self, cell: int, time_s: Floats, reading: Floats) -> None:
        """More readings (n,), none for a cell given away; cells up to this one are complete."""
        wait = self._wait
        if len(wait[0]) and len(time_s):
            # only what shares a cell with waiting readings is put together with them
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
        """A copy that can be pushed without changing this one (arrays are never written to)."""
        return copy.copy(self)


def _in_order(time_s: Floats) -> bool:
    return bool((time_s[1:] >= time_s[:-1]).all())


def _sane(reading: Floats) -> bool:
    return bool(np.abs(reading.min()) < MOST and np.abs(reading.max()) < MOST)
