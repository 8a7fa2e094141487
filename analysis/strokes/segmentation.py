"""Tension on and off, strokes, resets, slips and shocks, from whole seconds of grid cells.

Everything looks back only, over a bounded number of cells, and works in whole seconds, so the
result does not depend on how the readings were cut.  Thresholds hang on the noise of the first
seconds (then frozen) and on the steady force so far (trimmed mean over the last moving half seconds).
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass, replace

import numpy as np

from analysis.signals import lag_from_edges as lag
from analysis.signals.intervals import Runs
from analysis.signals.lag_from_edges import LagWatch
from analysis.signals.lag_from_ripple import LagSums, by_second
from analysis.signals.steady_level import HALF, Levels
from analysis.signals.time_cells import RATE, Floats
from analysis.strokes.cell_track import CellTrack
from analysis.strokes.steady_part import MOST_SHIFT
from analysis.strokes.stroke import Stroke, strokes_of
from analysis.strokes.stroke_accumulator import TURN_M, StrokeAccumulator
from analysis.strokes.stroke_sums import PendingSums, StrokeSums

PAST = 6 * RATE  # cells that are looked back at; memory only: more than any look below asks for
OFF_CELLS = 48  # 1.5 s without tension end a stroke; chosen by us: hands change faster
FED_BACK_M = (
    0.25  # rope given back without tension ends it at once; chosen by us: more than rope contracts
)
# of the steady force, where tension begins and ends; chosen by us: hands that let the force fall near
# nothing stay one stroke, and two levels keep noise from making many
ON_SHARE, OFF_SHARE = 0.15, 0.10
OFF_FLOOR_SHARE = (
    0.6  # of the floor, below which the tension is off; chosen by us: apart from the floor
)
# rope fed back that is a reset, and its least share of the last stroke; chosen by us: more than rope
# contracts when the tension goes
RESET_M, RESET_SHARE = 0.1, 0.1
SLIP_SHARE = 0.5  # interface section 6
# 0.2 s and 0.3 s of interface section 6 in whole cells; chosen by us: 0.4 s in which rope and load show it
SLIP_CELLS, SLIP_SEEN, SHOCK_CELLS = 7, 12, 10
# rope out, and load travel, that can be seen; chosen by us: above the steps of a counter
SLIP_ROPE_M, SLIP_LOAD_M = 0.05, 0.004
# MOST_STROKES: memory only; TOGETHER, WINDOW: speed only
MOST_STROKES = 20_000
TOGETHER = 64  # strokes that are worked out at once
WINDOW = 4096  # cells: a stroke that turns at every cell must not look at all that follows


@dataclass(frozen=True)
class Settings:
    """floor_N: below this it can't be told from nothing; ratio: rope at the haul / load travel."""

    floor_N: float
    ratio: float
    counted: bool  # a load counter
    forces: int


@dataclass(frozen=True)
class Reset:
    """Rope fed back with the haul tension off; setback_m: the load's way back from the end of the
    stroke, None without a load counter."""

    start_s: float
    end_s: float
    rope_m: float
    setback_m: float | None = None
    rig: int = 0


@dataclass
class _Fed:
    """Since the last stroke ended: where it ended, cell of it; lowest rope since, its cell; load
    at the end and now; first cell in which rope was fed back."""

    end: float
    cell: int
    lowest: float
    lowest_cell: int
    load: float
    load_now: float
    begin: int


