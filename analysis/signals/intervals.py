"""Stretches of cells in which something is so, with its peak; found block by block."""

from __future__ import annotations

import copy
from dataclasses import dataclass

import numpy as np

from analysis.signals.time_cells import Bools, Floats, Ints

MOST_RUNS = 1000  # memory only: more are counted and not listed


@dataclass(frozen=True)
class Run:
    """Cells first..last in which it was so, the largest value and its cell."""

    first: int
    last: int
    value: float
    at: int


class Runs:
    """Runs of cells; two that are no more than `gap` cells apart are one."""

    def __init__(self, gap: int) -> None:
        self.gap = gap
        self.done: list[Run] = []
        self.open: Run | None = None
        self.more = 0  # runs beyond MOST_RUNS, only counted

    def push(self, cell: Ints, so: Bools, value: Floats) -> None:
        """Cells in order, all arrays (n,)."""
        where = np.flatnonzero(so)
        if len(where) == 0:
            return
        cell, value = cell[where], value[where]
        cuts = np.flatnonzero(np.diff(cell) > self.gap) + 1
        for first, last in zip([0, *cuts.tolist()], [*cuts.tolist(), len(cell)], strict=True):
            at = first + int(np.argmax(value[first:last]))
            self._take(Run(int(cell[first]), int(cell[last - 1]), float(value[at]), int(cell[at])))

    def _take(self, run: Run) -> None:
        old = self.open
        if old is None:
            self.open = run
        elif run.first - old.last <= self.gap:
            best = run if run.value > old.value else old
            self.open = Run(old.first, run.last, best.value, best.at)
        else:
            if len(self.done) < MOST_RUNS:
                self.done.append(old)
            else:
                self.more += 1
            self.open = run

    def all(self) -> list[Run]:
        """Every run so far."""
        return [*self.done, *([self.open] if self.open else [])]

    def fork(self) -> Runs:
        other = copy.copy(self)
        other.done = list(self.done)
        return other
