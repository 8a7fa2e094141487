"""Estimates lags between channels from the ripple of a steady haul, and corrects mean forces for them.

Devices filter, buffer and send, so the force of one moment is paired with the travel of another.  Where
force and speed both ripple with the hands, a mean over distance is off by their covariance.  `LagSums`
therefore keeps sums at fixed lags over the steady hauling of a session: distance, force x distance, and
the correlation between the changes of two cells.  Boundaries of strokes never depend on these lags.

Two cells feel the same rope at the same time, so they are aligned where their changes correlate best.
The lag of the rope counter may come from `lag_from_edges` or from the delays that the sensors file
states.  Otherwise a steady haul cannot give it, because the force may ripple with the speed or with its
change, depending on rope and load.  It is then taken as the difference of two delays of up to 0.3 s
each: a triangular distribution, over which means are averaged and whose standard deviation is the
uncertainty (JCGM 100, 4.3.9).  Lags at which the force, weighted by rope, varies less count more, as
hands that stop and go stop force and rope together.  That does not hold for weights by load travel: a
load that jerks moves while the force falls, and a late cell, which shows the break-away force instead,
varies least.

Where the load has no counter, rope stands for its way, and a rope loses some of the work: see `mean_through_stops`.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from analysis.numeric import weighted_mean
from analysis.signals.lag_from_edges import NO_LAG, Lag
from analysis.signals.lag_from_stretch import StretchSums
from analysis.signals.mean_over_time import MOST_MOVES, MotionSums, TimeMeans
from analysis.signals.mean_through_stops import StopSums
from analysis.signals.time_cells import RATE, Bools, Floats, Ints
from logger.channels.channel import Channel

# cells between two lags of the sums over travel; speed only: values between are interpolated
STEP = 2
MOST = 10  # cells, 0.31 s: longest delay of a device; chosen by us: as MOST_DELAY_S of the sensors file, 0.3 s
REACH = 2 * MOST  # cells; derived: a lag of travel and one between cells
KEEP = 4 * RATE  # cells kept for the next block; memory only: more than RECENT and REACH need
RECENT = 48  # cells between two pulls of a steady haul, at most; chosen by us: 1.5 s, hands change faster
# rope that goes back faster is let go or lowered; chosen by us, no reason is on record
RUNS_BACK_M_S = 0.1
# share of the steady haul force that shows a pull, hauling and lowering; chosen by us: below it hands change;
# pulleys that lose a quarter each let a 9:1 be lowered by a third of the force that hauls it
PULLED, HELD = 0.6, 0.25
# share of the steady haul force by which the rope is a spring, and its stretch shows; chosen by us: clear of slack rope
TENSE = 0.3
# rope given back under tension as fast as this is lowered; chosen by us: half of RUNS_BACK_M_S, above the
# last digit of a counter
GIVES_BACK_M_S = 0.05
# of steady hauling, before means are corrected; chosen by us: 3 s hold several pulls of the hands
LEAST_CELLS = 3 * RATE
# share of the strokes' steady rope that the sums must hold, before means are corrected; chosen by us: of 500 undisturbed
# sessions two fell below it, at 0.01 and 0.22
STANDS_FOR = 0.5
# share of the strokes' steady rope that the sums hold, below which what they miss is an uncertainty, and that uncertainty /
# ripple of the force where they hold nothing; chosen by us: undisturbed hauls hold more, and held by
# tests/coverage/test_stop_and_go.py
HOLDS, MISSED = 0.8, 0.5
# names of components of a budget
LAG, BOTH_MEANS = "lag between channels", "mean over time and over distance"
# relative standard uncertainty where the sums hold nothing, and rope, m, from which on they should hold some; chosen by us:
# the load stops in each pull, so the steady parts leave much of the motion out; ten pulls of a hand, as the sums leave out
# a second at both ends of a stroke; held as above
NOTHING_U, TEN_PULLS_M = 0.06, 6.0
# seconds of steady hauling that are used; chosen by us: a device keeps its delay, so more is not needed
ENOUGH = 600
# exponent of the weight of a lag, by how little the force varies along the rope; chosen by us, and held by
# the coverage of U95 in tests/coverage/test_simulator_a.py and test_simulator_b.py
SHARP = 2
# weight of the wide distribution of lags where the rope counter's lag was measured; chosen by us: rope
# stretched between hands does not follow the load when the force ripples
STAYS = 0.25
# weight of the wide distribution of lags where the stretch of the rope shows them; chosen by us, and held by the coverage
# tests: of a hundred hauls that stop and go one or two fitted at a wrong lag
FITS_BY_CHANCE = 0.06
# share by which means over rope and over load travel may differ, as a standard uncertainty; chosen by us,
# and held by the coverage tests
ROPE_OR_LOAD = 0.04
# share of a correction that is its standard uncertainty; chosen by us: the sums cover steady hauling alone
MISFIT = 0.1
# relative probability below which a lag is no possible one; chosen by us: that of 3 standard uncertainties
LEAST_LIKELY = 0.011
# standard uncertainties by which the two means may differ; chosen by us: normal errors exceed it once in 370
AGREE = 3.0
# weight of the mean over time above which a budget names it; chosen by us: it changes the value then
BY_TIME = 0.05
# least correlation between the changes of two cells on the same rope; chosen by us: noise gives about 0, one
# rope about 1
ALIKE = 0.6
PADDING = 8 * RATE  # derived: more than the sums are late, in whole seconds
TRAVEL_LAGS = np.arange(-REACH, REACH + 1, STEP)
CELL_LAGS = np.arange(-MOST - 2, MOST + 3)
DOUBT = np.arange(-MOST, MOST + 1)
STATED = np.arange(-REACH, REACH + 1)
LIKELY = (MOST + 1.0 - np.abs(DOUBT)) / np.sum(MOST + 1.0 - np.abs(DOUBT))


@dataclass(frozen=True)
class ChannelLag:
    """The lag of one force channel, and what it does to means over distance."""

    behind_s: float | None = None  # lag behind the haul cell; None: not determined
    factor: float = 1.0  # mean force over distance, corrected for the lag / as sent
    factor_u: float = 0.0  # standard uncertainty of factor
    ratio: float = 1.0  # (force / haul force), corrected / as sent
    ratio_u: float = 0.0  # standard uncertainty of ratio
    by_time: float = 0.0  # weight of the mean over time in `factor`; the rest is over distance
    lost_u: float = 0.0  # part of factor_u by what the rope loses

    @property
    def component(self) -> str:
        """Name of the component of a budget that `factor_u` or `ratio_u` is."""
        return BOTH_MEANS if self.by_time > BY_TIME else LAG


def stated(counter: Channel | None, cell: Channel | None) -> Lag | None:
    """The lag of a counter behind a cell by the delays in the sensors file; None where one is missing."""
    if counter is None or cell is None:
        return None
    late, early = (counter.delay_s, counter.delay_u_s), (cell.delay_s, cell.delay_u_s)
    if late[0] is None or late[1] is None or early[0] is None or early[1] is None:
        return None
    return Lag(late[0] - early[0], math.hypot(late[1], early[1]), 0)


class LagSums:
    """Running sums over the steady hauling or lowering of a session, at fixed lags.  Row 0: rope, row 1: load.

    forces: number of force channels, the haul cell first.
    sign: 1 for hauling, -1 for lowering.
    distance: (2,) rope hauled and load travel, m.
    cells: (2,) number of cells in which each moved.
    sums: (2, forces, lags) force x distance, J, at TRAVEL_LAGS.
    square: (2, lags) haul force squared x distance, N^2 m.
    changes: (forces, 3, lags) dF0 dFj, dF0^2 and dFj^2, N^2, at CELL_LAGS; F0 is the haul force.
    seconds: number of seconds with steady hauling.
    motion: sums over motion that never stops.
    stretch: sums by which the stretch of the rope shows the lags of both counters.
    stops: sums that bound what the load resists where means are over the rope.
    """

    def __init__(self, forces: int, sign: int = 1) -> None:
        self.forces, self.sign = forces, sign
        self.distance, self.cells = np.zeros(2), np.zeros(2)
        self.sums = np.zeros((2, forces, len(TRAVEL_LAGS)))
        self.square = np.zeros((2, len(TRAVEL_LAGS)))
        self.changes = np.zeros((forces, 3, len(CELL_LAGS)))
        self.seconds = 0
        self.motion = MotionSums(forces, TRAVEL_LAGS)
        self.stretch = StretchSums()
        self.stops = StopSums(TRAVEL_LAGS)
        self._past: Floats | None = None

    @property
    def wanted(self) -> bool:
        """Whether more seconds are used."""
        return self.seconds < ENOUGH

    def fork(self) -> LagSums:
        """Return a copy that grows independently."""
        other = copy.copy(self)  # arrays are never written to
        other.motion, other.stretch = self.motion.fork(), self.stretch.fork()
        other.stops = self.stops.fork()
        return other

    def ended(self) -> LagSums:
        """A copy with the cells that still wait for those behind them, as if the session ended here."""
        if self._past is None:
            return self
        other = self.fork()
        none = np.full(PADDING, np.nan)
        other.push(np.full((self.forces, PADDING), np.nan), none, none, none)
        return other

    def push(
        self,
        forces: ArrayLike,
        rope: Floats,
        load: Floats | None,
        steady: Floats,
        ratio: float = 1.0,
    ) -> None:
        """Add the whole seconds that the segmentation uses.

        forces: N, (forces, n); rope, load: travel in each cell, m, (n,); steady: the steady haul force
        before each cell, N, (n,), NaN while there is none; ratio: rope at the haul / load travel of the rig.
        """
        n, f = len(rope), self.forces
        travel = np.zeros(n) if load is None else load
        new = (*np.asarray(forces), rope, travel, steady)
        if self._past is None:
            self._past = np.full((len(new), KEEP), np.nan)
        if self.sign < 0 and n >= KEEP and self._nothing_lowered(new):
            self._past = np.vstack([row[-KEEP:] for row in new])
            return
        rows = np.concatenate((self._past, np.vstack(new)), axis=1)
        self._past = rows[:, -KEEP:].copy()
        here = KEEP - RECENT - MOST - 5  # delayed, so that every lag looks at cells that are there
        pulled = _pulled(self.sign, rows[0], rows[f], rows[-1])
        rows[f : f + 2] *= self.sign
        reached = _within(pulled, RECENT) & _within(pulled[::-1], RECENT)[::-1]
        measured = np.isfinite(rows[:f]).all(axis=0)
        forth = np.nan_to_num(rows[f]) > -RUNS_BACK_M_S / RATE
        good = _all_around(measured, REACH) & _all_around(reached & forth, MOST + 4)
        good = good[here : here + n]
        if load is not None and self.sign > 0 and self.stretch.wanted:
            tense = measured & (rows[0] >= TENSE * rows[-1])
            self.stretch.push(rows[0], rows[f], ratio * rows[f + 1], tense, here, n)
        some = np.cumsum(good.reshape(-1, RATE).any(axis=1))
        good &= np.repeat(some <= ENOUGH - self.seconds, RATE)
        if good.any() or not self.motion.idle:
            self.motion.push(rows[:f, here : here + n], rows[f : f + 2, here : here + n], good)
        if self.sign > 0:
            self.stops.push(rows[0, here : here + n], rows[f, here : here + n], good)
        if not good.any():
            return
        self.seconds = min(ENOUGH, self.seconds + int(some[-1]))
        travels = [np.where(good, np.fmax(rows[f + w, here : here + n], 0.0), 0.0) for w in (0, 1)]
        counted = range(1 if load is None else 2)
        sums = np.zeros((n // RATE, *self.sums.shape))
        square = np.zeros((n // RATE, *self.square.shape))
        for j in range(f):
            for i, lag in enumerate(TRAVEL_LAGS):
                value = np.where(good, rows[j, here + lag : here + lag + n], 0.0)
                for w in counted:
                    work = travels[w] * value
                    sums[:, w, j, i] = by_second(work)
                    if j == 0:
                        square[:, w, i] = by_second(work * value)
        self.sums = in_order(self.sums, sums)
        self.square = in_order(self.square, square)
        distance = np.stack([by_second(travel) for travel in travels], axis=1)
        self.distance = in_order(self.distance, distance)
        self.cells = self.cells + [np.count_nonzero(travel > 0) for travel in travels]
        if f > 1:
            self._compare(rows[:f], good, here, n)

    def _nothing_lowered(self, new: Sequence[Floats]) -> bool:
        """Whether neither the new rows, as `push` has them, nor those kept hold a cell of lowering."""
        if not self.motion.idle:
            return False
        return not any(
            _pulled(-1, rows[0], rows[self.forces], rows[-1]).any() for rows in (new, self._past)
            if rows is not None
        )  # fmt: skip

    def _compare(self, forces: Floats, good: Bools, here: int, n: int) -> None:
        """Add the products of the changes of the haul force with those of the other channels."""
        change = np.diff(forces, axis=1, prepend=np.nan)
        own = np.where(good, change[0, here : here + n], 0.0)
        pairs = np.zeros((n // RATE, *self.changes.shape))
        for j in range(1, self.forces):
            for i, lag in enumerate(CELL_LAGS):
                other = np.where(good, change[j, here + lag : here + lag + n], 0.0)
                pairs[:, j, 0, i] = by_second(own * other)
                pairs[:, j, 2, i] = by_second(other * other)
        pairs[:, :, 1, :] = by_second(own * own)[:, None, None]
        self.changes = in_order(self.changes, pairs)

    def result(
        self,
        seen: Lag = NO_LAG,
        rope: Lag | None = None,
        load: Lag | None = None,
        cells: Sequence[Lag | None] = (),
        by_rope: bool = False,
        sent: Sequence[float] | None = None,
        steady_m: float = 0.0,
        ripple: float = 0.0,
        at_load: bool = False,
    ) -> tuple[ChannelLag, ...]:
        """The lag of each force channel and the correction of its means, the haul cell first.

        seen: the rope counter's lag by `lag_from_edges`; rope, load, cells: lags behind the haul cell
        by the sensors file (`stated`) of rope counter, load counter and each force channel; by_rope: means over
        the rope even where there are those over the load's travel; sent: mean of each force channel over
        the distance of the strokes as sent, N, which the corrections are for; None: of the sums;
        steady_m: rope in the steady parts of the strokes, m.  Where the sums hold less than STANDS_FOR of it, as where
        rope springs back at every change of hands, they show no correction.
        ripple: standard deviation / mean of the haul force along the strokes, by which the means of what the sums do not hold
        may be off.
        at_load: means over the rope stand for those over the load's distance, without what the rope loses (`mean_through_stops`).
        """
        lags = self._seen(seen, rope, load, cells, by_rope, sent, steady_m, at_load)
        if self.seconds >= ENOUGH or steady_m < TEN_PULLS_M:
            return lags
        held = float(self.distance[0]) / steady_m
        missed_u = MISSED * ripple * math.sqrt(max(0.0, 1 - held / HOLDS))
        if held == 0:
            missed_u = math.hypot(missed_u, NOTHING_U)
        return lags if missed_u == 0 else tuple(_missed(lag, missed_u) for lag in lags)

    def _seen(
        self,
        seen: Lag,
        rope: Lag | None,
        load: Lag | None,
        cells: Sequence[Lag | None],
        by_rope: bool,
        sent: Sequence[float] | None,
        steady_m: float,
        at_load: bool,
    ) -> tuple[ChannelLag, ...]:
        """`result` as far as the sums show it."""
        # load travel, where its counter's steps are fine
        w = int(not by_rope and self.cells[1] > 0.5 * self.cells[0])
        if not self.distance[w] > 0 or not self.sums[w, :, REACH // STEP].all():
            return (ChannelLag(),) * self.forces
        if self.seconds >= ENOUGH or (sent is not None and not np.all(np.isfinite(sent))):
            sent = None  # later strokes are not in the sums
        apart = (*cells, *[None] * (self.forces - len(cells)))
        too_few = self.cells[w] < LEAST_CELLS
        if self.seconds < ENOUGH and self.distance[0] < STANDS_FOR * steady_m:
            too_few = True
        above = self.stops.above() if at_load and w == 0 else None
        return self._result(w, seen, load if w else rope, apart, sent, too_few, above)

    def likely(
        self, w: int, seen: Lag = NO_LAG, by_file: Lag | None = None, steady_m: float = 0.0
    ) -> tuple[float, ...]:
        """Probability of each of STATED as the lag of the haul cell behind counter w, 0 rope or 1 load.

        seen, steady_m: as for `result`; by_file: the counter's lag behind the haul cell by the sensors file.  It is what
        `result` weighs its means with.  Where the motion never stops, the mean over time says which mean over distance is
        right, so each lag also counts by how near its mean comes to that (a normal density of the mean over time).
        """
        if by_file is not None:
            likely = _near(by_file, STATED)
        else:
            likely = np.zeros(len(STATED))
            likely[REACH - MOST : REACH + MOST + 1] = self._likely(
                w, seen, self._stands_for(steady_m)
            )
        if self._stands_for(steady_m) and self.distance[w] > 0 and self.sums[w, 0].all():
            likely = self._by_times(w, likely)
        return tuple((likely / likely.sum()).tolist())

    def _stands_for(self, steady_m: float) -> bool:
        """Whether the sums hold enough of the strokes' steady rope, steady_m."""
        return self.seconds >= ENOUGH or bool(self.distance[0] >= STANDS_FOR * steady_m)

    def _by_times(self, w: int, likely: Floats) -> Floats:
        """Probabilities of STATED, (k,), weighed by the mean over time of counter w where it counts; any scale."""
        times = self.motion.means(w, float(self.distance[w]))
        if times is None or not times.steady:
            return likely
        near = STATED[likely > LEAST_LIKELY * likely.max()]
        if times.roots(np.interp(near, TRAVEL_LAGS, times.distance_N[0])) != 1:
            return likely
        mean = self.sums[w, 0] / self.distance[w]
        factor = np.interp(STATED, TRAVEL_LAGS, mean) / mean[REACH // STEP]
        right = float(times.by_time[0])
        u = math.hypot(times.u, MISFIT * (right - 1))
        weighed: Floats = likely * np.exp(-0.5 * ((factor - right) / u) ** 2)
        # the two contradict each other: the resistance is not steady
        return likely if weighed.sum() < LEAST_LIKELY * likely.sum() else weighed

    def apart(self, cells: Sequence[Lag | None]) -> tuple[tuple[float, float], ...]:
        """(lag behind the haul cell, its standard uncertainty), cells, of each force channel; 0 where it is not known.

        cells: as for `result`.
        """
        behind_cell = []
        for j in range(self.forces):
            behind, by_file = self._behind(j), cells[j] if j < len(cells) else None
            if behind is not None:
                behind_cell.append((behind, 0.0))
            elif by_file is not None:
                behind_cell.append(((by_file.lag_s or 0.0) * RATE, (by_file.u_s or 0.0) * RATE))
            else:
                behind_cell.append((0.0, 0.0))
        return tuple(behind_cell)

    def _result(
        self,
        w: int,
        seen: Lag,
        by_file: Lag | None,
        apart: Sequence[Lag | None],
        sent: Sequence[float] | None,
        too_few: bool,
        above: Floats | None,
    ) -> tuple[ChannelLag, ...]:
        """`result` by counter w; by_file: its lag behind the haul cell by the sensors file; too_few: what was summed
        shows no correction; above: of `StopSums`, where means are over the rope and are to be those at the load."""
        mean = self.sums[w] / self.distance[w]
        if by_file is not None:
            lags, likely = STATED, _near(by_file, STATED)
            possible = likely
        else:
            lags, likely, possible = DOUBT, self._likely(w, seen), LIKELY
        likely = likely / likely.sum()
        lost = None
        if above is not None:
            lost = 1 - 1 / (1 + np.interp(lags, TRAVEL_LAGS, above))
        channels = [
            self._channel_lag(mean, j, lags, likely, lag, lost) for j, lag in enumerate(apart)
        ]
        if too_few:
            return tuple(_doubted(lag) for lag in channels)
        if lost is not None:
            return tuple(channels)
        times = self.motion.means(w, float(self.distance[w]))
        if times is None or not times.steady:
            return tuple(channels)
        near = lags[possible > LEAST_LIKELY * possible.max()]
        if times.roots(np.interp(near, TRAVEL_LAGS, times.distance_N[0])) != 1:
            return tuple(channels)
        return _with_times(channels, times, None if sent is None else np.asarray(sent))

    def _likely(self, w: int, seen: Lag, summed: bool = True) -> Floats:
        """Relative probability of each lag of DOUBT, where none is stated, (k,).

        w: the counter, 0 rope or 1 load; seen: as for `result`; summed: whether the sums stand for the haul.
        """
        likely, haul = LIKELY.copy(), None
        if summed and self.distance[w] > 0:
            mean = self.sums[w, 0] / self.distance[w]
            haul = np.interp(DOUBT, TRAVEL_LAGS, mean)
            spread = self.square[w] / self.distance[w] - mean**2
            spread = np.interp(DOUBT, TRAVEL_LAGS, np.maximum(spread, 0.0)) + (0.01 * mean[0]) ** 2
            if w == 0:
                likely = LIKELY * (spread.min() / spread) ** SHARP
        if (
            w == 1
            and haul is not None
            and seen.lag_s is not None
            and seen.u_s
            and self.distance[0] > 0
        ):
            # nothing shows the load counter's own lag, but the mean over rope is corrected already
            by_rope = np.interp(DOUBT, TRAVEL_LAGS, self.sums[0, 0] / self.distance[0])
            near = _near(seen, DOUBT)
            if near.sum() > 0.1:
                likely = likely * np.exp(
                    -0.5 * ((haul / float(near @ by_rope / near.sum()) - 1) / ROPE_OR_LOAD) ** 2
                )
        by_stretch = self._by_stretch()
        if by_stretch is not None and (w == 1 or seen.lag_s is None):
            at = _near(by_stretch[w], DOUBT)
            if at.sum() > 0.1:
                likely = FITS_BY_CHANCE * LIKELY + (1 - FITS_BY_CHANCE) * at / at.sum()
        if w == 0 and seen.lag_s is not None and seen.u_s:
            at = _near(seen, DOUBT)
            if at.sum() > 0.1:
                likely = STAYS * likely / likely.sum() + (1 - STAYS) * at / at.sum()
        return likely if likely.sum() > 1e-9 else LIKELY.copy()

    def _by_stretch(self) -> tuple[Lag, Lag] | None:
        """The lags of rope and load counter by the rope's stretch, where the load stops again and again; else None."""
        lags = self.stretch.result()
        if lags is None:
            return None
        moved_m = float(self.distance[1])
        times = self.motion.means(1, moved_m)
        return None if times is not None and times.share >= MOST_MOVES else lags

    def _channel_lag(
        self,
        means: Floats,
        j: int,
        lags: Ints,
        likely: Floats,
        apart: Lag | None,
        lost: Floats | None,
    ) -> ChannelLag:
        """Lag and correction of force channel j.

        means: mean forces over distance, N, (forces, TRAVEL_LAGS); likely: probability of each of
        `lags` (cells), (k,); apart: the channel's lag by the sensors file, used where the changes of
        the two cells do not correlate; lost: (k,) share of the mean over the rope that the rope loses at the most, at
        each lag; None: means are as they are.

        With a share between 0 and d lost, a mean m over the rope is m (1 - d / 2) at the load, with the variance
        (m d)^2 / 12 (rectangular, JCGM 100, 4.3.7).  Over lags of probability p the variance is the sum of p (m d)^2 / 12
        and the variance of m (1 - d / 2) (law of total variance).  All cells share the rope, so their ratios stay.
        """
        behind, doubt = self._behind(j), 0.0
        if behind is None and apart is not None:
            behind, doubt = (apart.lag_s or 0.0) * RATE, (apart.u_s or 0.0) * RATE
        haul = np.interp(lags, TRAVEL_LAGS, means[0])
        here = np.interp(lags + (behind or 0.0), TRAVEL_LAGS, means[j])
        now, haul_now = (float(means[i, REACH // STEP]) for i in (j, 0))
        share = np.zeros(len(lags)) if lost is None else lost
        factor, u = _mean_and_u(here / now * (1 - share / 2), likely)
        lost_u = math.sqrt(float(likely @ (here / now * share) ** 2) / 12)
        ratio, ratio_u = _mean_and_u(here / haul * (haul_now / now), likely)
        if behind is None:  # each against the travel by itself
            own, _ = _mean_and_u(haul / haul_now * (1 - share / 2), likely)
            ratio, ratio_u = factor / own, u * 2**0.5
        u, ratio_u = (
            float(np.hypot(a, MISFIT * abs(b - 1))) for a, b in ((u, factor), (ratio_u, ratio))
        )
        if doubt:
            early, late = (
                float(likely @ np.interp(lags + (behind or 0.0) + d, TRAVEL_LAGS, means[j])) / now
                for d in (-doubt, doubt)
            )
            u, ratio_u = (float(np.hypot(a, (late - early) / 2)) for a in (u, ratio_u))
        return ChannelLag(
            behind_s=None if behind is None else behind / RATE,
            factor=factor,
            factor_u=math.hypot(u, lost_u),
            ratio=ratio,
            ratio_u=ratio_u,
            by_time=0.0 if lost is None else 0.5,
            lost_u=lost_u,
        )

    def _behind(self, j: int) -> float | None:
        """Lag of channel j behind the haul cell by correlation, in cells; None where it is too weak."""
        if j == 0:
            return 0.0
        both, one, other = self.changes[j]
        with np.errstate(all="ignore"):
            alike = both / np.sqrt(one * other)
        if not np.all(np.isfinite(alike)) or alike.max() < ALIKE:
            return None
        k = int(np.argmax(alike))
        if not 0 < k < len(alike) - 1:
            return None
        before, most, after = (float(x) for x in alike[k - 1 : k + 2])
        bend = before - 2 * most + after
        return float(CELL_LAGS[k]) + (0.5 * (before - after) / bend if bend < 0 else 0.0)


def _doubted(lag: ChannelLag) -> ChannelLag:
    """No correction, and the estimated one as its uncertainty: where too little was hauled."""
    return ChannelLag(
        None,
        factor_u=math.hypot(lag.factor_u, lag.factor - 1),
        ratio_u=math.hypot(lag.ratio_u, lag.ratio - 1),
    )


def _missed(lag: ChannelLag, u: float) -> ChannelLag:
    """The lag with the relative standard uncertainty u by motion that the sums do not hold."""
    return replace(lag, factor_u=math.hypot(lag.factor_u, u), ratio_u=math.hypot(lag.ratio_u, u))


def _with_times(
    channels: Sequence[ChannelLag], times: TimeMeans, sent: Floats | None
) -> tuple[ChannelLag, ...]:
    """The channels' corrections combined with those by the means over time.

    sent: (forces,) means of the strokes as sent, N, as for `result`.

    Both are least squares means of two correlated estimates.  What is common to both is that their sums cover
    the steady motion alone (MISFIT).  Where the two estimates of the haul force differ by more than AGREE standard
    uncertainties, the resistance is not steady, and the channels stay as they are.
    """
    combined = []
    by_times = times.by_time if sent is None else times.mean_N / sent
    for channel, by_time in zip(channels, by_times.tolist(), strict=True):
        factor = _both(channel.factor, channel.factor_u, by_time, times.u)
        ratio = _both(channel.ratio, channel.ratio_u, by_time / float(by_times[0]), times.ratio_u)
        if factor is None:
            return tuple(channels)
        combined.append(replace(channel, factor=factor[0], factor_u=factor[1], by_time=factor[2]))
        if ratio is not None:
            combined[-1] = replace(combined[-1], ratio=ratio[0], ratio_u=ratio[1])
    return tuple(combined)


def _both(
    one: float, one_u: float, other: float, other_u: float
) -> tuple[float, float, float] | None:
    """Two corrections combined: (factor, its u, weight of `other`); None where they contradict each other.

    one, one_u: over distance, MISFIT in its u; other, other_u: over time, without it.
    """
    common = MISFIT**2 * (one - 1) * (other - 1)
    other_u = math.hypot(other_u, MISFIT * (other - 1))
    if abs(one - other) > AGREE * math.sqrt(max(0.0, one_u**2 + other_u**2 - 2 * common)):
        return None
    correlation = common / (one_u * other_u) if one_u * other_u > 0 else 0.0
    return weighted_mean(one, one_u, other, other_u, min(max(correlation, -1.0), 1.0))


def _near(counter: Lag, lags: Ints) -> Floats:
    """Relative probability, at most 1, of each of these lags (cells), (k,), given a counter's lag."""
    u = max((counter.u_s or 0.0) * RATE, 0.5)
    return np.asarray(np.exp(-0.5 * ((lags + (counter.lag_s or 0.0) * RATE) / u) ** 2))


def _mean_and_u(values: Floats, likely: Floats) -> tuple[float, float]:
    """Mean and standard deviation of values (k,) with probabilities `likely` (k,)."""
    mean = float(likely @ values)
    return mean, float(np.sqrt(likely @ (values - mean) ** 2))


def _pulled(sign: int, force: Floats, rope: Floats, steady: Floats) -> Bools:
    """Whether the team pulls in each cell, (n,), or while lowering (sign -1) gives rope back under tension.

    force, steady: N; rope: hauled in each cell, m; NaN where not known.
    """
    result: Bools = force >= (PULLED if sign > 0 else HELD) * steady
    return result & (rope < -GIVES_BACK_M_S / RATE) if sign < 0 else result


def _within(so: Bools, cells: int) -> Bools:
    """Whether `so` (n,) is true in each cell or in one of the `cells` before it."""
    last = np.where(so, np.arange(len(so)), -cells - 1)
    result: Bools = np.arange(len(so)) - np.maximum.accumulate(last) <= cells
    return result


def _all_around(so: Bools, cells: int) -> Bools:
    """Whether `so` (n,) is true in every cell up to `cells` away; False near the ends."""
    count = np.concatenate(([0], np.cumsum(so)))
    width = 2 * cells + 1
    result = np.zeros(len(so), bool)
    result[cells : len(so) - cells] = count[width:] - count[:-width] == width
    return result


def by_second(values: Floats | Bools) -> Floats:
    """Sum of values (n,) over each second, (n / RATE,): the same cells however the block was cut."""
    return np.asarray(values.reshape(-1, RATE).sum(axis=1))


def in_order(start: Floats, rows: Floats) -> Floats:
    """Add rows (k, ...) to start (...), one after the other, so that the sum does not depend on the cut.

    Units: those of start.
    """
    return np.asarray(np.add.accumulate(np.concatenate((start[None], rows)), axis=0)[-1])
