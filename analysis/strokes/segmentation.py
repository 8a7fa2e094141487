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
from analysis.signals.slack_readings import SlackReadings
from analysis.signals.steady_level import HALF, Levels
from analysis.signals.time_cells import RATE, Bools, Floats
from analysis.signals.time_grid import BRIDGED_S
from analysis.strokes.cell_track import CellTrack
from analysis.strokes.lag_correction import RigLagSums
from analysis.strokes.steady_part import MOST_SHIFT
from analysis.strokes.stroke import Stroke, strokes_of
from analysis.strokes.stroke_accumulator import PAUSE_CELLS, TURN_M, StrokeAccumulator
from analysis.strokes.stroke_sums import (
    MOST_LAG,
    LaggedCells,
    PendingSums,
    StrokeSums,
    lagged_cells,
)

PAST = 6 * RATE  # past cells that are kept; memory only: more than any decision below needs
# 1.5 s without tension end a stroke; chosen by us: hands change faster.  LET_GO_SHOWN_S of `live.haul_state`
# (0.6 s) is another decision: it sets what the page shows now and the next pull corrects it, while a stroke
# that was ended too early stays two strokes in the review
STROKE_END_CELLS = 48
# rope given back without tension that ends a stroke before these 1.5 s; chosen by us: 2.5 times RESET_M, so
# that rope that contracts while hands change never ends one
STROKE_END_M = 0.25
# rope that shows that a stroke goes on while the haul cell is silent, and the time within which it must move;
# chosen by us: above a counter's steps, and longer than hands or a pause under tension take within a silence
STILL_MOVES_M, STILL_MOVES_CELLS = 0.02, 4 * RATE
# silence of the haul cell up to which rope that goes back may still be lowered: that of a counter
SILENT_CELLS = int(BRIDGED_S * RATE)
# share of the rope of a stroke that is back when the tension is off, of a load that only was tugged at; chosen by us:
# a load that moved keeps its rope, less the stretch
TUG_SHARE = 0.7
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
# longest time from the tension going off to the end of a spring-back; chosen by us: hands that let a loaded rope
# out need a second or two, and a reset takes longer
SPRING_CELLS = 2 * RATE
# share of the steady force at which rope that sprang back is stretched again; chosen by us: below the ripple of the
# hands, and below the force at which the load moves
BEARS_SHARE = 0.9
# cells in which the load's counter advances / those in which the rope does: FINE, above which means are over the load's
# travel, chosen by us: half of the cells have a step then.  Within BORDER the stroke before decides; chosen by us, as
# means over one and the other differ by the stretch of the rope
FINE, BORDER = 0.5, (0.35, 0.65)
# rope that may spring back / rope that the last stroke took in before it bore the load; chosen by us: that is
# BEARS_SHARE of the stretch, less what a late counter hides
SPRINGS = 1.5
# time within which the load's last rest before a stroke is looked up, and rope in RESTS_CELLS that is a rest;
# chosen by us: the longest lag between two devices of 0.3 s each; half a second of hands that hardly move
LOAD_RESTS_CELLS, RESTS_CELLS, RESTS_M = 10, 16, 0.01
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


def is_last_reset(rope_m: float, soon_m: float, stroke_m: float, springs_m: float) -> bool:
    """Whether rope fed back is a reset while no later stroke shows it.

    Rope that goes back within SPRING_CELLS and is no more than springs_m springs back; what goes back after it must be
    a reset by itself.  rope_m: rope that went back, soon_m of it within SPRING_CELLS; stroke_m: rope of the last
    haul stroke; springs_m: the most that may spring back.
    """
    sprang_m = soon_m if soon_m <= springs_m else 0.0
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
    off: int = 0  # cell in which the tension went off
    force_N: float = 0.0  # highest haul force of the stroke
    hauled_m: float = 0.0  # rope of the last haul stroke
    full_N: float = 0.0  # haul force at which its rope is stretched again


