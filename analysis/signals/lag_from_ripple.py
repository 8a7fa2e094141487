"""How much later one channel speaks than another, and what that does to means over distance.

Devices filter, buffer and send; the force of one moment then meets the travel of another.  Where
force and speed both ripple with the hands, a mean over distance is off by their covariance.  So
sums at fixed lags run along over the steady hauling of a session: distance and force x distance,
and how the changes of one cell go with those of another.  Boundaries of strokes never depend on
them.

Two cells feel the same rope at the same time, so they are aligned where their changes correlate
best.  Where the tension is let off, `lag` may see the rope counter's.  Else force against travel
can't be aligned from a steady haul without knowing rope and load: the
force may ripple with the speed or with its change.  Its lag is taken as the difference of two
delays, each anything up to 0.3 s: a triangle, over which means are taken and whose standard
deviation counts as uncertainty (JCGM 100, 4.3.9); where the sensors file states both delays, their
difference and its uncertainty go in its place.  Lags at which the force, weighted with the
rope's distance, varies less are likelier: hands that stop and go stop force and rope together.  Not
so with the load's distance: a load that jerks moves while the force falls, and the force of the
break-away, which a late cell shows instead, varies least.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.signals.lag_from_edges import NO_LAG, Lag
from analysis.signals.time_cells import RATE, Bools, Floats, Ints
from logger.channels.channel import Channel

STEP = 2  # cells between two lags of the sums over travel; speed only: what lies between is interpolated
MOST = 10  # cells, 0.31 s: delays of one device; chosen by us: as MOST_DELAY_S of the sensors file, 0.3 s
REACH = 2 * MOST  # cells; derived: a lag of travel and one between cells
KEEP = 4 * RATE  # cells kept for the next block; memory only: more than RECENT and REACH ask for
RECENT = 48  # cells within which a hand has pulled, and pulls again; chosen by us: 1.5 s, hands change faster
# rope that runs back faster is let go or lowered; chosen by us, no reason is on record
RUNS_BACK_M_S = 0.1
# of steady hauling, before anything is corrected by it; chosen by us: 3 s hold some pulls of the hands
LEAST_CELLS = 3 * RATE
# seconds with steady hauling; chosen by us: devices keep their delays, so more is not looked at
ENOUGH = 600
# power by which a lag counts at which the force varies less along the rope; chosen by us, and held by
# the coverage of U95 in tests/coverage/test_simulator_a.py and test_simulator_b.py
SHARP = 2
# share of the doubt that stays where the rope counter's lag is known; chosen by us: rope that stretches
# between hands has not the load's way, and the more the force ripples the more that does
STAYS = 0.25
# share by which means over the rope's and the load's way may well differ; chosen by us, and held by the
# coverage tests
TWO_WAYS = 0.04
# of a correction, as its standard uncertainty; chosen by us: it is found over a part of the way alone
MISFIT = 0.1
# correlation of the changes of two cells that belongs to the same rope; chosen by us: noise gives about 0,
# one rope about 1
ALIKE = 0.6
WAY_LAGS = np.arange(-REACH, REACH + 1, STEP)
CELL_LAGS = np.arange(-MOST - 2, MOST + 3)
DOUBT = np.arange(-MOST, MOST + 1)
STATED = np.arange(-REACH, REACH + 1)
LIKELY = (MOST + 1.0 - np.abs(DOUBT)) / np.sum(MOST + 1.0 - np.abs(DOUBT))


@dataclass(frozen=True)
class ChannelLag:
    """One force channel.  behind_s: by how much it speaks later than the haul cell, None where
    the data do not tell; factor, factor_u: mean over distance with the lag allowed for / as it was
    sent, and its standard uncertainty; ratio, ratio_u: the same of force / haul force."""

    behind_s: float | None = None
    factor: float = 1.0
    factor_u: float = 0.0
    ratio: float = 1.0
    ratio_u: float = 0.0


def stated(counter: Channel | None, cell: Channel | None) -> Lag | None:
    """How much later the counter speaks than the cell by the sensors file, None: it does not say."""
    if counter is None or cell is None:
        return None
    late, early = (counter.delay_s, counter.delay_u_s), (cell.delay_s, cell.delay_u_s)
    if late[0] is None or late[1] is None or early[0] is None or early[1] is None:
        return None
    return Lag(late[0] - early[0], math.hypot(late[1], early[1]), 0)


class LagSums:
    """Running sums; `push` the same whole seconds as the segmentation sees."""

    def __init__(self, forces: int) -> None:
        self.forces = forces
        # per way (rope, load): distance, then per channel and lag force x distance
        self.distance, self.cells = np.zeros(2), np.zeros(2)
        self.sums = np.zeros((2, forces, len(WAY_LAGS)))
        self.square = np.zeros((2, len(WAY_LAGS)))  # the haul force squared x distance
        self.changes = np.zeros((forces, 3, len(CELL_LAGS)))  # dF0 dFj, dF0^2, dFj^2
        self.seconds = 0
        self._past: Floats | None = None

    @property
    def wanted(self) -> bool:
        """Whether more is looked at."""
        return self.seconds < ENOUGH

    def fork(self) -> LagSums:
        return copy.copy(self)

    def push(self, forces: ArrayLike, rope: Floats, load: Floats | None, steady: Floats) -> None:
        """forces (f, n), rope and load: way in each cell (n,), steady (n,): the steady force
        known before each cell, NaN while there is none."""
        n, f = len(rope), self.forces
        rows = np.vstack((*np.asarray(forces), rope, np.zeros(n) if load is None else load, steady))
        if self._past is None:
            self._past = np.full((len(rows), KEEP), np.nan)
        rows = np.concatenate((self._past, rows), axis=1)
        self._past = rows[:, -KEEP:].copy()
        here = KEEP - RECENT - MOST - 5  # delayed, so that every lag looks at cells that are there
        pulled = np.nan_to_num(rows[0], nan=-np.inf) >= 0.6 * np.nan_to_num(rows[-1], nan=np.inf)
        reached = _within(pulled, RECENT) & _within(pulled[::-1], RECENT)[::-1]
        known = np.isfinite(rows[:f]).all(axis=0)
        forth = np.nan_to_num(rows[f]) > -RUNS_BACK_M_S / RATE
        good = _all_around(known, REACH) & _all_around(reached & forth, MOST + 4)
        good = good[here : here + n]
        some = np.cumsum(good.reshape(-1, RATE).any(axis=1))
        good &= np.repeat(some <= ENOUGH - self.seconds, RATE)
        if not good.any():
            return
        self.seconds = min(ENOUGH, self.seconds + int(some[-1]))
        ways = [np.where(good, np.fmax(rows[f + w, here : here + n], 0.0), 0.0) for w in (0, 1)]
        some_ways = range(1 if load is None else 2)
        sums = np.zeros((n // RATE, *self.sums.shape))
        square = np.zeros((n // RATE, *self.square.shape))
        for j in range(f):
            for i, lag in enumerate(WAY_LAGS):
                value = np.where(good, rows[j, here + lag : here + lag + n], 0.0)
                for w in some_ways:
                    part = ways[w] * value
                    sums[:, w, j, i] = by_second(part)
                    if j == 0:
                        square[:, w, i] = by_second(part * value)
        self.sums = in_order(self.sums, sums)
        self.square = in_order(self.square, square)
        distance = np.stack([by_second(way) for way in ways], axis=1)
        self.distance = in_order(self.distance, distance)
        self.cells = self.cells + [np.count_nonzero(way > 0) for way in ways]
        if f > 1:
            self._compare(rows[:f], good, here, n)

    def _compare(self, forces: Floats, good: Bools, here: int, n: int) -> None:
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
    ) -> tuple[ChannelLag, ...]:
        """What the sums tell now, per force channel, the haul cell first.

        seen: the rope counter's lag where tension was let off; rope, load, cells: these counters'
        and each force channel's lag behind the haul cell as they are `stated`.
        """
        apart = (*cells, *[None] * (self.forces - len(cells)))
        w = int(self.cells[1] > 0.5 * self.cells[0])  # the load's way, where its counter is fine
        if not self.distance[w] > 0:
            return (ChannelLag(),) * self.forces
        mean = self.sums[w] / self.distance[w]
        if not mean[:, REACH // STEP].all():
            return (ChannelLag(),) * self.forces
        known = load if w else rope
        enough = bool(self.cells[w] >= LEAST_CELLS)
        if known is not None:
            likely = _near(known, STATED)
            likely /= likely.sum()
            found = [self._of(mean, j, STATED, likely, lag) for j, lag in enumerate(apart)]
            return tuple(lag if enough else _doubted(lag) for lag in found)
        haul = np.interp(DOUBT, WAY_LAGS, mean[0])
        spread = self.square[w] / self.distance[w] - mean[0] ** 2
        spread = np.interp(DOUBT, WAY_LAGS, np.maximum(spread, 0.0)) + (0.01 * mean[0, 0]) ** 2
        likely = LIKELY.copy() if w else LIKELY * (spread.min() / spread) ** SHARP
        if w == 1 and seen.lag_s is not None and seen.u_s and self.distance[0] > 0:
            # the load counter's own lag is not seen, but the mean over the rope's way is known
            by_rope = np.interp(DOUBT, WAY_LAGS, self.sums[0, 0] / self.distance[0])
            near = _near(seen, DOUBT)
            if near.sum() > 0.1:
                likely = likely * np.exp(
                    -0.5 * ((haul / float(near @ by_rope / near.sum()) - 1) / TWO_WAYS) ** 2
                )
        if w == 0 and seen.lag_s is not None and seen.u_s:
            at = _near(seen, DOUBT)
            if at.sum() > 0.1:
                likely = STAYS * likely / likely.sum() + (1 - STAYS) * at / at.sum()
        if not likely.sum() > 1e-9:
            likely = LIKELY.copy()
        likely /= likely.sum()
        found = [self._of(mean, j, DOUBT, likely, lag) for j, lag in enumerate(apart)]
        return tuple(lag if enough else _doubted(lag) for lag in found)

    def _of(
        self, means: Floats, j: int, lags: Ints, likely: Floats, apart: Lag | None
    ) -> ChannelLag:
        """means (f, WAY_LAGS): mean force over distance; likely: how likely each of `lags` is;
        apart: the channel's lag behind the haul cell as it is stated, believed where the two cells'
        changes do not tell it."""
        behind, doubt = self._behind(j), 0.0
        if behind is None and apart is not None:
            behind, doubt = (apart.lag_s or 0.0) * RATE, (apart.u_s or 0.0) * RATE
        haul = np.interp(lags, WAY_LAGS, means[0])
        here = np.interp(lags + (behind or 0.0), WAY_LAGS, means[j])
        now, haul_now = (float(means[i, REACH // STEP]) for i in (j, 0))
        factor, u = _mean_and_u(here / now, likely)
        ratio, ratio_u = _mean_and_u(here / haul * (haul_now / now), likely)
        if behind is None:  # each against the travel by itself
            ratio, ratio_u = factor / _mean_and_u(haul / haul_now, likely)[0], u * 2**0.5
        u, ratio_u = (
            float(np.hypot(a, MISFIT * abs(b - 1))) for a, b in ((u, factor), (ratio_u, ratio))
        )
        if doubt:
            early, late = (
                float(likely @ np.interp(lags + (behind or 0.0) + d, WAY_LAGS, means[j])) / now
                for d in (-doubt, doubt)
            )
            u, ratio_u = (float(np.hypot(a, (late - early) / 2)) for a in (u, ratio_u))
        return ChannelLag(
            behind_s=None if behind is None else behind / RATE,
            factor=factor,
            factor_u=u,
            ratio=ratio,
            ratio_u=ratio_u,
        )

    def _behind(self, j: int) -> float | None:
        """Lag of channel j behind the haul cell, in cells."""
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
    """Nothing corrected, the correction that was found as its doubt: from too little hauling."""
    return ChannelLag(
        None,
        factor_u=math.hypot(lag.factor_u, lag.factor - 1),
        ratio_u=math.hypot(lag.ratio_u, lag.ratio - 1),
    )


def _near(known: Lag, lags: Ints) -> Floats:
    """How likely each of these lags (cells) is, by a counter's lag as it was seen or stated; 1 at most."""
    u = max((known.u_s or 0.0) * RATE, 0.5)
    return np.asarray(np.exp(-0.5 * ((lags + (known.lag_s or 0.0) * RATE) / u) ** 2))


