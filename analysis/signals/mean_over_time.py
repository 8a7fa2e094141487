"""Computes mean forces over time, which need no lag between force and travel, from motion that never stops.

While the load moves, m dv/dt = F - R, F the force on it along its way and R what it resists.  Let w(t) be a
weight that is 0 at both ends.  Impulse and energy balance are then

    integral of w (F - R) dt = - m integral of w' v dt,
    integral of w v (F - R) dt = - (m / 2) integral of w' v^2 dt.

The right sides vanish where w is constant from the load's first to its last motion (v = 0 at both ends),
and nearly so where w changes slowly over whole cycles of the hands.  So for a constant R the mean of F over
time (weight w) and its mean over distance (weight w v) both are R, and their difference, the covariance of
F and v over the mean of v, is zero.  The same holds of the haul force, which is F / MA while the load moves.

A force that is shifted against the travel by a lag changes its mean over distance by the covariance at
that lag, but its mean over time not at all.  So the mean over time needs no lag, and the true lag is a root
of the difference.  Rope that loses energy when it stretches and contracts (hysteresis) adds to the
mean over the rope's distance and does not change the mean over time.

Limits, by the same two balances:

- The load must not stand: while it does, F - R is taken by friction at rest, and the mean over time is too
  low.  A load counter shows it.  Without one, rope that hardly moves shows it, but a soft rope moves while
  the load stands, so a share of the force's own deviation is a further uncertainty (UNSEEN).
- R must not depend on speed, or the trend must show in slow changes of speed, and is corrected: R = R0 (1 + a (v / mean v - 1)) has the difference a var(v) / (mean v)^2 at
  the true lag.  Half of the resistance proportional to speed (a = 0.5) with var(v) / (mean v)^2 = 0.104 gives
  5.2 %, and moves the root by 45 ms at typical ripples of hands.
- R must not change by place within a cycle of the hands: 20 % do 4.9 % and 50 ms.  A slow change by place does
  nothing here, because the weight over time is w times the mean speed of some seconds around, which cannot
  tell lags of 0.3 s but follows the way.
- The covariance has two roots a cycle of the hands: at 2 Hz they lie 0.25 s apart, so more than one lies within
  the lags that two devices may have.

`MotionSums` finds the motion that never stops and keeps its sums; `TimeMeans` tells from them whether the
limits hold.  The two means are combined in `lag_from_ripple`.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass

import numpy as np

from analysis.signals.time_cells import RATE, Bools, Floats, Ints

# cells of the window that shows whether something moves (WINDOW), and share of the mean speed so far below which it
# stands, of rope and of load; chosen by us: a quarter of a second is less than hands take to change, and a counter
# has several steps in it; rope that stretches moves while the load stands already, so its share is larger
WINDOW = 8
# of rope and of load; chosen by us: as above
STANDS = (0.5, 0.15)
# cells next to a stand that are left out, and over which the weight rises behind them; derived: as the lags of the
# sums (REACH of `lag_from_ripple`); chosen by us: 1.5 s, about one cycle of the hands
MARGIN, RAMP = 20, 48
# cells to either side of a moving mean that is taken twice for the slow speed; chosen by us: 2 s, more than a cycle
# of the hands, and twice, as a single one leaves a fifth of their ripple
SLOW = RATE
LONG = (
    3 * RATE
)  # cells of motion that is no single pull; chosen by us: slow heaving takes 2 to 3 s a pull
PAST = 8 * RATE  # cells kept; derived: AHEAD and more than LONG behind it
AHEAD = 4 * RATE  # derived: LONG and the second by which motion is known later
# cells, of full weight, below which there is no mean over time; chosen by us: 3 s, as for means over distance
LEAST_CELLS = 3 * RATE
# weights of the seconds of a slow mean, by which trends are seen, and how many of them count as one independent
# value; chosen by us: 3 s, two cycles of the hands and more, taken twice; derived: 9^2 / (1 + 4 + 9 + 4 + 1)
SECONDS, APART = (1.0, 2.0, 3.0, 2.0, 1.0), 4.26
SLOW_SUMS, RUN_SUMS = 7, 4  # derived: columns of `_slow_sums` and `_run_sums`
NO_RUN = (0, 0.0, 0.0)  # derived: a motion of no slow mean yet
_Run = tuple[int, float, float]  # slow means of one motion: number, mean force N, mean speed m
LEAST_APART = 4  # independent slow means for a trend with place; derived: 2 degrees of freedom
UNIT_M = 2.0**-30  # travel is rounded to it, so that sums are exact in any order; rounding only
# share of the haul that must be motion of LONG without a stop; chosen by us: the greater part by far
MOST_MOVES = 0.6
# standard uncertainties by which a trend must exceed 0; chosen by us: normal errors do so once in 370
SURE = 3.0
# standard uncertainties by which a trend with speed must exceed 0, where it rises with speed; chosen by us: it is
# corrected, and stays within its uncertainty where there is none
SURE_BY_SPEED = 2.0
# largest trend with speed: all of the resistance is proportional to it; derived
WHOLLY = 1.0
# share of a trend seen in slow changes of speed that is its standard uncertainty for those of the hands, which are
# ten times as large; chosen by us
EXTRAPOLATED = 0.25
# least difference of the two means by a trend with speed, and least change of the force by place over the whole
# way, that count; chosen by us: half of the uncertainty of a usual cell; more than ground does on an even slope
BY_SPEED, BY_PLACE = 0.005, 0.15
# standard deviation / mean of place, and of speed within a motion, below which slow means show no trend; chosen by us:
# less than a tenth of the way; what the moving means leave of the hands' ripple is below 0.005
LEAST_PLACE, LEAST_SPEED = 0.03, 0.01
# standard deviation / mean of the slow means of the force, above which the resistance is not steady; chosen by us:
# on even ground strokes and places differ by 0.03 at most
UNSTEADY = 0.04
# relative change of the resistance per relative change of the speed that is expected where none is seen, as a
# standard uncertainty; chosen by us: friction of dry and rolling surfaces hardly depends on speed
EXPECTED_BY_SPEED = 0.03
# share of the uncertainty of a trend, or of the largest likely one, that counts where none is seen; chosen by us:
# such loads are rare: one in four hundred, half of whose resistance is proportional to speed
UNSEEN_BY_SPEED, LIKELY_BY_SPEED = 0.05, 0.5
# share of the force's own deviation that is the standard uncertainty by a load that stands unseen; chosen by us
# and held by the coverage tests
UNSEEN = 0.2
# relative standard uncertainties of the mean over time, and of a ratio of two; chosen by us: resistance
# that happens to vary with the hands, and held by the coverage tests
RANDOM, RANDOM_RATIO = 0.003, 0.001


@dataclass(frozen=True)
class TimeMeans:
    """Means over time and over distance of the same motion that never stops."""

    time_N: Floats  # (forces,) means over time
    distance_N: Floats  # (forces, lags) means over distance at the lags of the sums
    share: float  # of the haul's travel that is motion of LONG without a stop
    force_sd: float  # standard deviation of the haul force / its mean
    speed_sd: float  # standard deviation of the speed / its mean
    by_speed: float  # relative change of the haul force / relative change of the slow speed
    by_speed_u: float  # its standard uncertainty; inf: no trend can be seen
    by_place: float  # relative change of the slow haul force over the whole way
    by_place_u: float  # its standard uncertainty
    by_load: bool  # whether a load counter shows the motion; False: the rope counter
    slow_sd: float = 0.0  # standard deviation of the slow means of the haul force / its mean
    slow_by_speed: float = 0.0  # the deviation among it that a trend with speed explains
    covered: float = 1.0  # share of the haul's travel that the means cover

    @property
    def by_time(self) -> Floats:
        """(forces,) mean over distance by that over time / as sent."""
        return np.asarray(self.mean_N / self.distance_N[:, self.distance_N.shape[1] // 2])

    @property
    def u(self) -> float:
        """Relative standard uncertainty of a mean over time, if the resistance is steady."""
        unseen = 0.0 if self.by_load else UNSEEN * self.force_sd
        if self.shows_speed:
            trend = math.hypot(self.by_speed_u, EXTRAPOLATED * self.by_speed)
        else:
            trend = math.hypot(
                EXPECTED_BY_SPEED, UNSEEN_BY_SPEED * min(self.by_speed_u, LIKELY_BY_SPEED)
            )
        elsewhere = self.unexplained * (1 - self.covered)
        return math.hypot(RANDOM, trend * self.speed_sd**2, unseen, elsewhere)

    @property
    def shows_speed(self) -> bool:
        """Whether the resistance shows a trend with speed that matters."""
        apart = abs(self.by_speed) * self.speed_sd**2
        sure = SURE_BY_SPEED if self.by_speed > 0 else SURE
        return apart > BY_SPEED and abs(self.by_speed) > sure * self.by_speed_u

    @property
    def unexplained(self) -> float:
        """`slow_sd` less what a trend with speed that shows explains."""
        explained = self.slow_by_speed if self.shows_speed else 0.0
        return math.sqrt(max(0.0, self.slow_sd**2 - explained**2))

    @property
    def mean_N(self) -> Floats:
        """(forces,) means over distance that those over time give, N.

        A resistance R0 (1 + a (v / mean v - 1)) adds a var(v) / (mean v)^2 to the mean over distance.
        """
        more = self.by_speed * self.speed_sd**2 if self.shows_speed else 0.0
        return np.asarray(self.time_N * (1 + more))

    @property
    def ratio_u(self) -> float:
        """Relative standard uncertainty of a ratio of two means over time."""
        return math.hypot(RANDOM_RATIO, 0.0 if self.by_load else UNSEEN * self.force_sd)

    @property
    def steady(self) -> bool:
        """Whether the load moves without a stop, and its resistance shows no trend that cannot be corrected."""
        if not self.share >= MOST_MOVES or not np.all(self.time_N > 0):
            return False
        by_speed = self.shows_speed and not (self.by_load and 0 < self.by_speed < WHOLLY)
        by_place = abs(self.by_place) > max(BY_PLACE, SURE * self.by_place_u)
        return not by_speed and not by_place and self.unexplained <= UNSTEADY

    def roots(self, near: Floats) -> int:
        """Number of lags at which mean over time and over distance of the haul force agree.

        near: (n,) means of the haul force over distance at the possible lags, N, in order of the lags.
        Differences within the uncertainty of the mean over time belong to the root beside them.
        """
        apart = near / self.mean_N[0] - 1
        if np.abs(apart).max() <= self.u:
            return 1
        sign = np.sign(apart)[np.abs(apart) > self.u]
        crossed = int(np.count_nonzero(sign[1:] != sign[:-1]))
        at_ends = int(abs(apart[0]) <= self.u) + int(abs(apart[-1]) <= self.u)
        return crossed + at_ends


class MotionSums:
    """Running sums over motion that never stops.  Row 0: by the rope counter, row 1: by the load counter.

    time: (2,) weight over time; distance: (2, 2) weight over distance, and travel of long motion, m.
    over_time: (2, forces) force x weight; over_distance: (2, forces, lags) likewise, at `lags`.
    square: (2, 4) haul force squared, cells, speed and its square, each x its weight.
    slow: (2, SLOW_SUMS + RUN_SUMS) sums of slow means, as `_slow_sums` and `_run_sums` make them.
    """

    def __init__(self, forces: int, lags: Ints) -> None:
        """forces: number of force channels; lags: cells, of the means over distance."""
        self._lags = lags
        self.time = np.zeros(2)
        self.distance = np.zeros((2, 2))
        self.over_time = np.zeros((2, forces))
        self.over_distance = np.zeros((2, forces, len(lags)))
        self.square = np.zeros((2, 4))
        self.slow = np.zeros((2, SLOW_SUMS + RUN_SUMS))
        self._run = [
            NO_RUN
        ] * 2  # slow means of the motion so far: number, mean force N, mean speed m
        self._mean = np.zeros((2, 3))  # travel and cells of the haul so far; place
        self._past: Floats | None = None  # forces and travels of the last PAST cells
        self._moves: Bools = np.zeros((2, PAST - RATE), bool)

    def fork(self) -> MotionSums:
        """Return a copy that grows independently."""
        other = copy.copy(self)  # arrays are never written to
        other._run = list(self._run)
        return other

    @property
    def idle(self) -> bool:
        """Whether seconds that are no steady haul would change nothing."""
        return self._past is None or not (self._past.any() or self._moves.any())

    def push(self, forces: Floats, travels: Floats, good: Bools) -> None:
        """Add whole seconds.

        forces: (forces, n) N; travels: (2, n) of rope and load in each cell, m, zero where not counted;
        good: (n,) whether a cell belongs to the steady haul.
        """
        n, f = len(good), len(forces)
        travels = np.where(good, np.nan_to_num(travels), 0.0)
        travels = np.rint(travels / UNIT_M) * UNIT_M
        rows = np.concatenate((np.where(good, forces, 0.0), travels, good[None]))
        if self._past is None:
            self._past = np.zeros((len(rows), PAST))
        rows = np.concatenate((self._past, rows), axis=1)
        self._past = rows[:, -PAST:].copy()
        total = np.stack((_by_second(travels), _by_second(travels > 0)), axis=2)
        so_far = np.cumsum(np.concatenate((self._mean[:, None, :2], total), axis=1), axis=1)
        speed = so_far[:, 1:, 0] / np.maximum(so_far[:, 1:, 1], 1.0)
        mean = self._mean.copy()
        mean[:, :2] = so_far[:, -1]
        moves = np.zeros((2, PAST - RATE + n), bool)
        moves[:, : PAST - RATE] = self._moves
        fresh = slice(PAST - RATE, PAST - RATE + n)
        for k in (0, 1):
            moves[k, fresh] = _moves(
                rows[f + k], rows[-1] > 0, np.repeat(STANDS[k] * speed[k], RATE)
            )
        self._moves = moves[:, -(PAST - RATE) :].copy()
        for k in (0, 1):
            if not moves[k].any():
                self._run[k] = NO_RUN
            else:
                mean[k, 2] = self._add(k, rows, moves[k], n, f)
        self._mean = mean

    def _add(self, k: int, rows: Floats, moves: Bools, n: int, f: int) -> float:
        """Add n cells of one counter, k, to the sums; return the place behind them, m.

        rows: forces and travels as `push` keeps them; moves: whether each cell is motion; f: forces.
        """
        begin = PAST - AHEAD
        here = slice(begin, begin + n)
        travel = rows[f + k]
        along = np.where(moves, travel[: len(moves)], 0.0)
        place = self._mean[k, 2] + np.cumsum(along[here].reshape(-1, RATE).sum(axis=1))
        weight, long = (values[here] for values in _weight(moves))
        if not weight.any() and not long.any():
            self._run[k] = NO_RUN
            return float(place[-1])
        over_time = weight * slow_speed(along)[here]
        over_distance = weight * travel[here]
        near = rows[0, here]
        smooth = sum(travel[begin + s : begin + s + n] for s in range(-2, 3)) / 5
        time, distance = _by_second(over_time), _by_second(over_distance)
        self.time = _grown(self.time, k, time)
        travelled = np.stack((distance, _by_second(np.where(long, travel[here], 0.0))), axis=1)
        self.distance = _grown(self.distance, k, travelled)
        self.over_time = _grown(self.over_time, k, np.stack([_by_second(over_time * rows[j, here]) for j in range(f)], axis=1))  # fmt: skip
        shifted = [
            [_by_second(over_distance * rows[j, begin + s : begin + s + n]) for s in self._lags]
            for j in range(f)
        ]
        self.over_distance = _grown(self.over_distance, k, np.moveaxis(np.array(shifted), -1, 0))
        squares = (over_time * near**2, weight, weight * smooth, weight * smooth**2)
        self.square = _grown(self.square, k, np.stack([_by_second(s) for s in squares], axis=1))
        slow = _slow_sums(rows[0], along, moves, begin, place)
        within, self._run[k] = _run_sums(slow, self._run[k])
        self.slow = _grown(self.slow, k, np.concatenate((slow, within), axis=1))
        return float(place[-1])

    def means(self, k: int, travel_m: float) -> TimeMeans | None:
        """The means by counter k, 0 rope or 1 load; None without motion.  travel_m: of the steady haul."""
        if not self.time[k] > 0 or not self.distance[k, 0] > 0 or not travel_m > 0:
            return None
        time = self.over_time[k] / self.time[k]
        square, cells, speed, speed_2 = self.square[k].tolist()
        if cells < LEAST_CELLS:
            return None
        spread = max(0.0, square / self.time[k] - float(time[0]) ** 2)
        mean_speed = speed / cells
        var_speed = max(0.0, speed_2 / cells - mean_speed**2)
        slow_sd, slow_by_speed = _slow_sds(self.slow[k])
        (by_speed, by_speed_u), (by_place, by_place_u) = _trends(self.slow[k])
        return TimeMeans(
            time_N=time,
            distance_N=self.over_distance[k] / self.distance[k, 0],
            share=float(self.distance[k, 1]) / travel_m,
            force_sd=math.sqrt(spread) / max(abs(float(time[0])), 1e-9),
            speed_sd=math.sqrt(var_speed) / max(mean_speed, 1e-12),
            by_speed=by_speed,
            by_speed_u=by_speed_u,
            by_place=by_place,
            by_place_u=by_place_u,
            by_load=k == 1,
            slow_sd=slow_sd,
            slow_by_speed=slow_by_speed,
            covered=min(1.0, float(self.distance[k, 0]) / travel_m),
        )


def _by_second(values: Floats | Bools) -> Floats:
    """Sum of values (..., n) over each second, (..., n / RATE), the same however the cells were cut."""
    return np.asarray(values.reshape(*values.shape[:-1], -1, RATE).sum(axis=-1))


def _grown(start: Floats, k: int, rows: Floats) -> Floats:
    """A copy of start (2, ...) with rows (seconds, ...) added to its row k one after the other; units of start."""
    result = start.copy()
    result[k] = np.add.accumulate(np.concatenate((start[k][None], rows)), axis=0)[-1]
    return result


def _moves(travel: Floats, good: Bools, least: Floats) -> Bools:
    """Whether each of the n cells that are RATE late moves, (n,).

    travel: (PAST + n,) m a cell; good: (PAST + n,); least: (n,) travel of a cell below which it stands, m.
    """
    n, begin = len(least), PAST - RATE
    around = travel[begin - WINDOW // 2 : begin - WINDOW // 2 + n].copy()
    for s in range(1 - WINDOW // 2, WINDOW // 2):
        around += travel[begin + s : begin + s + n]
    result: Bools = good[begin : begin + n] & (around > WINDOW * least)
    return result


def _weight(moves: Bools) -> tuple[Floats, Bools]:
    """Weight of each cell, (m,), and whether it belongs to motion of LONG, (m,).  moves: (m,).

    The weight is 0 near a stand, rises over RAMP cells and is 1 within motion.
    """
    at = np.arange(len(moves))
    before = at - np.maximum.accumulate(np.where(moves, -1, at))
    after = (at - np.maximum.accumulate(np.where(moves[::-1], -1, at)))[::-1]
    share = np.clip((np.minimum(before, after) - MARGIN) / RAMP, 0.0, 1.0)
    long: Bools = moves & (before + after > LONG)
    return np.asarray(np.sin(math.pi / 2 * share) ** 2), long


def slow_speed(along: Floats) -> Floats:
    """Travel of the motion around each cell, m, (m,), by a moving mean taken twice.  along: (m,) m."""
    at = np.arange(len(along))
    low, high = np.maximum(at - SLOW, 0), np.minimum(at + SLOW + 1, len(along))
    travel = along
    for _ in range(2):  # sums of whole multiples of UNIT_M, so exact in any order
        total = np.cumsum(np.concatenate(([0.0], travel)))
        travel = total[high] - total[low]
    return np.asarray(travel / (2 * SLOW + 1) ** 2)


def _slow_sums(force: Floats, along: Floats, moves: Bools, begin: int, place: Floats) -> Floats:
    """Number of slow means that end in each second, and their sums, (seconds, SLOW_SUMS).

    A slow mean covers the seconds of SECONDS, of motion alone.  The sums are of force, its square, speed, place,
    its square and force x place.  force: N, along: m, moves: as `_add` has them; begin: their first new cell;
    place: (seconds,) at the end of each new second, m.
    """
    seconds, span = len(place), len(SECONDS)
    cells = slice(begin - (span - 1) * RATE, begin + seconds * RATE)
    whole: Bools = np.asarray(moves[cells].reshape(-1, RATE).all(axis=1))
    force_N, travel = _by_second(force[cells]), _by_second(along[cells])
    some: Bools = np.ones(seconds, bool)
    mean, speed = np.zeros(seconds), np.zeros(seconds)
    for s, weight in enumerate(SECONDS):
        near = slice(s, s + seconds)
        some = np.logical_and(some, whole[near])
        mean, speed = mean + weight * force_N[near], speed + weight * travel[near]
    mean, speed = mean / (sum(SECONDS) * RATE), speed / sum(SECONDS)
    table = (mean**0, mean, mean**2, speed, place, place**2, mean * place)
    return np.where(some[:, None], np.stack(table, axis=1), 0.0)


def _run_sums(slow: Floats, run: _Run) -> tuple[Floats, _Run]:
    """Sums of slow means about the mean of their own motion, (seconds, RUN_SUMS), and the motion that goes on.

    slow: (seconds, SLOW_SUMS) of `_slow_sums`; run: the motion before.  The sums are number less one a motion, speed
    squared, force x speed, and force squared, updated value by value (Welford, 1962, from memory).
    """
    sums = np.zeros((len(slow), RUN_SUMS))
    number, force, speed = run
    for k, row in enumerate(slow[:, :4].tolist()):
        if not row[0]:
            number, force, speed = NO_RUN
            continue
        stronger, faster, share = row[1] - force, row[3] - speed, number / (number + 1)
        if number:
            sums[k] = (1.0, share * faster**2, share * faster * stronger, share * stronger**2)
        number, force, speed = (
            number + 1,
            force + stronger / (number + 1),
            speed + faster / (number + 1),
        )
    return sums, (number, force, speed)


_Trend = tuple[float, float]  # slope and its standard uncertainty
NO_TREND: _Trend = (0.0, math.inf)


def _trends(sums: Floats) -> tuple[_Trend, _Trend]:
    """Trend of the slow means with speed and with place, and their standard uncertainties.

    sums: (SLOW_SUMS + RUN_SUMS,), as `MotionSums.slow`.  Straight lines by least squares; slow means overlap, so APART of them
    count as one.  With speed: relative change of the force per relative change of speed, within one motion,
    as strokes differ by more than their speed; with place: relative change over the whole way, taken as
    sqrt(12) standard deviations of place.
    """
    number = float(sums[0])
    if number <= 0 or not sums[1] > 0:
        return NO_TREND, NO_TREND
    force, force_2, speed, place, place_2, by_place = (sums[1:7] / number).tolist()
    with_speed = _line(
        sums[7] / APART - 1, sums[8:] / max(sums[7], 1.0), LEAST_SPEED * speed, speed / force
    )
    var = (place_2 - place * place, by_place - place * force, max(0.0, force_2 - force**2))
    whole_m = math.sqrt(12 * max(0.0, var[0]))
    with_place = NO_TREND
    if number / APART >= LEAST_APART:
        with_place = _line(number / APART - 1, np.array(var), LEAST_PLACE * place, whole_m / force)
    return with_speed, with_place


def _line(apart: float, var: Floats, least: float, scale: float) -> _Trend:
    """Slope x scale of a straight line, and its standard uncertainty; no trend where x changes too little.

    apart: independent values less those that gave their means; var: (3,) mean x^2, x y and y^2; least:
    standard deviation of x that shows a trend.
    """
    xx, xy, yy = var.tolist()
    if apart < 1 or not xx > least**2:
        return NO_TREND
    slope = xy / xx
    rest = max(0.0, yy - slope * xy)
    return slope * scale, math.sqrt(rest / xx / max(apart - 1, 1.0)) * scale


def _slow_sds(sums: Floats) -> tuple[float, float]:
    """Standard deviation of the slow means of the force, and by speed alone, / their mean; 0 without any.

    sums: as `_trends` has them.
    """
    if not sums[0] > 0 or not sums[1] > 0:
        return 0.0, 0.0
    mean, square = (sums[1:3] / sums[0]).tolist()
    number, speed_2, both = sums[SLOW_SUMS : SLOW_SUMS + 3].tolist()
    by_speed = math.sqrt(both**2 / speed_2 / number) if speed_2 > 0 else 0.0
    return math.sqrt(max(0.0, square - mean**2)) / mean, by_speed / mean
