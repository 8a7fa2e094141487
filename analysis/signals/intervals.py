"""Joins cells in which a condition holds into intervals with a peak, block by block."""

from __future__ import annotations

import copy
from dataclasses import dataclass

import numpy as np

from analysis.signals.time_cells import Bools, Floats, Ints

MOST_INTERVALS = 1000  # memory only: more are counted and not listed


@dataclass(frozen=True)
class Interval:
    """Consecutive cells in which a condition holds."""

    first: int  # index of the first cell
    last: int  # index of the last cell
    value: float  # largest value in these cells, in the unit of the values pushed
    at: int  # cell of the largest value


class Intervals:
    """Intervals of one condition; two that are at most `gap` cells apart count as one.

    done: intervals that have ended, at most MOST_INTERVALS.
    open: the latest one, which may still grow.
    not_listed: number of ended intervals beyond these.
    """

    def __init__(self, gap: int) -> None:
        self.gap = gap
        self.done: list[Interval] = []
        self.open: Interval | None = None
        self.not_listed = 0

    def push(self, cell: Ints, so: Bools, value: Floats) -> None:
        """Add cells in order of time.

        cell: their indices; so: whether the condition holds; value: of which the peak is kept; (n,) each.
        """
        where = np.flatnonzero(so)
        if len(where) == 0:
            return
        cell, value = cell[where], value[where]
        cuts = np.flatnonzero(np.diff(cell) > self.gap) + 1
        for first, last in zip([0, *cuts.tolist()], [*cuts.tolist(), len(cell)], strict=True):
            at = first + int(np.argmax(value[first:last]))
            self._take(
                Interval(int(cell[first]), int(cell[last - 1]), float(value[at]), int(cell[at]))
            )

    def _take(self, interval: Interval) -> None:
        """Join an interval to the open one, or close that and open this."""
        old = self.open
        if old is None:
            self.open = interval
        elif interval.first - old.last <= self.gap:
            best = interval if interval.value > old.value else old
            self.open = Interval(old.first, interval.last, best.value, best.at)
        else:
            if len(self.done) < MOST_INTERVALS:
                self.done.append(old)
            else:
                self.not_listed += 1
            self.open = interval

    def all(self) -> list[Interval]:
        """Return every interval so far, the open one last."""
        return [*self.done, *([self.open] if self.open else [])]

    def fork(self) -> Intervals:
        """Return a copy that grows independently."""
        other = copy.copy(self)
        other.done = list(self.done)
        return other