class Segments:
    """State of the segmentation; `push` whole seconds, read `strokes`, `resets`, `slips`, `shocks`."""

    def __init__(self, settings: Settings, rig: int = 0) -> None:
        self.settings, self.rig = settings, rig
        self._strokes: list[Stroke] = []
        self._ended: list[StrokeAccumulator] = []  # not worked out yet: many at once cost less
        self._pending: PendingSums | None = None  # while a track is walked along
        self._hauled_m = 0.0  # rope of the last stroke hauled
        self.resets: list[Reset] = []
        self.slips, self.shocks = Runs(RATE), Runs(RATE)
        self.lags = LagSums(settings.forces)
        self._cells, self._total_N = 0, 0.0  # cells with a haul force, sum of their means
        self.growing: StrokeAccumulator | None = None
        self.ran_back_m = 0.0  # load that ran back while nobody pulled, at most
        self.highest_N = 0.0  # largest mean of a cell
        self.lowest_N = math.inf  # least mean of a second
        self._on = False
        self._levels = Levels(settings.floor_N)
        self._past: dict[str, Floats] = {}
        self._fed: _Fed | None = None
        self.lag = LagWatch()
        self._looks: list[tuple[int, bool]] = []  # cell, whether it is a take-up: to be looked at
        self.against_m = 0.0  # rope that went back under tension while the load came nearer

    def fork(self) -> Segments:
        strokes = self.strokes  # worked out here, not in every fork again
        other = copy.copy(self)
        other._strokes, other._ended = list(strokes), []
        other.resets = list(self.resets)
        other.slips, other.shocks = self.slips.fork(), self.shocks.fork()
        other.growing = self.growing.fork() if self.growing else None
        other.lags = self.lags.fork()
        other._levels = self._levels.fork()
        other._past = dict(self._past)
        other.lag, other._looks = self.lag.fork(), list(self._looks)
        other._fed = replace(self._fed) if self._fed else None
        return other

    def change(self, ratio: float, rig: int) -> None:
        """Another rig from the next second on: the stroke or reset that goes on ends, and nothing
        that was known of forces and ways holds any more."""
        self._end_stroke()
        self._end_reset()
        self._work_out()
        self.settings, self.rig = replace(self.settings, ratio=ratio), rig
        self._levels = Levels(self.settings.floor_N)
        self._past = {}
        self._looks = []

    @property
    def strokes(self) -> list[Stroke]:
        """Those that have ended, in order."""
        self._work_out()
        return self._strokes

    def _work_out(self) -> None:
        if self._pending is not None:
            self._pending.sum_up()
        ended, self._ended = self._ended, []
        ratio, counted = self.settings.ratio, self.settings.counted
        self._strokes += strokes_of(ended, ratio, counted, False, self.rig)

    @property
    def steady_N(self) -> float | None:
        """The steady force so far, None before there is one."""
        return self._levels.steady_N

    @property
    def mean_N(self) -> float | None:
        """Mean of all the haul cell has sent, whatever was going on."""
        return self._total_N / self._cells if self._cells else None

    def push(self, track: CellTrack) -> None:
        """The next whole seconds."""
        n = len(track.high)
        if n == 0:
            return
        force = track.forces[0]
        unknown = np.isnan(force)
        whole = not unknown.any()
        if not whole:
            force = np.where(unknown, -np.inf, force)
        self.highest_N = max(self.highest_N, float(force.max()))
        known = force if whole else np.where(unknown, 0.0, force)
        self._cells += n - int(np.count_nonzero(unknown))
        seconds = by_second(known)
        self._total_N = float(np.cumsum(np.concatenate(([self._total_N], seconds)))[-1])
        told = seconds if whole else seconds[by_second(unknown) == 0]
        self.lowest_N = min(self.lowest_N, float(told.min()) / RATE if len(told) else math.inf)
        rope = track.rope
        step = np.zeros(n) if rope is None else np.diff(rope)
        steady, alarm = self._levels.push(force, step, track.high)
        floor = self.settings.floor_N
        on_at, off_at = np.full(len(steady), floor), np.full(len(steady), OFF_FLOOR_SHARE * floor)
        np.fmax(on_at, ON_SHARE * steady, out=on_at)
        np.fmax(off_at, OFF_SHARE * steady, out=off_at)
        pasts = {"force": self._with_past("force", force, -np.inf)}
        if rope is not None:
            pasts["x"] = self._with_past("x", rope[1:], float(rope[0]))
        cuts = self._tension(pasts, np.repeat(on_at, HALF), np.repeat(off_at, HALF))
        self._shocks(track, pasts["force"], steady, alarm)
        if self.settings.counted and track.load is not None and rope is not None:
            pasts["load"] = self._with_past("load", track.load[1:], float(track.load[0]))
            pasts["steady"] = self._with_past("steady", np.repeat(steady, HALF), np.nan)
            self._slips(track.first, pasts)
        if rope is not None:  # else no way to tell motion: no strokes
            if self.lags.wanted:
                way = None if track.load is None else np.diff(track.load)
                self.lags.push(track.forces, step, way, np.repeat(steady, HALF))
            if track.load is None:  # with a load counter means are over the load's way
                past = pasts["force"][PAST - MOST_SHIFT : PAST]
                track = replace(track, around=np.concatenate((past, track.forces[0], track.around)))
            self._walk(track, step, cuts)
            self._look(track.first, n, pasts, steady)

    def _look(self, first: int, n: int, pasts: dict[str, Floats], steady: Floats) -> None:
        """Letting off and taking up, once enough of what follows has come."""
        waiting = []
        for cell, up in self._looks:
            before, after = (lag.UP_PAST, lag.UP_LATER) if up else (lag.PAST, lag.LATER)
            stop = cell + after - first + PAST
            if stop > n + PAST:
                waiting.append((cell, up))
                continue
            if stop <= PAST or stop - before - after < 0:
                continue
            here = slice(stop - before - after, stop)
            force, rope = pasts["force"][here], pasts["x"][here]
            if not up:
                self.lag.let_off(force, rope)
                continue
            known = float(steady[(stop - PAST - 1) // HALF])
            if known > 0:
                self.lag.take_up(force, rope, known)
        self._looks = waiting

    def _with_past(self, name: str, values: Floats, before: float) -> Floats:
        past = self._past.get(name)
        if past is None:
            past = np.full(PAST, before)
        both = np.concatenate((past, values))
        self._past[name] = both[-PAST:].copy()
        return both

    def _tension(
        self, pasts: dict[str, Floats], on_at: Floats, off_at: Floats
    ) -> list[tuple[int, int, bool]]:
        """(start, stop, whether the haul strand is under tension), with hysteresis."""
        n, force = len(on_at), pasts["force"]
        now_on = force[PAST:] > on_at
        soon = _running_max(force, 4)
        recent = _running_max(soon, OFF_CELLS - 3)[-n:]
        goes_off = recent < off_at
        if "x" in pasts:
            let_go = soon[-n:] < off_at
            if let_go.any():
                x = pasts["x"]
                goes_off |= let_go & (_running_max(x, OFF_CELLS)[-n:] - x[PAST:] > FED_BACK_M)
        says = np.flatnonzero(now_on | goes_off)
        what = now_on[says]
        turns = np.flatnonzero(what != np.concatenate(([self._on], what[:-1])))
        cuts = [0, *says[turns].tolist(), n]
        states = [self._on, *what[turns].tolist()]
        self._on = states[-1]
        return [(a, b, on) for a, b, on in zip(cuts[:-1], cuts[1:], states, strict=True) if a < b]

    def _shocks(self, track: CellTrack, force: Floats, steady: Floats, alarm: Floats) -> None:
        n, high = len(track.high), track.high
        over = high > np.repeat(alarm, HALF)
        if not over.any():
            return
        lowest = -_running_max(-force, SHOCK_CELLS)[-n - 1 : -1]
        so = over & (lowest <= 1.25 * np.repeat(steady, HALF)) & np.isfinite(lowest)
        self.shocks.push(track.first + np.arange(n), so, np.nan_to_num(high))

    def _slips(self, first: int, pasts: dict[str, Floats]) -> None:
        """Seen SLIP_SEEN cells later, when rope and load have shown what they do."""
        n, late, ratio = len(pasts["force"]) - PAST, SLIP_SEEN, self.settings.ratio
        fell = pasts["force"][PAST - late : PAST - late + n]
        steady = pasts["steady"][PAST - late : PAST - late + n]
        so = (fell < SLIP_SHARE * steady) & np.isfinite(fell)
        if not so.any():
            return
        before = _running_max(pasts["force"], SLIP_CELLS)[-n - late - 1 : -late - 1]
        then = PAST - late - SLIP_CELLS
        rope = pasts["x"][PAST:] - pasts["x"][then : then + n]
        load = pasts["load"][PAST:] - pasts["load"][then : then + n]
        seen = max(SLIP_ROPE_M, SLIP_LOAD_M * ratio)
        so &= (before >= 0.75 * steady) & (rope >= seen) & (load * ratio < 0.35 * rope)
        self.slips.push(first + np.arange(n) - late, so, rope)

    def _walk(self, track: CellTrack, step: Floats, cuts: list[tuple[int, int, bool]]) -> None:
        pending = self._pending = PendingSums(track, step)
        for start, stop, on in cuts:
            if on:
                self._end_reset()
                self._pull(track, pending, start, stop)
            else:
                if self.growing is not None and self.lag.looks < lag.MOST:
                    self._looks.append((track.first + start, False))
                self._end_stroke()
                self._rest(track, start, stop)
        pending.sum_up()
        self._pending = None

    def _pull(self, track: CellTrack, pending: PendingSums, start: int, stop: int) -> None:
        assert track.rope is not None
        if self.growing is None:
            if self.lag.up_looks < lag.MOST:
                self._looks.append((track.first + start, True))
            load = 0.0 if track.load is None else float(track.load[start])
            sums, x = StrokeSums(self.settings.forces), float(track.rope[start])
            self.growing = StrokeAccumulator(1, track.first + start, x, load, sums)
        while start < stop:
            cells, turned = self.growing.add(track, start, min(stop, start + WINDOW))
            pending.waiting.append(cells)
            start = cells.stop
            if turned:
                pending.sum_up()
                other = self.growing.turned(track, start)
                self._keep(self.growing)
                self.growing = other

    def _keep(self, stroke: StrokeAccumulator) -> bool:
        """Whether it is a stroke to keep: rope that only springs back when let go is none."""
        ratio, counted = self.settings.ratio, self.settings.counted
        if stroke.travel < TURN_M:
            return False
        if stroke.sign < 0:
            if counted and (stroke.load_best - stroke.load0) * ratio > 0.5 * stroke.travel:
                self.against_m += stroke.travel
            if self._pending is not None:
                self._pending.sum_up()
        if not stroke.lowers(ratio, counted):
            return False
        if len(self._strokes) + len(self._ended) < MOST_STROKES:
            self._ended.append(stroke)
            if stroke.sign > 0:
                self._hauled_m = stroke.travel
            if len(self._ended) >= TOGETHER:
                self._work_out()
        return True

    def _end_stroke(self) -> None:
        stroke, self.growing = self.growing, None
        if stroke is None:
            return
        kept = self._keep(stroke)
        if stroke.sign > 0:
            self._fed = _fed(stroke.best, stroke.last, stroke.load_best)
        elif not kept:
            self._fed = _fed(stroke.x0, stroke.first, stroke.load0)

    def _rest(self, track: CellTrack, start: int, stop: int) -> None:
        """Tension off: rope fed back from where the last stroke ended."""
        if self._fed is None:
            return
        assert track.rope is not None
        fed, x = self._fed, track.rope[start + 1 : stop + 1]
        k = int(x.argmin())
        lowest = float(x[k])
        if lowest < fed.end - TURN_M <= fed.lowest:
            fed.begin = track.first + start + int((x < fed.end - TURN_M).argmax())
        if lowest < fed.lowest:
            fed.lowest, fed.lowest_cell = lowest, track.first + start + k
        if track.load is not None:
            back = fed.load - float(np.min(track.load[start + 1 : stop + 1]))
            self.ran_back_m = max(self.ran_back_m, back)
            fed.load_now = float(track.load[stop])

    def reset(self) -> Reset | None:
        """The reset that may be going on."""
        fed = self._fed
        if fed is None:
            return None
        rope = fed.end - fed.lowest
        if rope < max(RESET_M, RESET_SHARE * self._hauled_m):
            return None
        setback = fed.load - fed.load_now if self.settings.counted else None
        return Reset(
            start_s=fed.begin / RATE,
            end_s=(fed.lowest_cell + 1) / RATE,
            rope_m=rope,
            setback_m=setback,
            rig=self.rig,
        )

    def _end_reset(self) -> None:
        found = self.reset()
        if found is not None and len(self.resets) < MOST_STROKES:
            self.resets.append(found)
        self._fed = None

    def current(self) -> Stroke | None:
        """The stroke that is going on, where it is long enough to be one."""
        stroke, ratio, counted = self.growing, self.settings.ratio, self.settings.counted
        if stroke is None or stroke.travel < TURN_M or not stroke.lowers(ratio, counted):
            return None
        return strokes_of([stroke], ratio, counted, True, self.rig)[0]


def _fed(end: float, cell: int, load: float) -> _Fed:
    return _Fed(
        end=end, cell=cell, lowest=end, lowest_cell=cell, load=load, load_now=load, begin=cell
    )


def _running_max(values: Floats, cells: int) -> Floats:
    """Largest of the last `cells` values at each place where there are as many: (n - cells + 1,)."""
    result, reach = values, 1
    while reach < cells:
        step = min(reach, cells - reach)
        result = np.maximum(result[step:], result[:-step])
        reach += step
    return result
