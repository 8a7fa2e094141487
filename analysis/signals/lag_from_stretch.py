"""Estimates the lags of both counters behind the haul cell from the rope that they leave between them.

The rope between hands and load is a spring, so in each moment

    haul force = k (rope at the haul - ratio x load travel) + constant,

whatever the load resists: it holds while the load stands, goes or stops, with resistance that depends on speed
or place, and while friction at rest takes a share.  So the force's changes must be those of the stretch, and only at the
true lags of both counters do they agree.  `StretchSums` keeps the products of the changes over CHANGE cells of force,
rope and load at all lags that two devices may have; for each pair of lags they give the correlation of force and stretch, and
the least squares residual.  The pair with the highest correlation is the estimate; pairs whose residual is at most ALMOST
times the least are taken as equally likely (rectangular, JCGM 100, 4.3.7).  A rival further away, with a residual of at most
RIVAL times the least, leaves both undecided.

Limits:

- In motion that never stops, rope taken at one lag less load travel at another is an acceleration, and the
  force less a constant resistance is proportional to it, so a far pair of lags fits as well.  A load that stands has no
  acceleration while the force rises.  So the estimate counts for hauls that stop and go; motion that never stops has
  the mean over time (`mean_over_time`).
- A rope with losses leads: force = k (s + t ds/dt) is k s, earlier by t, for both counters alike, and no sum tells it
  from a lag.  t is below 0.08 s in ropes of a loss factor up to 0.4 pulled once a second (t = loss factor / (2 pi f)); LOSS_S is
  the middle of what is usual, with its own uncertainty.  Hysteresis, by which the force turns at once where the rope turns, acts likewise.
- A rope so stiff that the stretch drowns in the counters' steps shows no correlation, and gives nothing.
- The travel ratio is the file's: of another rig, the difference is no stretch, and does not correlate.
"""

from __future__ import annotations

import copy
import math

import numpy as np

from analysis.signals.lag_from_edges import Lag
from analysis.signals.time_cells import RATE, Bools, Floats, Ints

# cells of a change, to either side; chosen by us: a quarter of a second in all is several steps of a counter, and less than
# half a pull of the hands
CHANGE = 4
MOST = 10  # cells, 0.31 s: longest lag; chosen by us: as the longest delay of a device
MARGIN = CHANGE + MOST  # cells around each that must bear a part of the load; derived
# seconds of hauling that are used, and that are needed; chosen by us: a device keeps its delay; eight hold several
# stops
ENOUGH, LEAST = 120, 8
# least correlation of force and stretch; chosen by us: noise gives about 0, a spring 1
ALIKE = 0.85
# residual / the least one, up to which lags count as equally likely (ALMOST) and up to which a pair further than APART_S
# away is a rival; chosen by us: clear of the scatter of some seconds; hands with an even rhythm fit twice
ALMOST, RIVAL, APART_S = 1.2, 1.6, 0.13
# share of the force's changes that cells of 1/32 s leave unexplained beside the true lags; chosen by us: held by
# test_lag_from_stretch.py
BY_CELLS = 0.01
# lag by losses in the rope, and its standard uncertainty; chosen by us: see above
LOSS_S, LOSS_U_S = 0.03, 0.03
# units of force and length to which changes are rounded, so that sums are exact in any order, and the largest
# changes; rounding only: 15 um, far below a counter's step
UNIT_N, UNIT_M, MOST_N, MOST_M = 2.0**-4, 2.0**-16, 2.0**16, 2.0
_LAGS = np.arange(-MOST, MOST + 1)
_ROPE = slice(1, 1 + len(_LAGS))
_LOAD = slice(1 + len(_LAGS), 1 + 2 * len(_LAGS))