def _mean_and_u(values: Floats, likely: Floats) -> tuple[float, float]:
    """Mean and standard deviation over the lags that are in doubt."""
    mean = float(likely @ values)
    return mean, float(np.sqrt(likely @ (values - mean) ** 2))


def _within(so: Bools, cells: int) -> Bools:
    """Whether it was so in this cell or one of the `cells` before."""
    last = np.where(so, np.arange(len(so)), -cells - 1)
    result: Bools = np.arange(len(so)) - np.maximum.accumulate(last) <= cells
    return result


def _all_around(so: Bools, cells: int) -> Bools:
    """Whether it is so in every cell up to `cells` away; False near the ends."""
    count = np.concatenate(([0], np.cumsum(so)))
    width = 2 * cells + 1
    result = np.zeros(len(so), bool)
    result[cells : len(so) - cells] = count[width:] - count[:-width] == width
    return result


def by_second(values: Floats | Bools) -> Floats:
    """Sums over seconds: always over the same cells, so the cut leaves no mark."""
    return np.asarray(values.reshape(-1, RATE).sum(axis=1))


def in_order(start: Floats, rows: Floats) -> Floats:
    """start plus rows, one after the other."""
    return np.asarray(np.add.accumulate(np.concatenate((start[None], rows)), axis=0)[-1])
