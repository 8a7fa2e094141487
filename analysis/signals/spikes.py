"""A single reading far from all around it: out of the means, never out of peaks and alarms.

A spark, a line that lost a digit, a plug that was touched: one reading, so one cell of 1/32 s (or
one reading where they come slower).  A jerk of a rope lasts longer and stands in its neighbours too.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.signals.time_cells import Cells, Floats, Ints

# cells within which neighbours lie; as many must be known after a cell that is used.  chosen by us: 0.25 s
LOOK = 8
# beyond the neighbours / their range; chosen by us: a jerk of a rope stands in its neighbours too
OUT = 3.0


def without_spikes(cells: Cells, start: int, stop: int, least: float) -> Cells:
    """The same cells (SI) with spikes among start..stop replaced in first, last and inner by what
    lies between their neighbours; low and high stay.

    A spike is a cell beyond all of the four around it by more than three times their range, and by
    more than `least`.  cells before start and from stop on are only looked at.
    """
    n = len(cells)
    a, b = max(start, 1), min(stop, n - 1)
    if b <= a:
        return cells
    high, low = cells.high, cells.low
    top = np.maximum(high[a - 1 : b - 1], high[a + 1 : b + 1])
    bottom = np.minimum(low[a - 1 : b - 1], low[a + 1 : b + 1])
    out = np.maximum(high[a:b] - top, bottom - low[a:b])
    some = (out > least).nonzero()[0]
    # the second neighbours only make it less of a spike
    some = some[out[some] > OUT * (top[some] - bottom[some])]
    at = some + a
    here = cells.cell[at]
    at = at[(here - cells.cell[at - 1] <= LOOK) & (cells.cell[at + 1] - here <= LOOK)]
    if len(at) == 0:
        return cells
    top, bottom, out = _with_next(cells, at, top[at - a], bottom[at - a])
    at = at[(out > least) & (out > OUT * (top - bottom))]
    if len(at) == 0:
        return cells
    first, last, inner = cells.first.copy(), cells.last.copy(), cells.inner.copy()
    first[at] = last[at] = (cells.last[at - 1] + cells.first[at + 1]) / 2
    inner[at] = first[at] * (cells.last_s[at] - cells.first_s[at])
    return replace(cells, first=first, last=last, inner=inner, low=low, high=high)


def _with_next(
    cells: Cells, at: Ints, top: Floats, bottom: Floats
) -> tuple[Floats, Floats, Floats]:
    """Highest and lowest of the two neighbours on either side, where the second is near enough,
    and how far each cell is beyond them."""
    for two in (-2, 2):
        k = np.clip(at + two, 0, len(cells) - 1)
        near = (np.abs(cells.cell[k] - cells.cell[at]) <= LOOK) & (k == at + two)
        top = np.where(near, np.maximum(top, cells.high[k]), top)
        bottom = np.where(near, np.minimum(bottom, cells.low[k]), bottom)
    return top, bottom, np.maximum(cells.high[at] - top, bottom - cells.low[at])
