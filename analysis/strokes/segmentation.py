"""Detects tension on and off, strokes, resets, slips and shocks in whole seconds of grid cells.

Every decision uses a bounded number of past cells and works in whole seconds, so the result does not
depend on how the readings were cut into blocks.  Thresholds depend on the noise of the first seconds,
which is then frozen, and on the steady force so far (trimmed mean of the last moving half seconds).
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass, replace

import numpy as np

from analysis.signals import lag_from_edges as lag
from analysis.signals.intervals import Intervals
from analysis.signals.lag_from_edges import LagWatch
from analysis.signals.lag_from_ripple import LagSums, by_second
from analysis.signals.steady_level import HALF, Levels
from analysis.signals.time_cells import RATE, Floats
from analysis.strokes.cell_track import CellTrack
from analysis.strokes.steady_part import MOST_SHIFT
from analysis.strokes.stroke import Stroke, strokes_of
from analysis.strokes.stroke_accumulator import TURN_M, StrokeAccumulator
from analysis.strokes.stroke_sums import PendingSums, StrokeSums

PAST = 6 * RATE  # past cells that are kept; memory only: more than any decision below needs
# 1.5 s without tension end a stroke; chosen by us: hands change faster.  LET_GO_SHOWN_S of `live.haul_state`
# (0.6 s) is another decision: it sets what the page shows now and the next pull corrects it, while a stroke
# that was ended too early stays two strokes in the review
STROKE_END_CELLS = 48
# rope given back without tension that ends a stroke before these 1.5 s; chosen by us: 2.5 times RESET_M, so
# that rope that contracts while hands change never ends one
STROKE_END_M = 0.25
# shares of the steady force at which tension begins and ends; chosen by us: hands that let the force fall
# almost to zero stay in one stroke, and two levels keep noise from making many strokes
ON_SHARE, OFF_SHARE = 0.15, 0.10
# share of the floor below which the tension is off; chosen by us: clear of the floor
OFF_FLOOR_SHARE = 0.6
# least rope fed back in a reset, and its least share of the last haul stroke; chosen by us: more than rope
# contracts when the tension goes off
RESET_M, RESET_SHARE = 0.1, 0.1
# least rope in a cell that shows that a counter counts both ways; chosen by us: more than rounding
BACK_M = 1e-4
# longest time from the end of a stroke to the end of a spring-back; chosen by us: hands that let a loaded rope
# out need a second or two, and a reset takes longer
SPRING_CELLS = 2 * RATE
SLIP_SHARE = 0.5  # of the steady force; interface section 6
# 0.2 s and 0.3 s of interface section 6 in whole cells; SLIP_SEEN, chosen by us: 0.4 s in which rope and load
# show the slip
SLIP_CELLS, SLIP_SEEN, SHOCK_CELLS = 7, 12, 10
# least rope, and least load travel, of a slip; chosen by us: above the steps of a counter
SLIP_ROPE_M, SLIP_LOAD_M = 0.05, 0.004
# MOST_STROKES: memory only; TOGETHER, WINDOW: speed only
MOST_STROKES = 20_000
TOGETHER = 64  # strokes that are evaluated at once
WINDOW = 4096  # cells taken at once, as a stroke that turns at every cell would else scan all that follow


@dataclass(frozen=True)
class Settings:
    """What the segmentation needs of the rig and the channels."""

    floor_N: float  # haul forces below it count as zero
    ratio: float  # rope at the haul / load travel
    counted: bool  # whether there is a load counter
    forces: int  # number of force channels
    stretch_m_per_N: float = 0.0  # rope that springs back at the haul / haul force that was let off


@dataclass(frozen=True)
class Reset:
    """Rope fed back with the haul tension off."""

    start_s: float  # when rope begins to go back
    end_s: float  # when the most rope is fed back
    rope_m: float  # rope fed back
    setback_m: float | None = None  # load travel back since the stroke; None without a load counter
    rig: int = 0  # index of the session's rig


def is_reset(rope_m: float, stroke_m: float) -> bool:
    """Whether rope_m of rope fed back without tension is a reset after a haul stroke of stroke_m.

    A shorter length is rope that contracts when the tension goes off.  Review and live page both use this.
    """
    return rope_m >= max(RESET_M, RESET_SHARE * stroke_m)


def is_last_reset(
    rope_m: float, soon_m: float, stroke_m: float, force_N: float, stretch_m_per_N: float
) -> bool:
    """Whether rope fed back is a reset while no later stroke shows it.

    Rope that goes back within SPRING_CELLS and is no more than the stretch of the ropes explains springs back;
    what goes back after it must be a reset by itself.  rope_m: rope that went back, soon_m of it within
    SPRING_CELLS; stroke_m: rope of the last haul stroke; force_N: haul force that was let off;
    stretch_m_per_N: of the rig.
    """
    sprang_m = soon_m if soon_m <= force_N * stretch_m_per_N else 0.0
    return is_reset(rope_m, stroke_m) and is_reset(rope_m - sprang_m, stroke_m)


@dataclass
class _Fed:
    """Rope fed back since the last stroke ended.  Positions are of the counters, m."""

    end: float  # rope at the end of the stroke
    cell: int  # its cell
    lowest: float  # lowest rope since
    lowest_cell: int  # its cell
    load: float  # load at the end of the stroke
    load_now: float  # load now
    begin: int  # first cell in which rope went back
    soon: float  # lowest rope within SPRING_CELLS
    force_N: float = 0.0  # highest haul force of the stroke


class Segmentation:
    """The segmentation of one session: `push` whole seconds, then read the attributes.

    settings: of the rig in use.
    rig: its index among the session's rigs.
    strokes: haul and lower strokes that have ended, in order.
    growing: the stroke that is going on; None while the tension is off.
    resets: resets that have ended, in order.
    slips, shocks: intervals with the rope that slipped, m, and the peak force, N.
    lags, lag: lag estimates, by ripple and by releases.
    ran_back_m: most that the load ran back while nobody pulled.
    highest_N: largest mean haul force of a cell.
    lowest_N: least mean haul force of a second; inf before the first.
    against_m: rope that went back under tension while the load came nearer.
    went_back: whether the rope counter ever ran back.
    """

    def __init__(self, settings: Settings, rig: int = 0) -> None:
        self.settings, self.rig = settings, rig
        self._strokes: list[Stroke] = []
        self._ended: list[StrokeAccumulator] = []  # wait to be evaluated together, which costs less
        self._pending: PendingSums | None = None  # while a track is processed
        self._hauled_m = 0.0  # rope of the last haul stroke
        self.resets: list[Reset] = []
        self.slips, self.shocks = Intervals(RATE), Intervals(RATE)
        self.lags = LagSums(settings.forces)
        self._cells, self._total_N = 0, 0.0  # cells with a haul force, sum of their means
        self.growing: StrokeAccumulator | None = None
        self.ran_back_m = 0.0
        self.highest_N = 0.0
        self.lowest_N = math.inf
        self._on = False
        self._levels = Levels(settings.floor_N)
        self._past: dict[str, Floats] = {}
        self._fed: _Fed | None = None
        self.lag = LagWatch()
        self._edges: list[
            tuple[int, bool]
        ] = []  # (cell, whether a take-up): edges to examine for a lag
        self.against_m = 0.0
        self.went_back = False

    def fork(self) -> Segmentation:
        """Return a copy that grows independently."""
        strokes = self.strokes  # evaluated here once, not again in every fork
        other = copy.copy(self)
        other._strokes, other._ended = list(strokes), []
        other.resets = list(self.resets)
        other.slips, other.shocks = self.slips.fork(), self.shocks.fork()
        other.growing = self.growing.fork() if self.growing else None
        other.lags = self.lags.fork()
        other._levels = self._levels.fork()
        other._past = dict(self._past)
        other.lag, other._edges = self.lag.fork(), list(self._edges)
        other._fed = replace(self._fed) if self._fed else None
        return other

    def change(self, ratio: float, rig: int, stretch_m_per_N: float = 0.0) -> None:
        """Switch to another rig from the next second on.

        ratio: its rope at the haul / load travel; rig: its index; stretch_m_per_N: as of Settings.  The current stroke ends, and the steady
        force starts anew.  Rope fed back since the last stroke belongs to the conversion and is no reset.
        """
        self._end_stroke()
        self._fed = None
        self._evaluate()
        self.settings = replace(self.settings, ratio=ratio, stretch_m_per_N=stretch_m_per_N)
        self.rig = rig
        self._levels = Levels(self.settings.floor_N)
        self._past = {}
        self._edges = []

    @property
    def strokes(self) -> list[Stroke]:
        """The strokes that have ended, in order."""
        self._evaluate()
        return self._strokes

    def _evaluate(self) -> None:
        """Turn the ended accumulators into strokes."""
        if self._pending is not None:
            self._pending.sum_up()
        ended, self._ended = self._ended, []
        ratio, counted = self.settings.ratio, self.settings.counted
        self._strokes += strokes_of(ended, ratio, counted, False, self.rig)

    @property
    def steady_N(self) -> float | None:
        """The steady haul force so far, N; None before there is one."""
        return self._levels.steady_N

    @property
    def mean_N(self) -> float | None:
        """Mean of all readings of the haul cell, N; None before the first."""
        return self._total_N / self._cells if self._cells else None

    def push(self, track: CellTrack) -> None:
        """Process the next whole seconds."""
        n = len(track.high)
        if n == 0:
            return
        force = track.forces[0]
        unknown = np.isnan(force)
        whole = not unknown.any()
        if not whole:
            force = np.where(unknown, -np.inf, force)
        self.highest_N = max(self.highest_N, float(force.max()))
        self._cells += n - int(np.count_nonzero(unknown))
        seconds = by_second(force if whole else np.where(unknown, 0.0, force))
        self._total_N = float(np.cumsum(np.concatenate(([self._total_N], seconds)))[-1])
        full = seconds if whole else seconds[by_second(unknown) == 0]
        self.lowest_N = min(self.lowest_N, float(full.min()) / RATE if len(full) else math.inf)
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
        if rope is not None:  # without a rope counter nothing shows motion: no strokes
            self.went_back = self.went_back or bool(step.min() < -BACK_M)
            if self.lags.wanted:
                load_step = None if track.load is None else np.diff(track.load)
                self.lags.push(track.forces, step, load_step, np.repeat(steady, HALF))
            if track.load is None:  # with a load counter means are over load travel
                past = pasts["force"][PAST - MOST_SHIFT : PAST]
                track = replace(track, around=np.concatenate((past, track.forces[0], track.around)))
            self._walk(track, step, cuts)
            self._examine_edges(track.first, n, pasts, steady)

    def _examine_edges(self, first: int, n: int, pasts: dict[str, Floats], steady: Floats) -> None:
        """Pass releases and take-ups on to the lag estimate, once enough later cells have come."""
        waiting = []
        for cell, up in self._edges:
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
            steady_N = float(steady[(stop - PAST - 1) // HALF])
            if steady_N > 0:
                self.lag.take_up(force, rope, steady_N)
        self._edges = waiting

    def _with_past(self, name: str, values: Floats, before: float) -> Floats:
        """The last PAST values of this name, `before` where there were none, then the values (n,)."""
        past = self._past.get(name)
        if past is None:
            past = np.full(PAST, before)
        both = np.concatenate((past, values))
        self._past[name] = both[-PAST:].copy()
        return both

    def _tension(
        self, pasts: dict[str, Floats], on_at: Floats, off_at: Floats
    ) -> list[tuple[int, int, bool]]:
        """Cut the cells by tension: (start, stop, whether the haul strand is under tension).

        on_at, off_at: thresholds of the haul force in each cell, N, (n,).
        """
        n, force = len(on_at), pasts["force"]
        now_on = force[PAST:] > on_at
        soon = _running_max(force, 4)
        recent = _running_max(soon, STROKE_END_CELLS - 3)[-n:]
        goes_off = recent < off_at
        if "x" in pasts:
            let_go = soon[-n:] < off_at
            if let_go.any():
                x = pasts["x"]
                fed_back = _running_max(x, STROKE_END_CELLS)[-n:] - x[PAST:]
                goes_off |= let_go & (fed_back > STROKE_END_M)
        decided = np.flatnonzero(now_on | goes_off)
        on = now_on[decided]
        turns = np.flatnonzero(on != np.concatenate(([self._on], on[:-1])))
        cuts = [0, *decided[turns].tolist(), n]
        states = [self._on, *on[turns].tolist()]
        self._on = states[-1]
        return [
            (a, b, state) for a, b, state in zip(cuts[:-1], cuts[1:], states, strict=True) if a < b
        ]

    def _shocks(self, track: CellTrack, force: Floats, steady: Floats, alarm: Floats) -> None:
        """Record shocks; alarm: N per half second, above which a force that rises suddenly is one."""
        n, high = len(track.high), track.high
        over = high > np.repeat(alarm, HALF)
        if not over.any():
            return
        lowest = -_running_max(-force, SHOCK_CELLS)[-n - 1 : -1]
        so = over & (lowest <= 1.25 * np.repeat(steady, HALF)) & np.isfinite(lowest)
        self.shocks.push(track.first + np.arange(n), so, np.nan_to_num(high))

    def _slips(self, first: int, pasts: dict[str, Floats]) -> None:
        """Record slips, SLIP_SEEN cells late, when rope and load have moved."""
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
        """Grow strokes and resets along a track; step: rope in each cell, m, (n,)."""
        pending = self._pending = PendingSums(track, step)
        for start, stop, on in cuts:
            if on:
                self._end_reset()
                self._pull(track, pending, start, stop)
            else:
                if self.growing is not None and self.lag.looks < lag.MOST:
                    self._edges.append((track.first + start, False))
                self._end_stroke()
                self._rest(track, start, stop)
        pending.sum_up()
        self._pending = None

    def _pull(self, track: CellTrack, pending: PendingSums, start: int, stop: int) -> None:
        """Add cells start..stop, under tension, to the growing stroke; begin another where rope turns."""
        assert track.rope is not None
        if self.growing is None:
            if self.lag.up_looks < lag.MOST:
                self._edges.append((track.first + start, True))
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
        """Keep an ended stroke, unless it is too short or rope that only springs back; whether it was kept."""
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
                self._evaluate()
        return True

    def _end_stroke(self) -> None:
        """End the growing stroke, and follow from there the rope that is fed back."""
        stroke, self.growing = self.growing, None
        if stroke is None:
            return
        kept = self._keep(stroke)
        if stroke.sign > 0:
            self._fed = replace(
                _fed(stroke.best, stroke.last, stroke.load_best), force_N=max(0.0, stroke.peak)
            )
        elif not kept:
            self._fed = _fed(stroke.x0, stroke.first, stroke.load0)

    def _rest(self, track: CellTrack, start: int, stop: int) -> None:
        """Follow rope and load in cells start..stop, with the tension off."""
        if self._fed is None:
            return
        assert track.rope is not None
        fed, x = self._fed, track.rope[start + 1 : stop + 1]
        k = int(x.argmin())
        lowest = float(x[k])
        if lowest < fed.end - TURN_M <= fed.lowest:
            fed.begin = track.first + start + int((x < fed.end - TURN_M).argmax())
        soon = fed.cell + SPRING_CELLS + 1 - (track.first + start)
        if soon > 0:
            fed.soon = min(fed.soon, float(x[:soon].min()))
        if lowest < fed.lowest:
            fed.lowest, fed.lowest_cell = lowest, track.first + start + k
        if track.load is not None:
            back = fed.load - float(np.min(track.load[start + 1 : stop + 1]))
            self.ran_back_m = max(self.ran_back_m, back)
            fed.load_now = float(track.load[stop])

    def reset(self) -> Reset | None:
        """The reset since the last stroke; None where too little rope went back, or it only sprang back."""
        fed = self._fed
        if fed is None:
            return None
        rope_m, soon_m = fed.end - fed.lowest, fed.end - fed.soon
        stretch = self.settings.stretch_m_per_N
        if not is_last_reset(rope_m, soon_m, self._hauled_m, fed.force_N, stretch):
            return None
        return self._reset(fed)

    def _reset(self, fed: _Fed) -> Reset | None:
        """The reset of rope fed back; None where it is too little."""
        rope = fed.end - fed.lowest
        if not is_reset(rope, self._hauled_m):
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
        reset = self._reset(self._fed) if self._fed is not None else None
        if reset is not None and len(self.resets) < MOST_STROKES:
            self.resets.append(reset)
        self._fed = None

    def current(self) -> Stroke | None:
        """The growing stroke; None where there is none or it is too short yet."""
        stroke, ratio, counted = self.growing, self.settings.ratio, self.settings.counted
        if stroke is None or stroke.travel < TURN_M or not stroke.lowers(ratio, counted):
            return None
        return strokes_of([stroke], ratio, counted, True, self.rig)[0]


def _fed(end: float, cell: int, load: float) -> _Fed:
    return _Fed(
        end=end,
        cell=cell,
        lowest=end,
        lowest_cell=cell,
        load=load,
        load_now=load,
        begin=cell,
        soon=end,
    )


def _running_max(values: Floats, cells: int) -> Floats:
    """Largest of each `cells` consecutive values, (n - cells + 1,), from values (n,)."""
    result, reach = values, 1
    while reach < cells:
        step = min(reach, cells - reach)
        result = np.maximum(result[step:], result[:-step])
        reach += step
    return result
