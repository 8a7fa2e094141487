"""How late the rope counter tells what the haul cell told already, from the data themselves.

Where the tension is let off the load stands and the rope is a spring: the force begins to fall when
rope begins to be given back.  So the lag is the time from the one kink to the other.  While the
load moves, force and rope may have any phase (spring, mass, friction between them), so nothing is
taken from there; nor from the beginning of a take-up, where slack rope runs before any force.  But a
rope that hardly stretches, let go first and fed back a little later, looks the same as a lag: so
rope must be seen to move while the force still falls, or still rises in take-ups, or take-ups
without slack must show the same lag; and it must be about as stiff in the one as in the other.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass

import numpy as np

from analysis.messages.message import Message, message
from analysis.signals.time_cells import RATE, Floats

# The numbers of this file are chosen by us, each for the reason beside it. With them a lag that was set is
# found, and none where there is none: tests/unit/analysis/signals/test_lag_from_edges.py
REACH = 20  # cells, either way: 0.6 s; chosen by us: twice the delay of one device, 0.3 s
PAST, LATER = 136, 21  # cells before and after the tension is off that are looked at ...
UP_PAST, UP_LATER = 40, 120  # ... and before and after it is on
# derived: PAST = LONGEST + 2 REACH, LATER = REACH + 1, UP_PAST = 2 REACH, UP_LATER = LONGEST + REACH and a little
LONGEST = 96  # cells that letting off or taking up may take; chosen by us: 3 s
MOST = 64  # times that are looked at; chosen by us: a lag belongs to the devices and stays
LEAST_S = 0.04  # chosen by us: a lag of about a cell, 0.031 s, or less does nothing
# times it must be seen, what these may differ (median deviation); chosen by us: the fewest with a
# middle one, and about a cell and a half
LEAST, FEW_S = 3, 0.05
STEEP = 0.25  # of the steepest fall; chosen by us: hands that ease fall less steeply, and have not let off
# of rope: what is seen first, what it must be in the end; chosen by us: above the steps of a counter of
# some millimetres, and several times that
EARLY_M, LATE_M = 0.006, 0.03
EARLY = 0.15  # of the force before: less is taken for none; chosen by us: as ON_SHARE of the segmentation
# of the time between readings: by so much their straight lines begin to fall early; chosen by us, and
# held by test_lag.py at 13 to 80 readings a second
SMEARED = 0.25
SUDDEN = (
    1.4  # lost after two cells / after one; chosen by us: a step gives 1, a line 1.5 to 2 (derived)
)
# of the force: between the first two the stiffness is taken; chosen by us: clear of slack rope below and
# of the even pull above
LOW, HIGH, FULL = 0.2, 0.6, 0.9
# of the time that the force falls: rope seen before is rope that springs back; chosen by us: surely
# before the end of the fall
QUICK = 0.8
# letting off (with the load still coming) / taking up; chosen by us: wide, for it only has to refuse rope
# that was let go first and fed back later
SOFTER, STIFFER = 0.15, 4.0
# share of the stretch of a take-up that is there without the lag too; chosen by us: enough to show that
# rope moved while the force rose
STRETCH = 0.25
# standard uncertainty by cells, by a rope that also drags; chosen by us: above a cell as a rectangle,
# 0.031 s / sqrt(12) = 0.009 s (JCGM 100, 4.3.7), and twice that
RESOLVED_S, DAMPED_S = 0.012, 0.02


@dataclass(frozen=True)
class Lag:
    """lag_s: + where the rope counter is later than the haul cell, None: not known, `why_not` says
    why; u_s: its standard uncertainty; n: times it was seen."""

    lag_s: float | None
    u_s: float | None
    n: int
    why_not: Message | None = None

    @property
    def matters(self) -> bool:
        """Told from nothing, and long enough for means to feel it."""
        return self.lag_s is not None and abs(self.lag_s) > max(LEAST_S, 2 * (self.u_s or 0.0))


NO_LAG = Lag(None, None, 0, message("lag_never_let_off"))


@dataclass(frozen=True)
class _Edge:
    """Force that rises or falls: cells at which it passes LOW, HIGH and FULL, how much lies
    between LOW and HIGH, N; rope around it, from cell `first` on; lag (cells) from its kinks, NaN:
    not seen; takes: cells from its kink to where it is FULL;"""

    low: float
    high: float
    full: float
    force_N: float
    rope: Floats
    first: int
    lag: float = math.nan
    takes: float = 0.0

    def stretch(self, lag: float, full: bool = False) -> float:
        """Rope between LOW and HIGH (or FULL) at this lag in cells, m."""
        at = np.arange(self.first, self.first + len(self.rope))
        ends = (self.low + lag, (self.full if full else self.high) + lag)
        a, b = np.interp(ends, at, self.rope)
        return abs(float(b - a))


class LagWatch:
    """Looks at letting off and taking up, at most MOST of each."""

    def __init__(self) -> None:
        self.off: list[_Edge] = []
        self.up: list[_Edge] = []
        self.looks = self.up_looks = 0
        self._known: dict[tuple[float, ...], Lag] = {}  # shared by forks

    def fork(self) -> LagWatch:
        other = copy.copy(self)
        other.off, other.up = list(self.off), list(self.up)
        return other

    def let_off(self, force: Floats, rope: Floats) -> None:
        """Cells (n,) of both, the force at the cells, the rope at their ends; the tension is off for
        REACH cells before the end."""
        if self.looks < MOST:
            self.looks += 1
            found = _let_off(force, rope)
            if found is not None:
                self.off.append(found)

    def take_up(self, force: Floats, rope: Floats, steady_N: float) -> None:
        """Cells (n,) likewise from before the force rises; steady_N: what it will be about."""
        if self.up_looks < MOST:
            self.up_looks += 1
            found = _take_up(force, rope, steady_N)
            if found is not None:
                self.up.append(found)

    def result(self, smear: float = 0.0) -> Lag:
        """Median of what was seen; u from the scatter of the median, and what one look resolves.

        smear: cells between readings of the rope less those between readings of the force.
        """
        key = (len(self.off), len(self.up), self.looks, smear)
        if key not in self._known:
            self._known.clear()
            self._known[key] = self._result(smear)
        return self._known[key]

    def _result(self, smear: float) -> Lag:
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
        """Why the take-ups speak against this lag (cells); None if they do not."""
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
    """m/N in the middle of them."""
    return float(np.median([e.stretch(lag) / e.force_N for e in edges]))


def _let_off(force: Floats, rope: Floats) -> _Edge | None:
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
    if not np.isfinite(force).all():
        return None
    a, b = _passes(force, LOW * steady_N), _passes(force, HIGH * steady_N)
    full = _passes(force, FULL * steady_N)
    if a is None or b is None or full is None or not full > b > a or full - a > LONGEST:
        return None
    first = max(0, int(a) - REACH - 1)
    around = rope[first : int(full) + REACH + 2].copy()
    way = around - around[:4].max()
    still = int((way < EARLY_M).nonzero()[0][0]) if (way < EARLY_M).any() else 0
    turned, lag = _turns(way[still:]), math.nan
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
    """Where a force begins to fall that has lost `lost` (n,) at cells 0..n: means over cells, 0 in
    the first.  A sudden fall leaves in its cell the share of the time before it; a fall that goes on
    is drawn back in a line."""
    if len(lost) < 4 or not lost[1] <= lost[2] <= lost[3] or not lost[2] > 0:
        return None
    one, two, three = (float(x) for x in lost[1:4])
    if three < SUDDEN * two:
        return 1.5 - min(max(one / two, 0.0), 1.0)
    return min(max(2.0 - two / (three - two), 0.5), 1.5)


def _turns(back: Floats) -> float | None:
    """Where rope begins to move that has moved `back` (n,) at cells 0..n, in a line from the first
    two where it is seen; never before 0."""
    seen = (back >= EARLY_M).nonzero()[0]
    k = int(seen[0]) if len(seen) else len(back)
    if k + 1 >= len(back) or k == 0 or back.max() < LATE_M or not back[k + 1] > back[k]:
        return None
    return max(0.0, k - float(back[k] / (back[k + 1] - back[k])))


def _passes(values: Floats, level: float) -> float | None:
    """Where values first reach level, with a straight line between two; None: nowhere."""
    over = (values >= level).nonzero()[0]
    if len(over) == 0:
        return None
    k = int(over[0])
    if k == 0:
        return 0.0
    return k - 1 + float((level - values[k - 1]) / (values[k] - values[k - 1]))
