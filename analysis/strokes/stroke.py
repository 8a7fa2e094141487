"""One stroke: its sums, its profile over distance, and which part of it is steady."""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from analysis.signals.time_cells import RATE, Bools, Floats, Ints
from analysis.strokes.distance_profile import DISTANCE, profiles, starts_of
from analysis.strokes.steady_part import (
    FORCES,
    LOAD,
    MOST_SHIFT,
    PER_FORCE,
    SATURATED,
    SHIFTS,
    Steady,
    steady,
)
from analysis.strokes.stroke_details import NO_FACTS, Facts, facts

BLOCKS = 128  # blocks of distance in a profile; when full, two become one
FIRST_BLOCK_M = 0.01
TURN_M, TURN_BACK_M = 0.05, 0.3  # rope the other way that makes another stroke: at first, later
_SHIFTED = [MOST_SHIFT - shift for shift in SHIFTS]
METRE, JOULE = 2.0**-36, 2.0**-26  # sums are made of whole multiples of these


@dataclass(frozen=True)
class Stroke:
    """Rope hauled (+) or given back under tension (-) between two changes of direction.

    Times s; haul_travel_m is positive for both directions; load_travel_m likewise, None without
    a load counter; rig: which of the session's rigs, from 0; work_J: integral of the haul force over its travel; out_J: per force channel
    the integral of that force over the load's travel; steady: None where nothing was steady.
    """

    direction: str
    start_s: float
    end_s: float
    haul_travel_m: float
    load_travel_m: float | None
    work_J: float
    out_J: tuple[float, ...]
    mean_force_N: float | None
    peak_force_N: float
    peak_s: float
    steady: Steady | None
    growing: bool = False
    rig: int = 0
    facts: Facts = NO_FACTS


@dataclass(frozen=True)
class Track:
    """Whole seconds of cells from `first` on, as the segmentation sees them; forces (f, n) with
    the haul cell first, NaN unknown; high: of the haul cell; saturated: any force channel; rope
    (n + 1,): rope at the haul at the cells' borders, m, None: nobody counts it; load: the load's
    way likewise; around: haul force of MOST_SHIFT more cells behind the others (and, for a leg, all
    of them with as many in front)."""

    first: int
    forces: Floats
    high: Floats
    saturated: Bools
    rope: Floats | None
    load: Floats | None
    around: Floats


