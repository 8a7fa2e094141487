"""One stroke: its sums, its profile over distance, and which part of it is steady."""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.cells import RATE, Bools, Floats, Ints
from analysis.facts import NO_FACTS, Facts, facts
from analysis.profiles import profiles
from analysis.steady import (
    DISTANCE,
    FORCES,
    LOAD,
    MOST_SHIFT,
    PER_FORCE,
    SATURATED,
    SHIFTS,
    Steady,
    steady,
)

BLOCKS = 128  # blocks of distance in a profile; when full, two become one
FIRST_BLOCK_M = 0.01
TURN_M, TURN_BACK_M = 0.05, 0.3  # rope the other way that makes another stroke: at first, later
_ZERO = np.zeros(1, np.int64)
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
        self.rows = np.zeros((FORCES + PER_FORCE * forces + len(SHIFTS), BLOCKS))
        self.tops = np.full(BLOCKS, -np.inf)  # highest haul force (over a cell) in each block

    @property
    def travel(self) -> float:
        return self.sign * (self.best - self.x0)

    def fork(self) -> Leg:
        other = copy.copy(self)
        other.rows, other.tops = self.rows.copy(), self.tops.copy()
        return other

    def add(self, track: Track, step: Floats, start: int, stop: int) -> tuple[int, Leg | None]:
        """Takes cells start..stop of the track until the rope turns.

        step: rope in each cell, m.  Returns the first cell not taken, and the leg that begins
        where the rope turned.
        """
        assert track.rope is not None
        s, end = self.sign, track.rope[start + 1 : stop + 1]
        way = end if s > 0 else -end
        best = np.maximum.accumulate(np.concatenate(([s * self.best], way)))
        turned = -1
        back = best[1:] - way
        if back.max() >= TURN_M:
            travel = best[1:] - s * self.x0
            turns = back >= np.where(travel < TURN_M, TURN_M, TURN_BACK_M)
            turned = int(np.argmax(turns)) if turns.any() else -1
            if turned >= 0:
                stop = start + turned + 1
                best = best[: turned + 2]
        n, here = stop - start, slice(start, stop)
        ahead = _exact(best[1:] - best[:-1], METRE)
        forces = track.forces[:, here]
        known = np.isfinite(forces)
        whole = bool(known.all())
        value = forces if whole else np.where(known, forces, 0.0)
        furthest = ahead.nonzero()[0]
        self.rope_cells += len(furthest)
        k = int(furthest[-1]) if len(furthest) else -1
        self.work, self.work_best = _summed(self.work, self.work_best, value * step[here], k)
        made = None
        if track.load is not None:
            load = track.load[start : stop + 1]
            top = np.maximum.accumulate(np.concatenate(([self.load_top], s * load[1:])))
            self.load_top, made = float(top[-1]), _exact(top[1:] - top[:-1], METRE)
            self.load_cells += int(np.count_nonzero(made))
            self.out, self.out_best = _summed(
                self.out, self.out_best, value * (load[1:] - load[:-1]), k
            )
            if k >= 0:
                self.load_best = float(load[k + 1])
        saturated = track.saturated[here]
        rows, table = [DISTANCE], [ahead[None, :]]
        if saturated.any():
            rows.append(SATURATED)
            table.append(np.where(saturated, ahead, 0.0)[None, :])
        for row, moved in ((FORCES, ahead), (FORCES + 2, made)):
            if moved is not None:
                rows += range(row, row + PER_FORCE * len(value), PER_FORCE)
                rows += range(row + 1, row + 1 + PER_FORCE * len(value), PER_FORCE)
                table += [moved * known, _exact(value * moved, JOULE)]
        if made is not None:
            rows.append(LOAD)
            table.append(made[None, :])
        else:
            rows += range(len(self.rows) - len(SHIFTS), len(self.rows))
            table.append(self._shifted(track.around, start, value[0], ahead))
        way = best[1:] - s * self.x0
        self._add_profile(way, np.array(rows), np.concatenate(table), value[0])
        if k >= 0:
            self.best, self.last = float(s * best[-1]), track.first + start + k
        high = track.high[here]
        k = int(np.argmax(high))
        if np.isnan(high[k]):
            high = np.where(np.isnan(high), -np.inf, high)
            k = int(np.argmax(high))
        if high[k] > self.peak:
            self.peak, self.peak_cell = float(high[k]), track.first + start + k
        return stop, self._other(track, stop, float(high[n - 1])) if turned >= 0 else None

    def _other(self, track: Track, stop: int, peak: float) -> Leg:
        """The leg the other way, from where this one was furthest; it has taken cells up to stop."""
        assert track.rope is not None
        other = Leg(-self.sign, self.last + 1, self.best, self.load_best, len(self.work))
        if self.travel < TURN_M:
            other.first = self.first
        other.work, other.out = self.work - self.work_best, self.out - self.out_best
        other.best, other.last = float(track.rope[stop]), track.first + stop - 1
        other.load_best = 0.0 if track.load is None else float(track.load[stop])
        other.work_best, other.out_best = other.work, other.out
        other.peak, other.peak_cell = peak, other.last
        return other

    def _shifted(self, around: Floats, start: int, force: Floats, ahead: Floats) -> Floats:
        """(SHIFTS, n): rope with the force of some cells before or after; where that is not known,
        its own."""
        n = len(force)
        near = around[start : start + n + 2 * MOST_SHIFT]
        moved = np.array([near[k : k + n] for k in _SHIFTED])
        if not np.isfinite(near).all():
            moved = np.where(np.isfinite(moved), moved, force)
        moved *= ahead
        return _exact(moved, JOULE)

    def _add_profile(self, progress: Floats, rows: Ints, table: Floats, force: Floats) -> None:
        """progress (n,) not decreasing, metres since the start; table (r, n): for these rows of the
        profile; force (n,): of the haul cell."""
        if progress[-1] >= BLOCKS * self.size:
            times = 1
            while progress[-1] >= BLOCKS * self.size * times:
                times *= 2
            self.size *= times
            if self.rows[DISTANCE].any():
                merged = np.add.reduceat(self.rows, np.arange(0, BLOCKS, times), axis=1)
                self.rows = np.zeros_like(self.rows)
                self.rows[:, : merged.shape[1]] = merged
                tops = np.maximum.reduceat(self.tops, np.arange(0, BLOCKS, times))
                self.tops = np.full(BLOCKS, -np.inf)
                self.tops[: len(tops)] = tops
        index = (progress / self.size).astype(np.int64)
        begin = (index[1:] != index[:-1]).nonzero()[0] + 1
        begin = np.concatenate((_ZERO, begin))
        at = index[begin]
        self.rows[rows[:, None], at] += np.add.reduceat(table, begin, axis=1)
        self.tops[at] = np.maximum(self.tops[at], np.maximum.reduceat(force, begin))

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
            tuple(float(x) for x in leg.sign * leg.out_best),
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


def _summed(total: Floats, best: Floats, terms: Floats, k: int) -> tuple[Floats, Floats]:
    """Sums (f,) with terms (f, n) added, and what they were after cell k (as before if k < 0)."""
    terms = _exact(terms, JOULE)
    if k < 0:
        return total + terms.sum(axis=1), best
    best = total + terms[:, : k + 1].sum(axis=1)
    return best + terms[:, k + 1 :].sum(axis=1), best


def _exact(values: Floats, unit: float) -> Floats:
    """Rounded to whole multiples of unit, a power of two, so that sums of them are exact and come
    out the same in any order, and however the readings were cut."""
    large = 1.5 * 2.0**52 * unit
    result: Floats = values + large
    result -= large
    return result