class StretchSums:
    """Running sums of products of changes; they do not depend on the cut of the readings.

    products: (1 + 2 lags,) squared: of force (N), rope (m, each lag) and load travel x ratio (m, each lag).
    seconds: number of seconds with hauling that are used.
    """

    def __init__(self) -> None:
        self.products = np.zeros((_LOAD.stop, _LOAD.stop))
        self.seconds = 0

    def fork(self) -> StretchSums:
        """Return a copy that grows independently."""
        return copy.copy(self)  # arrays are never written to

    @property
    def wanted(self) -> bool:
        """Whether more seconds are used."""
        return self.seconds < ENOUGH

    def push(
        self, force: Floats, rope: Floats, load: Floats, tense: Bools, here: int, n: int
    ) -> None:
        """Add whole seconds.

        force: N, rope, load: travel in each cell, load x travel ratio, m, (m,); tense: (m,) whether the rope bears a part
        of the load.  The n new cells begin at `here`, and MARGIN cells and more are on both sides of them.
        """
        count = np.concatenate(([0], np.cumsum(tense)))
        width = 2 * MARGIN + 1
        first = here - MARGIN
        good = count[first + width : first + width + n] - count[first : first + n] == width
        some = np.cumsum(good.reshape(-1, RATE).any(axis=1))
        used = good & np.repeat(some <= ENOUGH - self.seconds, RATE)
        if not used.any():
            return
        self.seconds = min(ENOUGH, self.seconds + int(some[-1]))
        at = here + used.nonzero()[0]
        table = np.empty((_LOAD.stop, len(at)))
        table[0] = _rounded(force[at + CHANGE] - force[at - CHANGE], UNIT_N, MOST_N)
        for rows, travel in ((table[_ROPE], rope), (table[_LOAD], load)):
            place = np.cumsum(_rounded(np.nan_to_num(travel), UNIT_M, MOST_M))
            change = np.zeros(len(place))
            change[CHANGE:-CHANGE] = place[2 * CHANGE :] - place[: -2 * CHANGE]
            np.clip(change, -MOST_M, MOST_M, out=change)
            for row, lag in zip(rows, _LAGS, strict=True):
                row[:] = change[at + lag]
        self.products = self.products + table @ table.T

    def result(self) -> tuple[Lag, Lag] | None:
        """The lags of rope counter and load counter behind the haul cell; None where they are not seen."""
        if self.seconds < LEAST:
            return None
        square, with_rope, with_load = (
            float(self.products[0, 0]), self.products[0, _ROPE], self.products[0, _LOAD]
        )  # fmt: skip
        ropes, loads = np.diag(self.products)[_ROPE], np.diag(self.products)[_LOAD]
        both = with_rope[:, None] - with_load[None, :]
        stretch = ropes[:, None] + loads[None, :] - 2 * self.products[_ROPE, _LOAD]
        if not square > 0 or not stretch.min() > 0:
            return None
        alike = both / np.sqrt(stretch * square)
        i, j = (int(k) for k in np.unravel_index(int(np.argmax(alike)), alike.shape))
        if alike[i, j] < ALIKE or not (0 < i < len(_LAGS) - 1 and 0 < j < len(_LAGS) - 1):
            return None
        left = np.where(alike > 0, 1 - alike**2, 1.0)
        rivals = (left <= RIVAL * left.min() + BY_CELLS).nonzero()
        if max(np.abs(rivals[0] - i).max(), np.abs(rivals[1] - j).max()) > APART_S * RATE:
            return None
        near = (left <= ALMOST * left.min() + BY_CELLS).nonzero()
        rope_cells, load_cells = _top(alike[i - 1 : i + 2, j - 1 : j + 2])
        return (
            _lag(float(_LAGS[i]) + rope_cells, near[0], self.seconds),
            _lag(float(_LAGS[j]) + load_cells, near[1], self.seconds),
        )


def _top(around: Floats) -> tuple[float, float]:
    """Where a paraboloid through values (3, 3) has its top, from the middle: (rows, columns), at most 1 away.

    The lags of both counters lean on each other, so neither is interpolated by itself.  Values: without unit.
    """
    slope = np.array([around[2, 1] - around[0, 1], around[1, 2] - around[1, 0]]) / 2
    across = (around[2, 2] - around[2, 0] - around[0, 2] + around[0, 0]) / 4
    bend_rows = around[2, 1] - 2 * around[1, 1] + around[0, 1]
    bend_columns = around[1, 2] - 2 * around[1, 1] + around[1, 0]
    bend = np.array([[bend_rows, across], [across, bend_columns]])
    if not (bend_rows < 0 and float(np.linalg.det(bend)) > 0):
        return 0.0, 0.0
    rows, columns = np.clip(-np.linalg.solve(bend, slope), -1.0, 1.0).tolist()
    return rows, columns


def _lag(cells: float, near: Ints, seconds: int) -> Lag:
    """The lag of one counter; cells: where the correlation is highest; near: lags that explain the force about as well."""
    width_s = int(near.max() - near.min()) / RATE
    # the force is at the cells' middles, rope and load are at their ends
    seen_s = (cells + 0.5) / RATE
    by_width = (width_s + 1 / RATE) / math.sqrt(12)
    return Lag(seen_s - LOSS_S, math.hypot(by_width, LOSS_U_S), seconds)


def _rounded(values: Floats, unit: float, most: float) -> Floats:
    """Values rounded to whole multiples of unit, between -most and most."""
    return np.asarray(np.clip(np.rint(values / unit) * unit, -most, most))
