"""Sums over the cells of a stroke: its work, and its profile over distance in a bounded number of blocks.

Work is the integral of force over travel.  A counter that is late by L pairs the force of one moment with the travel of
another, so the true work is W(l) = sum F(i + l) x step(i) over the stroke's cells i, with l = -L in cells.  Where hands stop
and go, rope springs back at each stop, and each stop leaves an area between force and stretch that is not there: means over
distance, which only count rope that comes forth, do not show it.  So W is summed over all cells, with rope that goes back
counted as negative, from before the tension came on to where the counter was furthest:

    l < 0: F(i + l) step(i);    l >= 0: F(i) step(i - l), and F(end) x (travel of the last l cells) at the furthest cell.

The second form needs no later cells; for the last l cells the force at the furthest place stands for that of a moment
later, when the counter stands.

Forces are rounded to NEWTON and positions to MICRON, both powers of two, so that every product is a whole multiple of their
product and sums are exact up to 8 MJ, in any order and however the readings are cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analysis.signals.time_cells import Bools, Floats, Ints
from analysis.strokes.cell_track import CellTrack
from analysis.strokes.distance_profile import DISTANCE, starts_of
from analysis.strokes.steady_part import FORCES, LOAD, MOST_SHIFT, PER_FORCE, SATURATED, SHIFTS

BLOCKS = 128  # blocks of distance in a profile; when it is full, two become one; memory only
FIRST_BLOCK_M = 0.01  # first length of a block; chosen by us: a counter's step is hardly finer
_SHIFTED = [MOST_SHIFT - shift for shift in SHIFTS]
METRE, JOULE = 2.0**-36, 2.0**-26  # units to which the terms of sums are rounded; rounding only
# cells; derived: REACH of `lag_from_ripple`, whose probabilities weigh the work
MOST_LAG = 20
LAG_STEP = 2  # cells; derived: STEP of `lag_from_ripple`; values between are interpolated
WORK_LAGS = np.arange(-MOST_LAG, MOST_LAG + 1, LAG_STEP)
NEWTON, MICRON = (
    2.0**-8,
    2.0**-22,
)  # units to which forces and positions at lags are rounded; rounding only


class StrokeSums:
    """Sums of one stroke so far; arrays are replaced, never written to.

    work, out: (f,) force x rope and force x load travel of all cells, J; [0] is the haul cell.
    work_best, out_best: (f,) likewise up to where the rope was furthest, J.
    silent: (2, f) rope and load travel during which each force channel was silent, m; their work is in no sum.
    silent_best: (2, f) likewise up to where the rope was furthest, m.
    lagged: (1 + f, lags) work of all cells at each of WORK_LAGS, J: of the haul cell over the rope, of each force channel over
    the load's travel.
    lagged_best: (1 + f, lags) likewise up to where the rope was furthest, and up to the load's last advance, J.
    block_m: length of a block of the profile.
    rows: (r, BLOCKS) the profile, rows as `steady_part` names them.
    tops: (BLOCKS,) highest haul force of a cell in each block, N.
    filled: whether the profile holds a cell.
    """

    def __init__(self, forces: int) -> None:
        self.work = self.out = self.work_best = self.out_best = np.zeros(forces)
        self.silent = self.silent_best = np.zeros((2, forces))
        self.lagged = self.lagged_best = np.zeros((1 + forces, len(WORK_LAGS)))
        self.block_m = FIRST_BLOCK_M
        self.rows, self.tops = _empty(forces)
        self.filled = False

    def since_best(self) -> StrokeSums:
        """Return sums for the next stroke: the work since the rope was furthest, with an empty profile."""
        rest = StrokeSums(len(self.work))
        rest.work = rest.work_best = self.work - self.work_best
        rest.out = rest.out_best = self.out - self.out_best
        rest.silent = rest.silent_best = self.silent - self.silent_best
        rest.lagged = rest.lagged_best = self.lagged - self.lagged_best
        return rest

    def grow(self, travel_m: float) -> None:
        """Double the length of the blocks until the profile covers travel_m of rope."""
        times = 1
        while travel_m >= BLOCKS * self.block_m * times:
            times *= 2
        self.block_m *= times
        if times > 1 and self.filled:
            merged = np.add.reduceat(self.rows, np.arange(0, BLOCKS, times), axis=1)
            tops = np.maximum.reduceat(self.tops, np.arange(0, BLOCKS, times))
            self.rows, self.tops = np.zeros_like(self.rows), np.full(BLOCKS, -np.inf)
            self.rows[:, : len(tops)], self.tops[: len(tops)] = merged, tops


@lru_cache
def _empty(forces: int) -> tuple[Floats, Floats]:
    """An empty profile and its tops; never written to, so all strokes share one."""
    rows = np.zeros((FORCES + PER_FORCE * forces + len(SHIFTS), BLOCKS))
    return rows, np.full(BLOCKS, -np.inf)


@dataclass
class PendingCells:
    """n cells of a track that a stroke has taken and whose sums are still to be computed."""

    sums: StrokeSums  # of this stroke
    start: int  # index of the first cell in the track
    stop: int  # index behind the last cell
    furthest: int  # last cell, counted from start, in which the rope advanced; -1: none
    distance_m: Floats  # (n,) rope of the stroke at the end of each cell
    rope_m: Floats  # (n,) advance of the rope in each cell
    load_m: Floats | None  # (n,) advance of the load in each cell; None without a load counter
    load_furthest: int = -1  # last cell, counted from start, in which the load advanced; -1: none


class PendingSums:
    """The cells of one track that strokes have taken and that are not summed up yet.

    They are summed up together, because numpy's overhead per call equals about a thousand cells.

    waiting: the cells, in order of time.
    """

    def __init__(self, track: CellTrack, step: Floats, lagged: LaggedCells | None = None) -> None:
        """step: (n,) rope in each cell of the track, m; lagged: the cells with those before, None without a load counter."""
        self._track, self._step, self._lagged = track, step, lagged
        self.waiting: list[PendingCells] = []

    def sum_up(self) -> None:
        """Add the waiting cells to the sums and profiles of their strokes."""
        pending, self.waiting = self.waiting, []
        if not pending:
            return
        track, step = self._track, self._step
        first, n = pending[0].start, pending[-1].stop - pending[0].start
        here = slice(first, first + n)
        places = [slice(p.start - first, p.stop - first) for p in pending]
        forces = track.forces[:, here]
        finite = np.isfinite(forces)
        value = forces if finite.all() else np.where(finite, forces, 0.0)
        load = None if track.load is None else track.load[first : first + n + 1]
        ahead, made, block = np.zeros(n), np.zeros(0 if load is None else n), np.full(n, -1.0)
        for cells in pending:
            cells.sums.grow(float(cells.distance_m[-1]))
        offsets, lengths, at = [], [], 0
        for i, (cells, place) in enumerate(zip(pending, places, strict=True)):
            ahead[place] = cells.rope_m
            if cells.load_m is not None:
                made[place] = cells.load_m
            np.divide(cells.distance_m, cells.sums.block_m, out=block[place])
            offsets += [0, BLOCKS * i]
            lengths += [place.start - at, place.stop - place.start]
            at = place.stop
        gap = track.gap[here]
        if gap.any():  # of neither counter, so that no difference between both comes from a silence
            ahead[gap] = 0.0
            if load is not None:
                made[gap] = 0.0
        _add_work(pending, first, value, step[here], load)
        _add_silence(pending, first, None if value is forces else ~finite, step[here], load)
        if self._lagged is not None:
            for cells in pending:
                _add_lagged(cells, self._lagged)
        rows, table = _table(track, first, value, finite, ahead, None if load is None else made)
        key = block.astype(np.int64)
        key += np.repeat(offsets, lengths)
        begin = starts_of(key)
        key = key[begin]
        sums, tops = np.add.reduceat(table, begin, axis=1), np.maximum.reduceat(value[0], begin)
        some = (key >= 0).nonzero()[0]
        if len(some) < len(key):
            key, sums, tops = key.take(some), sums.take(some, axis=1), tops.take(some)
        profile = np.zeros((len(pending[0].sums.rows), BLOCKS * len(pending)))
        profile[rows, key] = sums
        highest = np.full(BLOCKS * len(pending), -np.inf)
        highest[key] = tops
        for i, cells in enumerate(pending):
            stroke, own = cells.sums, slice(BLOCKS * i, BLOCKS * (i + 1))
            if stroke.filled:
                stroke.rows = stroke.rows + profile[:, own]
                stroke.tops = np.maximum(stroke.tops, highest[own])
            else:
                stroke.rows, stroke.tops, stroke.filled = profile[:, own], highest[own], True


def _add_work(
    pending: Sequence[PendingCells], first: int, value: Floats, step: Floats, load: Floats | None
) -> None:
    """Add force x rope and force x load travel to the sums of the strokes.

    From cell `first` on: value: (f, n) force, N; step: (n,) rope, m; load: (n + 1,) position, m.
    """
    n = len(step)
    terms = [exact(value * step, JOULE)]
    if load is not None:
        terms.append(exact(value * (load[1:] - load[:-1]), JOULE))
    table = np.concatenate(terms)
    whole = [x - first for p in pending for x in (p.start, p.stop)]
    to_best = [x - first for p in pending for x in (p.start, p.start + max(p.furthest, 0) + 1)]
    total, best = (
        np.add.reduceat(table, at[:-1] if at[-1] == n else at, axis=1)[:, ::2].T
        for at in (whole, to_best)
    )
    f = len(value)
    for cells, more, more_best in zip(pending, total, best, strict=True):
        stroke = cells.sums
        if cells.furthest >= 0:
            stroke.work_best = stroke.work + more_best[:f]
        stroke.work = stroke.work + more[:f]
        if load is not None:
            if cells.furthest >= 0:
                stroke.out_best = stroke.out + more_best[f:]
            stroke.out = stroke.out + more[f:]


def _add_silence(
    pending: Sequence[PendingCells],
    first: int,
    silent: Bools | None,
    step: Floats,
    load: Floats | None,
) -> None:
    """Add the travel during which a force channel was silent, cells as for `_add_work`.

    silent: (f, n) whether the channel was silent in each cell; None where none was.
    """
    for cells in pending:
        stroke = cells.sums
        if silent is None:
            if cells.furthest >= 0:
                stroke.silent_best = stroke.silent
            continue
        place = slice(cells.start - first, cells.stop - first)
        moved = [step] if load is None else [step, load[1:] - load[:-1]]
        whole, best = np.zeros((2, *stroke.silent.shape))
        for k, travel in enumerate(moved):
            terms = exact(travel[place] * silent[:, place], METRE)
            whole[k] = terms.sum(axis=1)
            best[k] = terms[:, : cells.furthest + 1].sum(axis=1)
        if cells.furthest >= 0:
            stroke.silent_best = stroke.silent + best
        stroke.silent = stroke.silent + whole


def _add_lagged(cells: PendingCells, lagged: LaggedCells) -> None:
    """Add the work at each lag to the sums of a stroke."""
    stroke, span = cells.sums, (cells.start, cells.stop)
    more, best = stroke.lagged.copy(), stroke.lagged_best.copy()
    for rows, forces, step, furthest in (
        (slice(0, 1), lagged.forces_N[:1], lagged.rope_m, cells.furthest),
        (slice(1, None), lagged.forces_N, lagged.load_m, cells.load_furthest),
    ):
        whole, to_best = work_at_lags(forces, step, *span, furthest)
        if to_best is not None:
            best[rows] = stroke.lagged[rows] + to_best
        more[rows] += whole
    stroke.lagged, stroke.lagged_best = more, best


def _table(
    track: CellTrack, first: int, value: Floats, finite: Bools, ahead: Floats, made: Floats | None
) -> tuple[Ints, Floats]:
    """Indices of rows of the profile, (r, 1), and the terms of each cell from `first` on, (r, n).

    value: (f, n) force, N, 0 where not finite; finite: (f, n); ahead, made: (n,) advance of rope and load, m.
    """
    f, n = value.shape
    saturated = track.saturated[first : first + n]
    first_shift = FORCES + PER_FORCE * f
    rows = [DISTANCE]
    if saturated.any():
        rows.append(SATURATED)
    if made is not None:
        rows.append(LOAD)
    begin = len(rows)
    for row in (FORCES, FORCES + 1) if made is None else range(FORCES, FORCES + PER_FORCE):
        rows += range(row, first_shift, PER_FORCE)
    if made is None:
        rows += range(first_shift, first_shift + len(SHIFTS))
    table = np.empty((len(rows), n))
    table[0] = ahead
    if SATURATED in rows:
        np.multiply(ahead, saturated, out=table[rows.index(SATURATED)])
    if made is not None:
        table[rows.index(LOAD)] = made
    for moved in (ahead,) if made is None else (ahead, made):
        np.multiply(moved, finite, out=table[begin : begin + f])
        np.multiply(moved, value, out=table[begin + f : begin + 2 * f])
        exact(table[begin + f : begin + 2 * f], JOULE)
        begin += 2 * f
    # rope x the force of some cells before or after, or its own where that is missing
    if made is None:
        near = track.around[first : first + n + 2 * MOST_SHIFT]
        whole = bool(np.isfinite(near).all())
        for shift, out in zip(_SHIFTED, table[begin:], strict=True):
            there = near[shift : shift + n]
            if not whole:
                there = np.where(np.isfinite(there), there, value[0])
            np.multiply(there, ahead, out=out)
        exact(table[begin:], JOULE)
    return np.array(rows)[:, None], table


def exact(values: Floats, unit: float) -> Floats:
    """Round values in place to whole multiples of unit (a power of two, in their unit); return them.

    Sums of the rounded values are exact, so they do not depend on the order or the cut of the readings.
    """
    large = 1.5 * 2.0**52 * unit
    values += large
    values -= large
    return values


@dataclass(frozen=True)
class LaggedCells:
    """n cells of a track with the MOST_LAG cells before them, rounded."""

    forces_N: Floats  # (f, MOST_LAG + n) force of each channel, 0 where it is silent
    rope_m: Floats  # (MOST_LAG + n,) advance of the rope in each cell
    load_m: Floats  # (MOST_LAG + n,) advance of the load in each cell


def lagged_cells(forces: Floats, rope: Floats, load: Floats) -> LaggedCells:
    """The cells, rounded.

    forces: (f, MOST_LAG + n), N, not finite where a channel is silent; rope, load: (MOST_LAG + 1 + n,) positions at the ends
    of the cells and of the one before them, m.
    """
    force = _rounded(np.where(np.isfinite(forces), forces, 0.0), NEWTON)
    return LaggedCells(force, np.diff(_rounded(rope, MICRON)), np.diff(_rounded(load, MICRON)))


def work_at_lags(
    forces: Floats, step: Floats, start: int, stop: int, furthest: int
) -> tuple[Floats, Floats | None]:
    """Work over cells start..stop, and that up to the furthest one of them, each (f, lags), J; None without such a cell.

    forces: (f, MOST_LAG + n), N; step: (MOST_LAG + n,), m, as `LaggedCells` has them; start, stop: indices among the n cells;
    furthest: index from start on, -1 where the counter did not advance.
    """
    end = start + furthest + 1
    if furthest < 0:
        return _sums(forces, step, start, stop), None
    best = _sums(forces, step, start, end)
    whole = best if end == stop else best + _sums(forces, step, end, stop)
    last = MOST_LAG + end
    late = np.concatenate(([0.0], np.cumsum(step[last - MOST_LAG : last][::-1])))
    missed = late[np.maximum(WORK_LAGS, 0)]
    return whole, best + forces[:, last - 1 : last] * missed


def _sums(forces: Floats, step: Floats, start: int, stop: int) -> Floats:
    """Sums of force x travel over cells start..stop at each lag, (f, lags), J; arguments as for `work_at_lags`."""
    table = np.empty((len(forces), len(WORK_LAGS)))
    a, b = MOST_LAG + start, MOST_LAG + stop
    for k, lag in enumerate(WORK_LAGS.tolist()):
        early, late = min(lag, 0), max(lag, 0)
        table[:, k] = forces[:, a + early : b + early] @ step[a - late : b - late]
    return table


def _rounded(values: Floats, unit: float) -> Floats:
    """Values as whole multiples of unit, a power of two; a copy."""
    large = 1.5 * 2.0**52 * unit
    result: Floats = (values + large) - large
    return result