class Leg:
    """A stroke while it grows: running sums and a bounded profile.

    sign: +1 hauling, -1 lowering; positions are of rope at the haul, m.
    """

    def __init__(self, sign: int, cell: int, x: float, load: float, forces: int) -> None:
        self.sign, self.first, self.last = sign, cell, cell
        self.x0, self.load0 = x, load
        self.best, self.load_best = x, load  # where the rope was furthest
        self.work = np.zeros(forces)  # force x rope, so far; [0] is the haul cell
        self.out = np.zeros(forces)  # force x load travel, so far
        self.work_best, self.out_best = self.work, self.out
        self.peak, self.peak_cell = -math.inf, cell
        self.size = FIRST_BLOCK_M
        self.load_top = sign * load  # furthest way of the load, in the leg's direction
        self.rope_cells = self.load_cells = 0  # cells in which they made way
        self.rows, self.tops = _empty(forces)  # tops: highest haul force of a cell in each block
        self.filled = False

    @property
    def travel(self) -> float:
        return self.sign * (self.best - self.x0)

    def fork(self) -> Leg:
        return copy.copy(self)  # arrays are never written to

    def add(self, track: Track, start: int, stop: int) -> tuple[Take, bool]:
        """Takes cells start..stop of the track, or as far as the rope turns; whether it turned.

        What is summed up over them waits for `sum_up`.
        """
        assert track.rope is not None
        s, way = self.sign, track.rope[start + 1 : stop + 1]
        if s < 0:
            way = -way
        best = np.empty(stop - start + 1)
        best[0] = s * self.best
        np.maximum.accumulate(way, out=best[1:])
        np.maximum(best[1:], best[0], out=best[1:])
        turned = -1
        back = best[1:] - way
        if back.max() >= TURN_M:
            travel = best[1:] - s * self.x0
            turns = back >= np.where(travel < TURN_M, TURN_M, TURN_BACK_M)
            turned = int(np.argmax(turns)) if turns.any() else -1
            if turned >= 0:
                stop = start + turned + 1
                best = best[: turned + 2]
        ahead = exact(best[1:] - best[:-1], METRE)
        furthest = ahead.nonzero()[0]
        self.rope_cells += len(furthest)
        k = int(furthest[-1]) if len(furthest) else -1
        made = None
        if track.load is not None:
            load = track.load[start : stop + 1]
            top = np.maximum.accumulate(np.concatenate(([self.load_top], s * load[1:])))
            self.load_top, made = float(top[-1]), exact(top[1:] - top[:-1], METRE)
            self.load_cells += int(np.count_nonzero(made))
            if k >= 0:
                self.load_best = float(load[k + 1])
        if k >= 0:
            self.best, self.last = float(s * best[-1]), track.first + start + k
        high = track.high[start:stop]
        at = int(high.argmax())
        peak = float(high[at])
        if math.isnan(peak):
            high = np.where(np.isnan(high), -np.inf, high)
            at = int(high.argmax())
            peak = float(high[at])
        if peak > self.peak:
            self.peak, self.peak_cell = peak, track.first + start + at
        way = best[1:] - s * self.x0
        return Take(self, start, stop, k, way, ahead, made), turned >= 0

    def other(self, track: Track, stop: int) -> Leg:
        """The leg the other way, from where this one was furthest; it has taken cells up to stop,
        all summed up."""
        assert track.rope is not None
        other = Leg(-self.sign, self.last + 1, self.best, self.load_best, len(self.work))
        if self.travel < TURN_M:
            other.first = self.first
        other.work, other.out = self.work - self.work_best, self.out - self.out_best
        other.best, other.last = float(track.rope[stop]), track.first + stop - 1
        other.load_best = 0.0 if track.load is None else float(track.load[stop])
        other.work_best, other.out_best = other.work, other.out
        peak = float(track.high[stop - 1])
        other.peak, other.peak_cell = -math.inf if math.isnan(peak) else peak, other.last
        return other

    def grow(self, travel: float) -> None:
        """Larger blocks, so that the profile reaches as far."""
        times = 1
        while travel >= BLOCKS * self.size * times:
            times *= 2
        self.size *= times
        if times > 1 and self.filled:
            merged = np.add.reduceat(self.rows, np.arange(0, BLOCKS, times), axis=1)
            tops = np.maximum.reduceat(self.tops, np.arange(0, BLOCKS, times))
            self.rows, self.tops = np.zeros_like(self.rows), np.full(BLOCKS, -np.inf)
            self.rows[:, : len(tops)], self.tops[: len(tops)] = merged, tops

    def lowers(self, ratio: float, counted: bool) -> bool:
        """False for a lowering leg in which stretched rope springs back: the load stands, and
        the force falls away along it."""
        if self.sign > 0:
            return True
        if counted and (self.load0 - self.load_best) * ratio < 0.5 * self.travel:
            return False
        used = np.flatnonzero(self.rows[FORCES] > 0)
        if len(used) < 2:
            return False
        mean = self.rows[FORCES + 1, used] / self.rows[FORCES, used]
        whole = abs(float(self.work_best[0])) / max(self.travel, 1e-9)
        return bool(mean[len(used) // 2 :].mean() > 0.5 * whole)


@lru_cache
def _empty(forces: int) -> tuple[Floats, Floats]:
    """Profile and tops of a leg that has taken nothing; never written to, so one serves all."""
    rows = np.zeros((FORCES + PER_FORCE * forces + len(SHIFTS), BLOCKS))
    return rows, np.full(BLOCKS, -np.inf)


def strokes_of(
    legs: Sequence[Leg], ratio: float, counted: bool, growing: bool = False, rig: int = 0
) -> list[Stroke]:
    """The legs as they stand; counted: there is a load counter."""
    if not legs:
        return []
    table = profiles(
        [leg.rows for leg in legs],
        [leg.tops for leg in legs],
        [leg.size for leg in legs],
        [leg.travel / max(leg.rope_cells, 1) for leg in legs],
        [counted and leg.load_cells > 0.5 * leg.rope_cells for leg in legs],
    )
    parts = steady(table, ratio, counted)
    return [
        Stroke(
            "haul" if leg.sign > 0 else "lower",
            leg.first / RATE,
            (leg.last + 1) / RATE,
            leg.travel,
            leg.sign * (leg.load_best - leg.load0) if counted else None,
            float(leg.sign * leg.work_best[0]),
            tuple((leg.sign * leg.out_best).tolist()),
            None if part is None or math.isnan(part.force_N[0]) else part.force_N[0],
            leg.peak,
            (leg.peak_cell + 0.5) / RATE,
            part,
            growing,
            rig,
            told,
        )
        for leg, part, told in zip(legs, parts, facts(table, ratio, counted, parts), strict=True)
    ]


class Take(NamedTuple):
    """Cells start..stop of a track that a leg has taken; k: the last of them (from start) in which
    the rope made way, -1: none; way (n,): how far it was at the end of each; ahead (n,): by how much
    further in each; made (n,): likewise the load's way, None without a load counter."""

    leg: Leg
    start: int
    stop: int
    k: int
    way: Floats
    ahead: Floats
    made: Floats | None


class Takes:
    """What legs have taken of one track and is not summed up yet; step: rope in each cell, m.

    All at once, because a pass over a thousand cells costs as much as the call that makes it.
    """

    def __init__(self, track: Track, step: Floats) -> None:
        self._track, self._step = track, step
        self.waiting: list[Take] = []

    def sum_up(self) -> None:
        """Bring sums and profiles of the legs up to date."""
        if self.waiting:
            _sum_up(self.waiting, self._track, self._step)
            self.waiting = []


def _sum_up(takes: Sequence[Take], track: Track, step: Floats) -> None:
    first, n = takes[0].start, takes[-1].stop - takes[0].start
    here, places = slice(first, first + n), [slice(t.start - first, t.stop - first) for t in takes]
    forces = track.forces[:, here]
    known = np.isfinite(forces)
    value = forces if known.all() else np.where(known, forces, 0.0)
    load = None if track.load is None else track.load[first : first + n + 1]
    ahead, made, way = np.zeros(n), np.zeros(0 if load is None else n), np.full(n, -1.0)
    for take in takes:
        take.leg.grow(float(take.way[-1]))
    offsets, lengths, at = [], [], 0
    for i, (take, place) in enumerate(zip(takes, places, strict=True)):
        ahead[place] = take.ahead
        if take.made is not None:
            made[place] = take.made
        np.divide(take.way, take.leg.size, out=way[place])
        offsets += [0, BLOCKS * i]
        lengths += [place.start - at, place.stop - place.start]
        at = place.stop
    _add_work(takes, first, value, step[here], load)
    rows, table = _table(track, first, value, known, ahead, None if load is None else made)
    key = way.astype(np.int64)
    key += np.repeat(offsets, lengths)
    begin = starts_of(key)
    key = key[begin]
    sums, tops = np.add.reduceat(table, begin, axis=1), np.maximum.reduceat(value[0], begin)
    some = (key >= 0).nonzero()[0]
    if len(some) < len(key):
        key, sums, tops = key.take(some), sums.take(some, axis=1), tops.take(some)
    profile = np.zeros((len(takes[0].leg.rows), BLOCKS * len(takes)))
    profile[rows, key] = sums
    highest = np.full(BLOCKS * len(takes), -np.inf)
    highest[key] = tops
    for i, take in enumerate(takes):
        leg, block = take.leg, slice(BLOCKS * i, BLOCKS * (i + 1))
        if leg.filled:
            leg.rows = leg.rows + profile[:, block]
            leg.tops = np.maximum(leg.tops, highest[block])
        else:
            leg.rows, leg.tops, leg.filled = profile[:, block], highest[block], True


def _add_work(
    takes: Sequence[Take], first: int, value: Floats, step: Floats, load: Floats | None
) -> None:
    """Force x rope and force x load travel; value (f, n), step (n,), load (n + 1,) from cell first on."""
    n = len(step)
    terms = [exact(value * step, JOULE)]
    if load is not None:
        terms.append(exact(value * (load[1:] - load[:-1]), JOULE))
    table = np.concatenate(terms)
    whole = [x - first for t in takes for x in (t.start, t.stop)]
    to_best = [x - first for t in takes for x in (t.start, t.start + max(t.k, 0) + 1)]
    total, best = (
        np.add.reduceat(table, at[:-1] if at[-1] == n else at, axis=1)[:, ::2].T
        for at in (whole, to_best)
    )
    f = len(value)
    for take, part, part_best in zip(takes, total, best, strict=True):
        leg = take.leg
        if take.k >= 0:
            leg.work_best = leg.work + part_best[:f]
        leg.work = leg.work + part[:f]
        if load is not None:
            if take.k >= 0:
                leg.out_best = leg.out + part_best[f:]
            leg.out = leg.out + part[f:]


def _table(
    track: Track, first: int, value: Floats, known: Bools, ahead: Floats, made: Floats | None
) -> tuple[Ints, Floats]:
    """Rows of a profile (r, 1), and what each cell from `first` on adds to them (r, n)."""
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
        np.multiply(moved, known, out=table[begin : begin + f])
        np.multiply(moved, value, out=table[begin + f : begin + 2 * f])
        exact(table[begin + f : begin + 2 * f], JOULE)
        begin += 2 * f
    if made is None:  # rope with the force of some cells before or after, its own where not known
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
    """Rounded (in place) to whole multiples of unit, a power of two, so that sums of them are exact
    and come out the same in any order, and however the readings were cut."""
    large = 1.5 * 2.0**52 * unit
    values += large
    values -= large
    return values
