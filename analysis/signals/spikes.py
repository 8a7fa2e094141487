"""Removes single-reading spikes from the means of a channel; peaks and alarms keep them.

A spark, a line that lost a digit or a touched plug spoils one reading, so one cell of 1/32 s (or one
reading of a slower channel).  A jerk of the rope lasts longer and raises the neighbouring cells too.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.signals.time_cells import Cells, Floats, Ints

# cells within which a neighbour counts; a cell is used only once as many later cells are complete.
# chosen by us: 0.25 s
LOOK = 8
# excess over the neighbours / range of the neighbours; chosen by us: a jerk raises the neighbours too
OUT = 3.0


def without_spikes(cells: Cells, start: int, stop: int, least: float) -> Cells:
    """Return the cells with the spikes among start..stop interpolated from their neighbours.

    `first`, `last` and `inner` change; `low` and `high` keep the spike.  A spike exceeds all four
    neighbours by more than three times their range, and by more than `least` (N or m, as the cells).
    Cells before start and from stop on serve as neighbours only.
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
    """Highest and lowest of the two neighbours on either side, and each cell's excess, (k,) each.

    A second neighbour more than LOOK cells away is ignored.
    """
    for two in (-2, 2):
        k = np.clip(at + two, 0, len(cells) - 1)
        near = (np.abs(cells.cell[k] - cells.cell[at]) <= LOOK) & (k == at + two)
        top = np.where(near, np.maximum(top, cells.high[k]), top)
        bottom = np.where(near, np.minimum(bottom, cells.low[k]), bottom)
    return top, bottom, np.maximum(cells.high[at] - top, bottom - cells.low[at])
