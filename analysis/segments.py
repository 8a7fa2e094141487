"""Tension on and off, strokes, resets, slips and shocks, from whole seconds of grid cells.

Everything looks back only, over a bounded number of cells, and works in whole seconds, so the
result does not depend on how the readings were cut.  Thresholds hang on the noise of the first
seconds (then frozen) and on the steady force so far (trimmed mean over the last moving half seconds).
"""

from __future__ import annotations

import copy
import itertools
from collections import deque
from dataclasses import dataclass

import numpy as np

from analysis.cells import RATE, Bools, Floats, Ints
from analysis.lags import LagSums
from analysis.runs import Runs
from analysis.strokes import (
    DISTANCE,
    FORCES,
    LOAD,
    LOAD_CELLS,
    PER_FORCE,
    ROPE_CELLS,
    SATURATED,
    TIME,
    Leg,
    Stroke,
)

PAST = 2 * RATE  # cells that are looked back at
HALF = RATE // 2
OFF_CELLS = 48  # 1.5 s without tension end a stroke: hands change faster
FED_BACK_M = 0.25  # rope given back without tension ends it at once: more than rope contracts
TURN_M, TURN_BACK_M = 0.05, 0.3  # rope the other way that makes another stroke: at first, later
LEAST_N = 2.0
ON_SHARE, OFF_SHARE = 0.15, 0.10  # of the steady force
SLIP_SHARE, SHOCK_TIMES = 0.5, 2.0  # interface section 6
OVER_PEAKS = 1.2  # a shock / the usual peaks of the hands
SLIP_CELLS, SLIP_SEEN, SHOCK_CELLS = 7, 12, 10  # 0.2 s, 0.4 s later, 0.3 s
SLIP_ROPE_M, SLIP_LOAD_M = 0.05, 0.004  # rope out, and its share of load travel, that can be seen
REFERENCE_LEAST, REFERENCE_MOST = 3, 13
MOST_STROKES = 20_000
WINDOW = 2048


@dataclass(frozen=True)
class Settings:
    """floor_N: below this it can't be told from nothing; ratio: rope at the haul / load travel."""

    floor_N: float
    ratio: float
    counted: bool  # a load counter
    forces: int


@dataclass(frozen=True)
class Track:
    """Cells as the segmentation sees them; forces (f, n) with the haul cell first, NaN unknown;
    start, end: rope at the haul, m; load_start, load_end: the load's way."""

    cell: Ints
    forces: Floats
    low: Floats  # of the haul cell
    high: Floats
    saturated: Bools  # any force channel
    start: Floats
    end: Floats
    load_start: Floats
    load_end: Floats


@dataclass(frozen=True)
class Reset:
    """Rope fed back with the haul tension off."""

    start_s: float
    end_s: float
    rope_m: float