class Segmentation:
    """The segmentation of one session: `push` whole seconds, then read the attributes.

    settings: of the rig in use.
    rig: its index among the session's rigs.
    strokes: haul and lower strokes that have ended, in order.
    growing: the stroke that is going on; None while the tension is off.
    resets: resets that have ended, in order.
    slips, shocks: intervals with the rope that slipped, m, and the peak force, N.
    lags, lags_back, lag: lag estimates, by ripple while hauling and while lowering with the rig in use, and by releases.
    lags_before: sums of lags, hauling and lowering, of the rigs before, by their index.
    ran_back_m: most that the load ran back while nobody pulled.
    highest_N: largest mean haul force of a cell.
    slack: what the haul cell reads with the tension off.
    lowest_N: least mean haul force of a second; inf before the first.
    against_m: rope that went back under tension while the load came nearer.
    went_back, load_went_back: whether the rope counter, and the load counter, ever ran back.
    tugs: pulls that only stretched the rope.
    """

    def __init__(self, settings: Settings, rig: int = 0) -> None:
        self.settings, self.rig = settings, rig
        self._strokes: list[Stroke] = []
        self._ended: list[StrokeAccumulator] = []  # wait to be evaluated together, which costs less
        self._before: dict[
            str, Floats
        ] = {}  # rope and load before and in the track that is processed
        self._pending: PendingSums | None = None  # while a track is processed
        self._hauled_m = 0.0  # rope of the last haul stroke
        self.resets: list[Reset] = []
        self.slips, self.shocks = Intervals(RATE), Intervals(RATE)
        self.lags, self.lags_back = LagSums(settings.forces), LagSums(settings.forces, -1)
        self.lags_before: dict[int, RigLagSums] = {}
        self._cells, self._total_N = 0, 0.0  # cells with a haul force, sum of their means
        self.growing: StrokeAccumulator | None = None
        self.ran_back_m = 0.0
        self.highest_N = 0.0
        self.lowest_N = math.inf
        self._on = False
        self._levels = Levels(settings.floor_N)
        self._past: dict[str, Floats] = {}
        self._fed: _Fed | None = None
        self._undecided: _Fed | None = None  # until the next stroke bears the load
        self._by_load: bool | None = (
            None  # whether means of the last haul stroke are over the load's travel
        )
        self._taken_m = 0.0  # rope that the last stroke took in before it bore the load
        self.lag = LagWatch()
        self._edges: list[
            tuple[int, bool]
        ] = []  # (cell, whether a take-up): edges to examine for a lag
        self.slack = SlackReadings()
        self.against_m = 0.0
        self.went_back = self.load_went_back = False
        self.tugs = 0
        self._pulled: StrokeAccumulator | None = None  # the haul stroke that was kept last

    def fork(self) -> Segmentation:
        """Return a copy that grows independently."""
        strokes = self.strokes  # evaluated here once, not again in every fork
        other = copy.copy(self)
        other._strokes, other._ended = list(strokes), []
        other.resets = list(self.resets)
        other.slips, other.shocks = self.slips.fork(), self.shocks.fork()
        other.growing = self.growing.fork() if self.growing else None
        other.lags, other.lags_back = self.lags.fork(), self.lags_back.fork()
        other.lags_before = dict(self.lags_before)
        other.slack = self.slack.fork()
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
        if self.growing is not None:
            self._decide(self.growing.best)
        self._end_stroke()
        self._fed = self._undecided = None
        self._evaluate()
        self.lags_before[self.rig] = self.lag_sums
        forces = self.settings.forces
        self.lags, self.lags_back = LagSums(forces), LagSums(forces, -1)
        self.settings = replace(self.settings, ratio=ratio, stretch_m_per_N=stretch_m_per_N)
        self.rig = rig
        self._levels = Levels(self.settings.floor_N)
        self._past = {}
        self._edges = []

    @property
    def lag_sums(self) -> RigLagSums:
        """The sums of lags of the rig in use."""
        return RigLagSums(self.lags, self.lags_back, self.over_rope)

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
            pasts["x"] = x = self._with_past("x", rope[1:], float(rope[0]))
            goes_on = np.zeros(n) if whole else self._goes_on(pasts, x, unknown)
            pasts["goes_on"] = self._with_past("goes_on", goes_on, 0.0)
        cuts = self._tension(pasts, np.repeat(on_at, HALF), np.repeat(off_at, HALF))
        self._rests(track.first, cuts, seconds, by_second(unknown) > 0)
        self._shocks(track, pasts["force"], steady, alarm)
        if self.settings.counted and track.load is not None and rope is not None:
            pasts["load"] = self._with_past("load", track.load[1:], float(track.load[0]))
            went_back = float(np.diff(track.load).min()) < -BACK_M
            self.load_went_back = self.load_went_back or went_back
            pasts["gap"] = self._with_past("gap", track.gap.astype(float), 0.0)
            pasts["steady"] = self._with_past("steady", np.repeat(steady, HALF), np.nan)
            self._slips(track.first, pasts)
        if rope is not None:  # without a rope counter nothing shows motion: no strokes
            self.went_back = self.went_back or bool(step.min() < -BACK_M)
            for lags in (self.lags, self.lags_back):
                if lags.wanted:
                    load_step = None if track.load is None else np.diff(track.load)
                    lags.push(
                        track.forces,
                        step,
                        load_step,
                        np.repeat(steady, HALF),
                        self.settings.ratio,
                    )
            if track.load is None:  # with a load counter means are over load travel
                past = pasts["force"][PAST - MOST_SHIFT : PAST]
                track = replace(track, around=np.concatenate((past, track.forces[0], track.around)))
            self._before = pasts
            self._walk(track, step, cuts, steady)
            self._before = {}
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
        if "goes_on" in pasts and pasts["goes_on"].any():
            force = np.where(pasts["goes_on"] > 0, np.inf, force)
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

    def _rests(
        self, first: int, cuts: list[tuple[int, int, bool]], seconds: Floats, unknown: Bools
    ) -> None:
        """Take the whole seconds with the tension off as slack readings.

        first: index of the first cell; cuts: by tension; seconds: sum of the forces of each second, N; unknown:
        (seconds,) whether the cell was silent in it.
        """
        for start, stop, on in cuts:
            if on:
                self.slack.end()
                continue
            begin, end = -(-start // RATE), stop // RATE
            if begin < end:
                own = np.where(unknown[begin:end], np.inf, seconds[begin:end])
                k = int(own.argmin())
                if own[k] < np.inf:
                    self.slack.add((first / RATE) + begin + k, float(own[k]) / RATE)

    @staticmethod
    def _goes_on(pasts: dict[str, Floats], x: Floats, unknown: Bools) -> Floats:
        """1 in each cell in which the haul cell is silent while a stroke would go on, else 0, (n,).

        Rope comes out; or it goes back, and the silence is short.  x: rope, with its past, m; unknown: (n,).
        """
        moved = x[PAST:] - x[PAST - STILL_MOVES_CELLS : -STILL_MOVES_CELLS]
        read_lately = _running_max(pasts["force"], SILENT_CELLS)[-len(unknown) :] > -np.inf
        so = (moved > STILL_MOVES_M) | (read_lately & (moved < -STILL_MOVES_M))
        return np.where(unknown & so, 1.0, 0.0)

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
        if pasts["gap"].any():  # a silent counter shows no slip
            so &= _running_max(pasts["gap"], SLIP_CELLS + SLIP_SEEN + 1)[-n:] == 0
        seen = max(SLIP_ROPE_M, SLIP_LOAD_M * ratio)
        so &= (before >= 0.75 * steady) & (rope >= seen) & (load * ratio < 0.35 * rope)
        self.slips.push(first + np.arange(n) - late, so, rope)

    def _walk(
        self, track: CellTrack, step: Floats, cuts: list[tuple[int, int, bool]], steady: Floats
    ) -> None:
        """Grow strokes and resets along a track.

        step: rope in each cell, m, (n,); steady: steady haul force of each half second, N.
        """
        pending = self._pending = PendingSums(track, step, self._lagged(track))
        for start, stop, on in cuts:
            if on:
                lowest = self._fed.lowest if self._fed is not None else -math.inf
                if self._fed is not None:
                    self._undecided, self._fed = self._fed, None
                if self._undecided is not None:
                    self._bears(track, start, stop)
                self._pull(track, pending, start, stop, lowest)
            else:
                if self.growing is not None and self.lag.looks < lag.MOST:
                    self._edges.append((track.first + start, False))
                if self.growing is not None and track.rope is not None:
                    self._decide(self.growing.best)
                    self._came_to_rest(self.growing, track.first, start)
                    self._end_stroke(float(track.rope[start]))
                    self._let_off(track.first, start, float(np.nan_to_num(steady[start // HALF])))
                self._rest(track, start, stop)
        pending.sum_up()
        self._pending = None

    def _lagged(self, track: CellTrack) -> LaggedCells | None:
        """The cells of a track with those before, for the work at lags; None without a load counter."""
        if "load" not in self._before:
            return None
        forces = [self._before["force"]]
        for j, force in enumerate(track.forces[1:], start=1):
            forces.append(self._with_past(f"force {j}", force, np.nan))
        return lagged_cells(
            np.array(forces)[:, PAST - MOST_LAG :],
            self._before["x"][PAST - MOST_LAG - 1 :],
            self._before["load"][PAST - MOST_LAG - 1 :],
        )

    def _pull(
        self, track: CellTrack, pending: PendingSums, start: int, stop: int, lowest: float
    ) -> None:
        """Add cells start..stop, under tension, to the growing stroke; begin another where rope turns.

        lowest: lowest rope since the last stroke, m.
        """
        assert track.rope is not None
        if self.growing is None:
            if self.lag.up_looks < lag.MOST:
                self._edges.append((track.first + start, True))
            load = 0.0 if track.load is None else float(track.load[start])
            sums, x = StrokeSums(self.settings.forces), float(track.rope[start])
            self.growing = StrokeAccumulator(1, track.first + start, x, load, sums)
            self.growing.slack = max(0.0, x - max(lowest, _rest_m(self._before["x"], start)))
            if "load" in self._before:
                self.growing.load_rest = float(
                    self._before["load"][PAST + start - LOAD_RESTS_CELLS]
                )
        while start < stop:
            cells, turned = self.growing.add(track, start, min(stop, start + WINDOW))
            pending.waiting.append(cells)
            begin, start = start, cells.stop
            if not self.growing.moves:
                taken = slice(PAST + begin, PAST + start)
                self.growing.begin_after_pause(
                    self._before["x"][taken.start - PAUSE_CELLS : taken.stop],
                    self._before["load"][taken] if "load" in self._before else None,
                    track.first + begin,
                )
            if turned:
                pending.sum_up()
                self._came_to_rest(self.growing, track.first, start)
                other = self.growing.turned(track, start)
                self._keep(self.growing)
                self.growing = other

    def _came_to_rest(self, stroke: StrokeAccumulator, first: int, stop: int) -> None:
        """Let a stroke that ends before cell `stop` of a track keep the rope at the load's rest; first: the track's first cell."""
        stroke.came_to_rest(self._before["x"][stop : PAST + stop], first + stop)

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
            stroke.by_load = self._means_by_load(stroke)
            self._ended.append(stroke)
            self._pulled = stroke if stroke.sign > 0 else None
            if stroke.sign > 0:
                self._hauled_m, self._by_load = stroke.travel, stroke.by_load
            if len(self._ended) >= TOGETHER:
                self._evaluate()
        return True

    @property
    def over_rope(self) -> bool:
        """Whether means of the last haul stroke are over the rope."""
        return self._by_load is False

    def _means_by_load(self, stroke: StrokeAccumulator) -> bool:
        """Whether means of a stroke are over the load's travel: its counter's steps are fine, or as before."""
        share = stroke.load_cells / max(stroke.rope_cells, 1)
        if self._by_load is not None and BORDER[0] <= share <= BORDER[1]:
            return self._by_load
        return share > FINE

    def _end_stroke(self, rope: float | None = None) -> None:
        """End the growing stroke, and follow from there the rope that is fed back.

        rope: where it is as the tension goes off, m; None: it counts as where it was furthest.
        """
        stroke, self.growing = self.growing, None
        if stroke is None:
            return
        if rope is not None and self._only_tugged(stroke, rope):
            self.tugs, self._fed, self._pulled = self.tugs + 1, None, None
            return
        kept = self._keep(stroke)
        if rope is not None and not kept and self._drop_tug(stroke, rope):
            return
        if stroke.sign > 0:
            self._fed = _fed(stroke.best, stroke.last, stroke.load_best)
            self._fed.force_N = max(0.0, stroke.peak)
        elif not kept:
            self._fed = _fed(stroke.x0, stroke.first, stroke.load0)

    def _let_off(self, first: int, start: int, steady_N: float) -> None:
        """Complete what is kept of rope fed back, as cell `start` of a track begins with the tension off.

        first: the track's first cell; steady_N: the steady haul force there.
        """
        if self._fed is None:
            return
        off_N = max(OFF_FLOOR_SHARE * self.settings.floor_N, OFF_SHARE * steady_N)
        lately = self._before["force"][PAST + start - STROKE_END_CELLS : PAST + start] >= off_N
        quiet = int(lately[::-1].argmax()) if lately.any() else STROKE_END_CELLS
        self._fed.off, self._fed.hauled_m = first + start - quiet, self._hauled_m
        self._fed.full_N = BEARS_SHARE * steady_N

    def _drop_tug(self, back: StrokeAccumulator, rope: float) -> bool:
        """Drop the haul stroke before `back` where it only stretched the rope; whether it did.

        back: rope that sprang back, no stroke; rope: where it is as the tension goes off, m.
        """
        pulled, self._pulled = self._pulled, None
        if pulled is None or pulled.best != back.x0 or not self._only_tugged(pulled, rope):
            return False
        (self._ended or self._strokes).pop()
        self.tugs, self._fed = self.tugs + 1, None
        return True

    def _only_tugged(self, stroke: StrokeAccumulator, rope: float) -> bool:
        """Whether a stroke only stretched the rope, which springs back with the tension; the load stood.

        A turn between pull and spring-back leaves a stroke that goes back to where the pull began.
        rope: where it is as the tension goes off, m.
        """
        if stroke.sign < 0 or stroke.travel < TURN_M:
            return False
        if (stroke.best - rope) < TUG_SHARE * stroke.travel:
            return False
        load = stroke.load_top - stroke.load0
        return not self.settings.counted or load * self.settings.ratio < 0.2 * stroke.travel

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
        soon = fed.off + SPRING_CELLS + 1 - (track.first + start)
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
        fed = self._fed or self._undecided
        if fed is None:
            return None
        rope_m, soon_m = fed.end - fed.lowest, fed.end - fed.soon
        springs_m = max(fed.force_N * self.settings.stretch_m_per_N, SPRINGS * self._taken_m)
        if not is_last_reset(rope_m, soon_m, fed.hauled_m, springs_m):
            return None
        return self._reset(fed)

    def _reset(self, fed: _Fed) -> Reset | None:
        """The reset of rope fed back; None where it is too little."""
        rope = fed.end - fed.lowest
        if not is_reset(rope, fed.hauled_m):
            return None
        setback = fed.load - fed.load_now if self.settings.counted else None
        return Reset(
            start_s=fed.begin / RATE,
            end_s=(fed.lowest_cell + 1) / RATE,
            rope_m=rope,
            setback_m=setback,
            rig=self.rig,
        )

    def _bears(self, track: CellTrack, start: int, stop: int) -> None:
        """Decide about rope fed back as soon as the next pull, in cells start..stop, stretches the rope again."""
        assert track.rope is not None and self._undecided is not None
        full = track.forces[0, start:stop] >= self._undecided.full_N
        if full.any():
            self._decide(float(track.rope[start + int(full.argmax()) + 1]))

    def _decide(self, rope: float) -> None:
        """Keep rope fed back before the stroke that grows as a reset, if it did not spring back.

        Rope that springs back comes in again before the load moves: under the same force it is where it was.
        rope: where it is as the stroke bears the load, m.
        """
        fed, self._undecided = self._undecided, None
        if fed is None:
            return
        self._taken_m = max(0.0, rope - fed.lowest)
        reset = self._reset(fed) if is_reset(fed.end - rope, fed.hauled_m) else None
        if reset is not None and len(self.resets) < MOST_STROKES:
            self.resets.append(reset)

    def current(self) -> Stroke | None:
        """The growing stroke; None where there is none or it is too short yet."""
        stroke, ratio, counted = self.growing, self.settings.ratio, self.settings.counted
        if stroke is None or stroke.travel < TURN_M or not stroke.lowers(ratio, counted):
            return None
        stroke.by_load = self._means_by_load(stroke)
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


def _rest_m(rope: Floats, start: int) -> float:
    """Rope at its last rest before cell `start`, m.  rope: (PAST + n,) at the end of each cell, m."""
    near = rope[start : PAST + start]
    rests = np.flatnonzero(near[RESTS_CELLS:] - near[:-RESTS_CELLS] <= RESTS_M)
    return float(near[int(rests[-1]) if len(rests) else 0 :].min())


def _running_max(values: Floats, cells: int) -> Floats:
    """Largest of each `cells` consecutive values, (n - cells + 1,), from values (n,)."""
    result, reach = values, 1
    while reach < cells:
        step = min(reach, cells - reach)
        result = np.maximum(result[step:], result[:-step])
        reach += step
    return result
