"""Accumulates a growing stroke: travel of rope and load, peak force, and sums over distance."""

from __future__ import annotations

import copy
import math

import numpy as np

from analysis.signals.time_cells import RATE, Floats
from analysis.strokes.cell_track import CellTrack
from analysis.strokes.steady_part import FORCES, SEEN_LOAD_M, SEEN_ROPE_M
from analysis.strokes.stroke_sums import METRE, PendingCells, StrokeSums, exact

# rope in the other direction that begins another stroke, at the start of a stroke and later; chosen by us:
# more than rope springs back between hands
TURN_M, TURN_BACK_M = 0.05, 0.3
# rope that may come in within PAUSE_CELLS of a pause; chosen by us: hands that hold give and take a centimetre, and
# change within a second
PAUSE_M, PAUSE_CELLS = 0.01, RATE
# rope before a pause up to which it only is stretched, with a load counter that has not moved; chosen by us: 8 % of
# 25 m of rope is 2 m.  Without such a counter SEEN_ROPE_M counts, a pull of a hand
STRETCHED_M = 3.0
# lags of the load's counter behind the rope's, in cells, at which the rope at the load's rest is kept; derived: two devices
# that are up to 0.3 s late are so far apart at most
REST_LAGS = np.arange(-10, 11)


class StrokeAccumulator:
    """A growing stroke.  Positions are of rope at the haul and of the load, m.

    sign: +1 hauling, -1 lowering.
    first, last: cells in which its tension began and in which the rope was furthest.
    resumes, resumes_m: cell behind the last pause under tension that came before its motion, and the rope there.
    moves: whether it is past its beginning, so that a later pause is within the stroke.
    left: last cell in which the rope was within PAUSE_M of the furthest.
    x0, load0: position of rope and load at the beginning.
    best, load_best: position of rope and load when the rope was furthest.
    load_top: furthest position of the load, times sign.
    rests: cell in which the load last advanced; None before it did.
    sunk_m: rope given back between its furthest place and the load's rest, m, at each of REST_LAGS.
    slack: rope that came in between its last rest and the beginning.
    load_rest: position of the load at rest before the beginning.
    rope_cells, load_cells: number of cells in which rope and load advanced.
    by_load: whether means are over the load's travel, not the rope.
    peak, peak_cell: highest force of the haul cell, N, and its cell.
    sums: over the cells taken, up to date after `PendingSums.sum_up`.
    """

    def __init__(self, sign: int, cell: int, x: float, load: float, sums: StrokeSums) -> None:
        self.sign, self.first, self.last = sign, cell, cell
        self.resumes, self.resumes_m = cell, x
        self.moves, self.left = False, cell
        self.x0 = self.best = x
        self.load0 = self.load_best = load
        self.load_top = sign * load
        self.rests: int | None = None
        self.sunk_m: tuple[float, ...] = ()
        self.slack, self.load_rest = 0.0, load
        self.rope_cells = self.load_cells = 0
        self.by_load = False
        self.peak, self.peak_cell = -math.inf, cell
        self.sums = sums

    @property
    def travel(self) -> float:
        """Rope of the stroke so far, m, positive in both directions."""
        return self.sign * (self.best - self.x0)

    @property
    def begin(self) -> int:
        """Cell in which its motion begins: behind a pause, if rope came in after it."""
        resumed = self.sign * (self.best - self.resumes_m) >= TURN_M
        return self.resumes if resumed else self.first

    def fork(self) -> StrokeAccumulator:
        """Return a copy that grows independently."""
        other = copy.copy(self)
        other.sums = copy.copy(self.sums)  # arrays are never written to
        return other

    def add(self, track: CellTrack, start: int, stop: int) -> tuple[PendingCells, bool]:
        """Take cells start..stop of a track, up to where the rope changes direction.

        Returns the cells taken, whose sums wait for `PendingSums.sum_up`, and whether the rope turned.
        """
        assert track.rope is not None
        s, rope = self.sign, track.rope[start + 1 : stop + 1]
        if s < 0:
            rope = -rope
        best = np.empty(stop - start + 1)
        best[0] = s * self.best
        np.maximum.accumulate(rope, out=best[1:])
        np.maximum(best[1:], best[0], out=best[1:])
        turned, back = False, best[1:] - rope
        if back.max() >= TURN_M:
            turns = back >= np.where(best[1:] - s * self.x0 < TURN_M, TURN_M, TURN_BACK_M)
            turned = bool(turns.any())
            if turned:
                stop = start + int(turns.argmax()) + 1
                best = best[: stop - start + 1]
        near = back[: stop - start] <= PAUSE_M
        if near.any():
            self.left = track.first + stop - 1 - int(near[::-1].argmax())
        ahead = exact(best[1:] - best[:-1], METRE)
        furthest = ahead.nonzero()[0]
        self.rope_cells += len(furthest)
        k = int(furthest[-1]) if len(furthest) else -1
        made, load_k = None, -1
        if track.load is not None:
            load = track.load[start : stop + 1]
            top = np.maximum.accumulate(np.concatenate(([self.load_top], s * load[1:])))
            self.load_top, made = float(top[-1]), exact(top[1:] - top[:-1], METRE)
            moved = made.nonzero()[0]
            self.load_cells += len(moved)
            if len(moved):
                load_k = int(moved[-1])
                self.rests = track.first + start + load_k
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
        cells = PendingCells(
            sums=self.sums,
            start=start,
            stop=stop,
            furthest=k,
            distance_m=best[1:] - s * self.x0,
            rope_m=ahead,
            load_m=made,
            load_furthest=load_k,
        )
        return cells, turned

    def begin_after_pause(self, rope: Floats, load: Floats | None, cell: int) -> None:
        """Let the stroke begin behind pauses under tension that come before the load moves.

        rope: (PAUSE_CELLS + n,) at the ends of the cells before `cell` and of the n cells taken from it on, m;
        load: (n,) likewise of those taken; None without a load counter.
        """
        if self.sign < 0 or self.moves:
            return
        now = rope[PAUSE_CELLS:]
        gone = now - self.x0 > (SEEN_ROPE_M if load is None else STRETCHED_M)
        if load is not None:
            gone |= load - self.load0 > SEEN_LOAD_M
        self.moves = bool(gone.any())
        stop = int(gone.argmax()) if self.moves else len(now)
        early = max(
            0, self.first + PAUSE_CELLS - cell
        )  # before it, a window reaches into the slack rope
        rests = (now - rope[: len(now)])[early:stop] <= PAUSE_M
        if rests.any():
            k = stop - 1 - int(rests[::-1].argmax())
            self.resumes, self.resumes_m = cell + k + 1, float(now[k])

    def came_to_rest(self, rope: Floats, stop: int) -> None:
        """Keep how much rope had been given back when the load came to rest, at each of REST_LAGS.

        rope: (n,) at the ends of the last n cells before `stop`, where the stroke ends, m.  A load that has rested for longer
        is held, and counts as resting since the first of them.
        """
        if self.sign < 0 or self.rests is None:
            return
        at = np.clip(self.rests - REST_LAGS, stop - len(rope), stop - 1)
        given = self.best - rope[at - stop + len(rope)]
        # before the rope was furthest nothing is given back: the load's counter has coarse steps, or is late
        self.sunk_m = tuple(np.where(at <= self.last, 0.0, np.maximum(given, 0.0)).tolist())

    def turned(self, track: CellTrack, stop: int) -> StrokeAccumulator:
        """Return the next stroke, in the other direction, from where this one was furthest.

        stop: end of the cells that this stroke has taken; they must be summed up.
        """
        assert track.rope is not None
        sums = self.sums.since_best()
        other = StrokeAccumulator(-self.sign, self.last + 1, self.best, self.load_best, sums)
        other.load_rest = self.sign * self.load_top
        other.resumes, other.moves = (
            self.left + 1,
            True,
        )  # a pause before the turn is in neither stroke
        if self.travel < TURN_M:
            other.first, other.moves = self.first, self.moves
            other.resumes, other.resumes_m = self.resumes, self.resumes_m
            other.slack, other.load_rest = self.slack if self.sign < 0 else 0.0, self.load_rest
        other.best, other.last = float(track.rope[stop]), track.first + stop - 1
        other.load_best = 0.0 if track.load is None else float(track.load[stop])
        peak = float(track.high[stop - 1])
        other.peak, other.peak_cell = -math.inf if math.isnan(peak) else peak, other.last
        return other

    def lowers(self, ratio: float, counted: bool) -> bool:
        """Whether this is a real stroke; False where stretched rope springs back without moving the load.

        Then the load stands, or the force falls away along the stroke.  ratio: rope at the haul / load
        travel; counted: whether there is a load counter.  A haul stroke is always real.
        """
        if self.sign > 0:
            return True
        if counted and (self.load0 - self.load_best) * ratio < 0.5 * self.travel:
            return False
        used = np.flatnonzero(self.sums.rows[FORCES] > 0)
        if len(used) < 2:
            return False
        mean = self.sums.rows[FORCES + 1, used] / self.sums.rows[FORCES, used]
        whole = abs(float(self.sums.work_best[0])) / max(self.travel, 1e-9)
        return bool(mean[len(used) // 2 :].mean() > 0.5 * whole)
