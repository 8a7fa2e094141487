"""Estimates the lag of the rope counter behind the haul cell, from releases and take-ups of tension.

While tension is released the load stands and the rope is a spring: the force begins to fall when rope
begins to go back.  The lag is the time between these two kinks.  Other times are unusable: while the
load moves, force and rope may have any phase (spring, mass and friction lie between them), and at the
beginning of a take-up slack rope runs before any force appears.

A stiff rope that is let go first and fed back a little later gives the same picture as a lag.  So the
lag is accepted only where rope moves while the force still falls, or while it still rises in take-ups,
or where take-ups without slack show the same lag; and where the rope is about equally stiff in
releases and take-ups.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass

import numpy as np

from analysis.messages.message import Message, message
from analysis.signals.time_cells import RATE, Floats

# The numbers of this file are chosen by us, each for the reason beside it.  With them a lag that was set is
# recovered, and none is reported where there is none: tests/unit/analysis/signals/test_lag_from_edges.py
# cells, largest lag either way: 0.6 s; chosen by us: twice the delay of one device, 0.3 s
REACH = 20
PAST, LATER = 136, 21  # cells examined before and after the tension goes off ...
UP_PAST, UP_LATER = 40, 120  # ... and before and after it comes on
# derived: PAST = LONGEST + 2 REACH, LATER = REACH + 1, UP_PAST = 2 REACH, UP_LATER = LONGEST + REACH and a little
LONGEST = 96  # cells that a release or take-up may last; chosen by us: 3 s
# releases, and take-ups, that are examined; chosen by us: the devices' lag does not change
MOST = 64
LEAST_S = 0.04  # smallest lag with an effect; chosen by us: about a cell, 0.031 s
# number of lags needed, and their largest median deviation; chosen by us: the fewest with a middle one,
# and about a cell and a half
LEAST, FEW_S = 3, 0.05
# share of the steepest fall below which the force does not fall yet; chosen by us: hands that ease
# before they let go fall less steeply
STEEP = 0.25
# rope that counts as motion, and the least that must have moved at the end; chosen by us: above the steps
# of a counter of some millimetres, and several times that
EARLY_M, LATE_M = 0.006, 0.03
EARLY = 0.15  # share of the force before, below which it is zero; chosen by us: as ON_SHARE of `segmentation`
# share of the time between readings by which their straight line begins to fall too early; chosen by us,
# and held by test_lag_from_edges.py at 13 to 80 readings a second
SMEARED = 0.25
# force lost after two cells / after one, below which the fall is sudden; chosen by us: a step gives 1, a
# line 1.5 to 2 (derived)
SUDDEN = 1.4
# shares of the steady force; the stiffness is taken between LOW and HIGH; chosen by us: clear of slack
# rope below and of the even pull above
LOW, HIGH, FULL = 0.2, 0.6, 0.9
# share of the time that the force falls, within which rope that moves is rope that springs back;
# chosen by us: surely before the end of the fall
QUICK = 0.8
# limits of rope given per newton in take-ups / in releases; chosen by us: wide, as they only have to
# reject rope that was let go first and fed back later
SOFTER, STIFFER = 0.15, 4.0
# least share of a take-up's stretch that appears without the lag too; chosen by us: enough to show that
# rope moved while the force rose
STRETCH = 0.25
# standard uncertainty by the width of a cell, and by a rope with friction; chosen by us: above a cell as a
# rectangular distribution, 0.031 s / sqrt(12) = 0.009 s (JCGM 100, 4.3.7), and twice that
RESOLVED_S, DAMPED_S = 0.012, 0.02


@dataclass(frozen=True)
class Lag:
    """The lag of a counter behind the haul cell."""

    lag_s: float | None  # positive where the counter is later; None: not determined
    u_s: float | None  # its standard uncertainty, s
    n: int  # number of releases that it comes from
    why_not: Message | None = None  # why there is no lag_s

    @property
    def matters(self) -> bool:
        """Whether the lag exceeds its U95 and is long enough to change a mean force."""
        return self.lag_s is not None and abs(self.lag_s) > max(LEAST_S, 2 * (self.u_s or 0.0))


NO_LAG = Lag(None, None, 0, message("lag_never_let_off"))


@dataclass(frozen=True)
class _Edge:
    """One rise or fall of the haul force, with the rope around it."""

    low: float  # cells from the start of the section to where the force passes LOW
    high: float  # likewise HIGH
    full: float  # likewise FULL
    force_N: float  # force between LOW and HIGH
    rope: Floats  # (k,) rope at the haul, m, from cell `first` of the section on
    first: int  # first cell of `rope`
    lag: float = math.nan  # cells from the force's kink to the rope's; NaN: none detected
    takes: float = 0.0  # cells from the kink of the force to FULL

    def stretch(self, lag: float, full: bool = False) -> float:
        """Rope that moves between LOW and HIGH (or FULL) of the force, m.  lag: cells, of the rope."""
        at = np.arange(self.first, self.first + len(self.rope))
        ends = (self.low + lag, (self.full if full else self.high) + lag)
        a, b = np.interp(ends, at, self.rope)
        return abs(float(b - a))


class LagWatch:
    """Collects releases and take-ups of tension, at most MOST of each, for the lag.

    off, up: the usable releases and take-ups.
    looks, up_looks: number of them examined.
    """

    def __init__(self) -> None:
        self.off: list[_Edge] = []
        self.up: list[_Edge] = []
        self.looks = self.up_looks = 0
        self._results: dict[tuple[float, ...], Lag] = {}  # by what they come from; shared by forks

    def fork(self) -> LagWatch:
        """Return a copy that grows independently."""
        other = copy.copy(self)
        other.off, other.up = list(self.off), list(self.up)
        return other

    def let_off(self, force: Floats, rope: Floats) -> None:
        """Examine one release of tension.

        force: mean of each cell, N, (n,); rope: rope at the haul at the end of each, m, (n,).  The
        tension is off from REACH cells before the end.
        """
        if self.looks < MOST:
            self.looks += 1
            edge = _let_off(force, rope)
            if edge is not None:
                self.off.append(edge)

    def take_up(self, force: Floats, rope: Floats, steady_N: float) -> None:
        """Examine one take-up; force, rope: as for `let_off`; steady_N: the force that it rises to."""
        if self.up_looks < MOST:
            self.up_looks += 1
            edge = _take_up(force, rope, steady_N)
            if edge is not None:
                self.up.append(edge)

    def result(self, smear: float = 0.0) -> Lag:
        """The median lag of the releases; u from its scatter and the resolution of a single release.

        smear: cells between readings of the rope less cells between readings of the force.
        """
        key = (len(self.off), len(self.up), self.looks, smear)
        if key not in self._results:
            self._results.clear()
            self._results[key] = self._result(smear)
        return self._results[key]

    def _result(self, smear: float) -> Lag:
        """Compute `result` anew."""
        seen = np.array([e.lag for e in self.off]) + SMEARED * smear
        n = len(seen)
        if n < LEAST:
            return Lag(
                None, None, n, message("lag_seldom_seen", seen=n, looks=self.looks, needed=LEAST)
            )
        lag = float(np.median(seen))
        away = float(np.median(np.abs(seen - lag))) / RATE
        if away > FEW_S:
            return Lag(None, None, n, message("lag_looks_differ", looks=n, apart_s=away))
        why = self._unlike(lag)
        if why is not None:
            return Lag(None, None, n, why)
        # sd = 1.4826 MAD; the median of n normal values scatters 1.2533 times as much as the mean
        u = math.hypot(1.2533 * 1.4826 * away / math.sqrt(n), RESOLVED_S, DAMPED_S)
        return Lag(lag / RATE, u, n)

    def _unlike(self, lag: float) -> Message | None:
        """Why the take-ups contradict this lag (cells); None where they agree."""
        if not self.up:
            return message("lag_no_take_up")
        falls = [lag < QUICK * e.takes for e in self.off]
        rises = [e.stretch(0.0, True) >= STRETCH * e.stretch(lag, True) for e in self.up]
        both = [abs(e.lag - lag) <= FEW_S * RATE for e in self.up]
        if not any(2 * sum(x) > len(x) for x in (falls, rises, both)):
            return message("lag_no_rope_moved")
        up, off = _softness(self.up, lag), _softness(self.off, lag)
        ratio = up / off if off > 0 else math.inf
        if SOFTER < ratio < STIFFER:
            return None
        return message("lag_stiffness", lag_s=lag / RATE, ratio=ratio)


def _softness(edges: list[_Edge], lag: float) -> float:
    """Median rope given per newton between LOW and HIGH, m/N.  lag: cells."""
    return float(np.median([e.stretch(lag) / e.force_N for e in edges]))


def _let_off(force: Floats, rope: Floats) -> _Edge | None:
    """The fall of force (n,), N, with rope (n,), m, as `LagWatch.let_off`; None where there is no clear kink."""
    end = len(force) - REACH
    if end < 2 * REACH or not np.isfinite(force).all():
        return None
    # the force is at the cells' middles, the rope at their ends: half a cell between them
    begin = max(REACH, end - LONGEST - REACH)
    low = (force[begin:end] > EARLY * force[begin:end].max()).nonzero()[0]
    stop = begin + int(low[-1]) + 1 if len(low) else begin
    if stop - begin < 2:
        return None
    # from where it is steepest back to where it began to fall: hands that ease fall less steeply
    fall = force[begin:stop] - force[begin + 1 : stop + 1]
    steepest = int(np.argmax(fall))
    gentle = (fall[:steepest] < STEEP * fall[steepest]).nonzero()[0]
    kink = begin + (int(gentle[-1]) + 1 if len(gentle) else 0)
    level = force[kink]
    lost = level - force[kink : end + 1]
    falls = _falls(lost)
    if falls is None:
        return None
    near = rope[kink - REACH : kink + 2 * REACH + 1]
    back = near.max() - near
    top = int(np.argmax(near))
    turned = _turns(back[top:])
    if turned is None:
        return None
    lag = kink - REACH + top + 0.5 + turned - (kink + falls)
    p, q = _passes(lost, LOW * level), _passes(lost, HIGH * level)
    full = _passes(lost, FULL * level)
    if abs(lag) > REACH - 1 or p is None or q is None or full is None:
        return None
    first = max(0, kink - REACH)
    return _Edge(
        low=kink + p - 0.5, high=kink + q - 0.5, full=kink + full - 0.5, force_N=(HIGH - LOW) * float(level),
        rope=rope[first:].copy(), first=first, lag=lag, takes=full,
    )  # fmt: skip


def _take_up(force: Floats, rope: Floats, steady_N: float) -> _Edge | None:
    """The rise of the force to steady_N; None where it does not rise within LONGEST cells."""
    if not np.isfinite(force).all():
        return None
    a, b = _passes(force, LOW * steady_N), _passes(force, HIGH * steady_N)
    full = _passes(force, FULL * steady_N)
    if a is None or b is None or full is None or not full > b > a or full - a > LONGEST:
        return None
    first = max(0, int(a) - REACH - 1)
    around = rope[first : int(full) + REACH + 2].copy()
    moved = around - around[:4].max()
    still = int((moved < EARLY_M).nonzero()[0][0]) if (moved < EARLY_M).any() else 0
    turned, lag = _turns(moved[still:]), math.nan
    if turned is not None and around[:4].max() - around[:4].min() < EARLY_M:
        lag = first + still + 0.5 + turned - (a - (b - a) * LOW / (HIGH - LOW))
    return _Edge(
        low=a - 0.5,
        high=b - 0.5,
        full=full - 0.5,
        force_N=(HIGH - LOW) * steady_N,
        rope=around,
        first=first,
        lag=lag,
    )


def _falls(lost: Floats) -> float | None:
    """Cells from the start to where a force begins to fall; None where it does not fall steadily.

    lost: force lost at cells 0..n, (n,), N, means over cells, 0 in the first.  In a sudden fall, the
    mean of the cell gives the moment; a fall that goes on is extrapolated back by a line.
    """
    if len(lost) < 4 or not lost[1] <= lost[2] <= lost[3] or not lost[2] > 0:
        return None
    one, two, three = (float(x) for x in lost[1:4])
    if three < SUDDEN * two:
        return 1.5 - min(max(one / two, 0.0), 1.0)
    return min(max(2.0 - two / (three - two), 0.5), 1.5)


def _turns(back: Floats) -> float | None:
    """Cells from the start to where rope begins to move; None where it moves less than LATE_M.

    back: rope moved at cells 0..n, m, (n,).  A line through the first two values above EARLY_M is
    extrapolated back, at most to 0.
    """
    seen = (back >= EARLY_M).nonzero()[0]
    k = int(seen[0]) if len(seen) else len(back)
    if k + 1 >= len(back) or k == 0 or back.max() < LATE_M or not back[k + 1] > back[k]:
        return None
    return max(0.0, k - float(back[k] / (back[k + 1] - back[k])))


def _passes(values: Floats, level: float) -> float | None:
    """Cells from the start to where values (n,) first reach level, interpolated; None where they do not."""
    over = (values >= level).nonzero()[0]
    if len(over) == 0:
        return None
    k = int(over[0])
    if k == 0:
        return 0.0
    return k - 1 + float((level - values[k - 1]) / (values[k] - values[k - 1]))
