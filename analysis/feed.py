"""What the analyser keeps of one channel: cells not yet used, gaps, excursions, its highest value."""

from __future__ import annotations

import copy
import math

import numpy as np

from analysis.cells import RATE, Cells, CellStream, joined, no_cells
from analysis.runs import Runs
from logger.sensors import Channel


class Feed:
    """What is kept of one channel."""

    def __init__(self, channel: Channel, levels: tuple[tuple[float, str, float], ...]) -> None:
        self.channel = channel
        # of a counter only differences matter, so the ends of each cell are enough
        self.stream = CellStream(
            channel.quantity == "length" and not levels and channel.capacity is None
        )
        self.last = no_cells()  # the last cell that was used, raw
        self.used = no_cells()  # the same in SI, counter restarts taken out
        self.zeros: list[tuple[float, float]] = []
        self.shift, self.restarts = 0.0, 0
        self.highest, self.highest_cell = -math.inf, 0
        self.saturated = Runs(RATE)
        self.levels = levels
        self.over = [Runs(RATE) for _ in levels]
        self.gaps: list[tuple[float, float]] = []
        self.more_gaps = 0

    def fork(self) -> Feed:
        other = copy.copy(self)
        other.stream = self.stream.fork()
        other.saturated = self.saturated.fork()
        other.over = [runs.fork() for runs in self.over]
        other.gaps, other.zeros = list(self.gaps), list(self.zeros)
        return other

    @property
    def seen(self) -> int | None:
        """The last complete cell."""
        if len(self.stream.ready):
            return int(self.stream.ready.cell[-1])
        return int(self.last.cell[-1]) if len(self.last) else None

    def take(self, before: int) -> tuple[Cells, Cells]:
        """Cells below this one, raw, with the one used before and the one after where there are."""
        ready = self.stream.ready
        split = int(np.searchsorted(ready.cell, before, "left"))
        mine = ready.part(0, split)
        raw = joined(self.last, ready.part(0, split + 1))
        self._judge(mine)
        self.stream.ready = ready.part(split)
        return mine, raw

    def _judge(self, mine: Cells) -> None:
        """Gaps between readings and saturation; nothing here needs the grid."""
        if not len(mine):
            return
        after = mine.first_s
        before = np.concatenate((self.last.last_s[-1:], mine.last_s[:-1]))
        after = after[len(after) - len(before) :]
        away = after - before > self.channel.stale_after_s
        for k in np.flatnonzero(away) if away.any() else ():
            if len(self.gaps) < 1000:
                self.gaps.append((float(before[k]), float(after[k])))
            else:
                self.more_gaps += 1
        if self.channel.capacity is None:
            return
        high = np.where(np.abs(mine.high) > np.abs(mine.low), mine.high, mine.low)
        beyond = self.channel.saturated(mine.low) | self.channel.saturated(mine.high)
        if np.any(beyond):
            self.saturated.push(mine.cell, beyond, np.abs(self.channel.si(high, 0.0)))
