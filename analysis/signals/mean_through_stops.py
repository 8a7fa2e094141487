"""Computes means of the haul force over the rope and over time, through the stops of hands and load: bounds of what the load resists.

Rope at the haul is what the load moves and what the rope stretches, x = y + s.  While hands pull and rest, the rope stretches
and contracts, and a rope loses energy in each cycle (hysteresis).  Let R be the haul force that the load's resistance asks
for, its mean over the load's distance, and let w be a weight that changes slowly over whole cycles of the hands.

- Energy: the team's work is that on the load and that lost in the rope, integral of S dx = R y + loss, loss >= 0,
  and over whole cycles x = y.  So the mean over the rope is R or more.  With a force that swings by A about S and with a rope
  of stiffness k and loss factor f, the loss in a cycle is pi f A^2 / k (a linear viscoelastic solid); with a third of the
  force, f = 0.5, a stretch S / k of 0.5 m and pulls of 0.8 m the mean over the rope is 11 % above R.  The stretch grows
  with the haul force, so a 3:1 shows it and a 9:1 on the same load hardly.
- Impulse: integral of w (S - r) dt = - m integral of w' v dt, which vanishes as in `mean_over_time`, with r what resists
  at the time.  While the load moves r is R, or less where it moves slowly and resists by its speed; while it stands friction
  takes what hands pull, so r is S and less than R, but for the moment of the break-away.  So the mean over time is R or less.

R lies between both, and nothing says where: a rectangular distribution, R = middle, u = width / sqrt(12)
(JCGM 100, 4.3.7).  Unlike `mean_over_time` this needs no motion without a stop.
"""

from __future__ import annotations

import copy
import math

import numpy as np

from analysis.signals.mean_over_time import AHEAD, PAST, RAMP, UNIT_M, slow_speed
from analysis.signals.time_cells import RATE, Bools, Floats, Ints


class StopSums:
    """Running sums of the haul force through stops.

    time: weight over time.  distance: weight over the rope, m.  over_time: force x weight.
    over_distance: (lags,) force x weight over the rope, at the lags.
    """

    def __init__(self, lags: Ints) -> None:
        """lags: cells, of the means over the rope."""
        self._lags = lags
        self._sums = np.zeros(3 + len(lags))
        # of the last PAST cells: force, rope, whether it is a steady haul
        self._past: Floats = np.zeros((3, PAST))

    def fork(self) -> StopSums:
        """Return a copy that grows independently."""
        return copy.copy(self)  # arrays are never written to

    def push(self, force: Floats, rope: Floats, good: Bools) -> None:
        """Add whole seconds.

        force: (n,) of the haul cell, N; rope: (n,) in each cell, m; good: (n,) whether a cell belongs to the steady
        haul, with the force measured at all lags around it.
        """
        n = len(good)
        metres = np.rint(np.where(good, np.nan_to_num(rope), 0.0) / UNIT_M) * UNIT_M
        rows: Floats = np.stack((np.nan_to_num(force), metres, good.astype(np.float64)))
        rows = np.concatenate((self._past, rows), axis=1)
        self._past = rows[:, -PAST:].copy()
        begin = PAST - AHEAD
        here = slice(begin, begin + n)
        if not rows[2, here].any():
            return
        weight = _weight(rows[2] > 0)[here]
        if not weight.any():
            return
        over_time, over_rope = weight * slow_speed(rows[1])[here], weight * rows[1, here]
        added = [over_time, over_rope, over_time * rows[0, here]]
        added += [over_rope * rows[0, begin + s : begin + s + n] for s in self._lags]
        seconds = np.stack([values.reshape(-1, RATE).sum(axis=1) for values in added], axis=1)
        self._sums = np.add.accumulate(np.concatenate((self._sums[None], seconds)), axis=0)[-1]

    def above(self) -> Floats | None:
        """(lags,) share by which the mean over the rope at each lag is above that over time; None without either."""
        time, distance, over_time = self._sums[:3].tolist()
        if not time > 0 or not distance > 0 or not over_time > 0 or not np.all(self._sums[3:] > 0):
            return None
        return np.asarray(self._sums[3:] / distance / (over_time / time) - 1)


def _weight(good: Bools) -> Floats:
    """Weight of each cell, (m,): 0 outside a steady haul, rising over RAMP cells, 1 within.  good: (m,)."""
    at = np.arange(len(good))
    before = at - np.maximum.accumulate(np.where(good, -1, at))
    after = (at - np.maximum.accumulate(np.where(good[::-1], -1, at)))[::-1]
    share = np.clip(np.minimum(before, after) / RAMP, 0.0, 1.0)
    return np.asarray(np.sin(math.pi / 2 * share) ** 2)