class Segments:
    """State of the segmentation; `push` whole seconds, read `strokes`, `resets`, `slips`, `shocks`."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.strokes: list[Stroke] = []
        self.resets: list[Reset] = []
        self.slips, self.shocks = Runs(RATE), Runs(RATE)
        self.lags = LagSums(settings.forces)
        self.leg: Leg | None = None
        self.ran_back_m = 0.0  # load that ran back while nobody pulled, at most
        self.highest_N = 0.0  # largest mean of a cell
        self._on = False
        self._levels: deque[float] = deque(maxlen=REFERENCE_MOST)
        self._tops: deque[float] = deque(maxlen=REFERENCE_MOST)  # highest force of the same times
        self._past: dict[str, Floats] = {}
        # x at the end of the stroke, its cell, lowest x, its cell, load at the end, first cell fed back
        self._fed: list[float] | None = None

    def fork(self) -> Segments:
        other = copy.copy(self)
        other.strokes, other.resets = list(self.strokes), list(self.resets)
        other.slips, other.shocks = self.slips.fork(), self.shocks.fork()
        other.leg = self.leg.fork() if self.leg else None
        other.lags = self.lags.fork()
        other._levels, other._tops = self._levels.copy(), self._tops.copy()
        other._past = dict(self._past)
        other._fed = list(self._fed) if self._fed else None
        return other

    @property
    def steady_N(self) -> float | None:
        """The steady force so far, None before there is one."""
        if len(self._levels) < REFERENCE_LEAST:
            return None
        cut = (len(self._levels) - 1) // 4  # take-up and jerks drop out, hands even out
        middle = sorted(self._levels)[cut : len(self._levels) - cut]
        return sum(middle) / len(middle)

    def _known(self) -> tuple[float, float] | None:
        steady = self.steady_N
        if steady is None:
            return None
        usual = sorted(self._tops)[3 * (len(self._tops) - 1) // 4]
        return steady, max(SHOCK_TIMES * steady, OVER_PEAKS * usual)

    def push(self, track: Track) -> None:
        """The next whole seconds."""
        if len(track.cell) == 0:
            return
        force = np.where(np.isnan(track.forces[0]), -np.inf, track.forces[0])
        self.highest_N = max(self.highest_N, float(force.max()))
        steady, alarm = (np.repeat(row, HALF) for row in self._references(track))
        known = np.where(np.isnan(steady), 0.0, steady)
        floor = self.settings.floor_N
        on_at = np.maximum(floor, ON_SHARE * known)
        off_at = np.maximum(0.6 * floor, OFF_SHARE * known)
        pasts = {
            "force": self._with_past("force", force, -np.inf),
            "high": self._with_past("high", track.high, np.nan),
            "steady": self._with_past("steady", steady, np.nan),
            "alarm": self._with_past("alarm", alarm, np.nan),
            "x": self._with_past("x", track.end, float(track.start[0])),
            "load": self._with_past("load", track.load_end, float(track.load_start[0])),
        }
        on = self._tension(pasts["force"], pasts["x"], on_at, off_at)
        self._shocks(track.cell, pasts)
        if self.settings.counted and not np.isnan(track.end[0]):
            self._slips(track.cell, pasts)
        if np.isnan(track.end[0]):
            return  # no way to tell motion: no strokes
        way = track.end - track.start, track.load_end - track.load_start
        self.lags.push(track.forces, *way, steady)
        self._walk(track, on)

    def _with_past(self, name: str, values: Floats, before: float) -> Floats:
        past = self._past.get(name)
        if past is None:
            past = np.full(PAST, before)
        both = np.concatenate((past, values))
        self._past[name] = both[-PAST:].copy()
        return both

    def _references(self, track: Track) -> Floats:
        """(2, half seconds): steady force known before each, and the force that a shock passes,
        NaN while there is none.  Hands that let the force fall to nothing reach twice the steady
        force at every pull, so a shock must also stand out of the usual peaks."""
        begin = np.arange(0, len(track.cell), HALF)
        step = np.where(np.isnan(track.forces[0]), 0.0, track.end - track.start)
        step = np.where(step > 0, step, 0.0)
        force = np.where(np.isnan(track.forces[0]), 0.0, track.forces[0])
        way = np.add.reduceat(step, begin)
        total = np.add.reduceat(step * force, begin)
        top = np.fmax.reduceat(track.high, begin)
        result = np.full((2, len(begin)), np.nan)
        known = self._known()
        for k, (d, w) in enumerate(zip(way.tolist(), total.tolist(), strict=True)):
            if known is not None:
                result[:, k] = known
            if d >= 0.02 and w > d * self.settings.floor_N:
                self._levels.append(w / d)
                self._tops.append(float(top[k]))
                known = self._known()
        return result

    def _tension(self, force: Floats, x: Floats, on_at: Floats, off_at: Floats) -> Bools:
        """Whether the haul strand is under tension, with hysteresis."""
        n = len(on_at)
        now = force[PAST:]
        recent = _running_max(force, OFF_CELLS)[-n:]
        soon = _running_max(force, 4)[-n:]
        back = _running_max(x, OFF_CELLS)[-n:] - x[PAST:]
        goes_off = (recent < off_at) | ((soon < off_at) & (back > FED_BACK_M))
        says = np.where(now > on_at, 1, np.where(goes_off, 0, -1))
        index = np.where(says >= 0, np.arange(n), -1)
        np.maximum.accumulate(index, out=index)
        on: Bools = np.where(index >= 0, says[np.maximum(index, 0)] == 1, self._on)
        self._on = bool(on[-1])
        return on

    def _shocks(self, cell: Ints, pasts: dict[str, Floats]) -> None:
        n, force, high, steady = len(cell), pasts["force"], pasts["high"], pasts["steady"]
        with np.errstate(invalid="ignore"):
            over = high[PAST:] > pasts["alarm"][PAST:]
        if not over.any():
            return
        lowest = -_running_max(-force, SHOCK_CELLS)[PAST - 1 : PAST - 1 + n]
        with np.errstate(invalid="ignore"):
            so = over & (lowest <= 1.25 * steady[PAST:]) & np.isfinite(lowest)
        self.shocks.push(cell, so, np.nan_to_num(high[PAST:]))

    def _slips(self, cell: Ints, pasts: dict[str, Floats]) -> None:
        """Seen SLIP_SEEN cells later, when rope and load have shown what they do."""
        n, late, ratio = len(cell), SLIP_SEEN, self.settings.ratio
        fell = pasts["force"][PAST - late : PAST - late + n]
        steady = pasts["steady"][PAST - late : PAST - late + n]
        with np.errstate(invalid="ignore"):
            so = (fell < SLIP_SHARE * steady) & np.isfinite(fell)
        if not so.any():
            return
        shift = PAST - late - 1
        before = _running_max(pasts["force"], SLIP_CELLS)[shift : shift + n]
        then = PAST - late - SLIP_CELLS
        rope = pasts["x"][PAST:] - pasts["x"][then : then + n]
        load = pasts["load"][PAST:] - pasts["load"][then : then + n]
        seen = max(SLIP_ROPE_M, SLIP_LOAD_M * ratio)
        with np.errstate(invalid="ignore"):
            so &= (before >= 0.75 * steady) & (rope >= seen) & (load * ratio < 0.35 * rope)
        self.slips.push(cell - late, so, rope)

    def _walk(self, track: Track, on: Bools) -> None:
        cuts = [0, *(np.flatnonzero(on[1:] != on[:-1]) + 1).tolist(), len(on)]
        for start, stop in itertools.pairwise(cuts):
            if on[start]:
                self._end_reset()
                self._pull(track, start, stop)
            else:
                self._end_leg()
                self._rest(track, start, stop)

    def _pull(self, track: Track, start: int, stop: int) -> None:
        if self.leg is None:
            self.leg = Leg(
                1, int(track.cell[start]), float(track.start[start]),
                float(track.load_start[start]), self.settings.forces,
            )  # fmt: skip
        while start < stop:
            start = self._stretch(track, self.leg, start, min(stop, start + WINDOW))
            if self.leg is None:  # pragma: no cover - _stretch always leaves a leg
                return

    def _stretch(self, track: Track, leg: Leg, start: int, stop: int) -> int:
        """Adds cells to the leg until it turns; returns the first cell not yet taken."""
        s, here = leg.sign, slice(start, stop)
        best = np.maximum.accumulate(np.concatenate(([s * leg.best], s * track.end[here])))
        travel = best[1:] - s * leg.x0
        turned = best[1:] - s * track.end[here] >= np.where(travel < TURN_M, TURN_M, TURN_BACK_M)
        hit = int(np.argmax(turned)) if turned.any() else -1
        if hit >= 0:
            stop = start + hit + 1
            here = slice(start, stop)
            best, travel = best[: hit + 2], travel[: hit + 1]
        ahead = np.diff(best)
        forces = track.forces[:, here]
        known = ~np.isnan(forces)
        value = np.where(known, forces, 0.0)
        step = track.end[here] - track.start[here]
        load = track.load_end[here] - track.load_start[here]
        work = np.cumsum(np.concatenate((leg.work[:, None], value * step), axis=1), axis=1)
        out = np.cumsum(np.concatenate((leg.out[:, None], value * load), axis=1), axis=1)
        top = np.maximum.accumulate(np.concatenate(([leg.load_top], s * track.load_end[here])))
        leg.load_top, way = float(top[-1]), np.diff(top)
        rows = np.zeros((FORCES + PER_FORCE * len(forces), len(step)))
        rows[DISTANCE], rows[LOAD], rows[TIME] = ahead, way, 1.0 / RATE
        rows[SATURATED] = np.where(track.saturated[here], ahead, 0.0)
        rows[ROPE_CELLS], rows[LOAD_CELLS] = ahead > 0, way > 0
        rows[FORCES::PER_FORCE] = known * ahead
        rows[FORCES + 1 :: PER_FORCE] = value * ahead
        rows[FORCES + 2 :: PER_FORCE] = known * way
        rows[FORCES + 3 :: PER_FORCE] = value * way
        leg.add_profile(travel, rows)
        furthest = np.flatnonzero(ahead > 0)
        if len(furthest):
            k = int(furthest[-1])
            leg.best, leg.last = float(s * best[-1]), int(track.cell[start + k])
            leg.load_best = float(track.load_end[start + k])
            leg.work_best, leg.out_best = work[:, k + 1].copy(), out[:, k + 1].copy()
        leg.work, leg.out = work[:, -1].copy(), out[:, -1].copy()
        high = np.where(np.isnan(track.high[here]), -np.inf, track.high[here])
        k = int(np.argmax(high))
        if high[k] > leg.peak:
            leg.peak, leg.peak_cell = float(high[k]), int(track.cell[start + k])
        if hit >= 0:
            other = Leg(-s, leg.last + 1, leg.best, leg.load_best, self.settings.forces)
            if leg.travel < TURN_M:
                other.first = leg.first
            other.work, other.out = leg.work - leg.work_best, leg.out - leg.out_best
            other.best, other.last = float(track.end[stop - 1]), int(track.cell[stop - 1])
            other.load_best = float(track.load_end[stop - 1])
            other.work_best, other.out_best = other.work, other.out
            other.peak, other.peak_cell = float(high[-1]), other.last
            self._keep(leg)
            self.leg = other
        return stop

    def _keep(self, leg: Leg) -> bool:
        """Whether the leg is a stroke: rope that only springs back when let go is none."""
        if leg.travel < TURN_M or not leg.lowers(self.settings.ratio, self.settings.counted):
            return False
        if len(self.strokes) < MOST_STROKES:
            self.strokes.append(leg.stroke(self.settings.ratio, self.settings.counted))
        return True

    def _end_leg(self) -> None:
        leg, self.leg = self.leg, None
        if leg is None:
            return
        kept = self._keep(leg)
        if leg.sign > 0:
            self._fed = [leg.best, leg.last, leg.best, leg.last, leg.load_best, leg.last]
        elif not kept:
            self._fed = [leg.x0, leg.first, leg.x0, leg.first, leg.load0, leg.first]

    def _rest(self, track: Track, start: int, stop: int) -> None:
        """Tension off: rope fed back from where the last stroke ended."""
        if self._fed is None:
            return
        end, x = self._fed, track.end[start:stop]
        k = int(np.argmin(x))
        if end[2] >= end[0] - TURN_M:
            leaves = np.flatnonzero(x < end[0] - TURN_M)
            if len(leaves):
                end[5] = float(track.cell[start + int(leaves[0])])
        if x[k] < end[2]:
            end[2], end[3] = float(x[k]), float(track.cell[start + k])
        if self.settings.counted:
            back = end[4] - float(np.min(track.load_end[start:stop]))
            self.ran_back_m = max(self.ran_back_m, back)

    def reset(self) -> Reset | None:
        """The reset that may be going on."""
        if self._fed is None:
            return None
        x, _, lowest, at, _, begin = self._fed
        last = next((s for s in reversed(self.strokes) if s.direction == "haul"), None)
        share = 0.0 if last is None else 0.1 * last.haul_travel_m
        if x - lowest < max(0.1, share):
            return None
        return Reset(begin / RATE, (at + 1) / RATE, x - lowest)

    def _end_reset(self) -> None:
        found = self.reset()
        if found is not None and len(self.resets) < MOST_STROKES:
            self.resets.append(found)
        self._fed = None

    def current(self) -> Stroke | None:
        """The stroke that is going on, where it is long enough to be one."""
        if self.leg is None or self.leg.travel < TURN_M:
            return None
        if not self.leg.lowers(self.settings.ratio, self.settings.counted):
            return None
        return self.leg.stroke(self.settings.ratio, self.settings.counted, growing=True)


def _running_max(values: Floats, cells: int) -> Floats:
    """Largest of the last `cells` values at each place (fewer at the beginning); any length."""
    result, reach = values, 1
    while reach < cells:
        step = min(reach, cells - reach)
        moved = np.concatenate((np.full(min(step, len(values)), -np.inf), result[:-step]))
        result = np.fmax(result, moved)
        reach += step
    return result
