"""Which whole seconds of a session can be used: those that no later reading can change."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable

import numpy as np

from analysis.signals.channel_feed import Feed
from analysis.signals.spikes import LOOK
from analysis.signals.time_cells import RATE
from analysis.signals.time_grid import gap_s
from analysis.strokes.steady_part import MOST_SHIFT
from logger.channels.channel import Channel

HORIZON = RATE // 2  # cells that readings and events may come late; derived: twice the 0.25 s of interface section 4
AHEAD = MOST_SHIFT + 2 * LOOK  # cells that are needed after one that is used; derived: shifts and spikes
NEVER = -(2**62)  # a cell and a second before all others; an index


def last_cell(feeds: Iterable[Feed]) -> int:
    """The cell of the latest reading, NEVER before the first."""
    last_s = [feed.stream.last_s for feed in feeds if feed.stream.count]
    return math.floor(max(last_s) * RATE) if last_s else NEVER


class CompleteSeconds:
    """Seconds in order, each given once; those long after any reading are left out.

    next: the second that comes next
    """

    def __init__(self, channels: Iterable[Channel]) -> None:
        self.next = NEVER
        self._last = NEVER - 1000  # second that held the last reading
        # seconds after a reading that are not left out
        self._fill = math.ceil(max([gap_s(c) for c in channels], default=1.0)) + 2

    def settle(self, feeds: Collection[Feed], ended: bool = False) -> int:
        """The second below which all can be used; cells that do not change any more are made complete.

        ended: no reading comes any more.
        """
        frontier = last_cell(feeds)
        if frontier == NEVER:
            return self.next
        complete = frontier if ended else frontier - HORIZON - 1
        for feed in feeds:
            feed.stream.complete(complete)
        if ended:
            return frontier // RATE + 1
        ready = frontier - HORIZON
        for feed in feeds:
            seen = feed.seen
            if seen is None or seen >= ready:
                continue
            if complete - seen <= math.ceil(gap_s(feed.channel) * RATE):
                ready = min(ready, seen)  # the reading after may still be joined by a line
        return (ready - AHEAD) // RATE

    def begin(self, feeds: Iterable[Feed], until: int) -> int:
        """The first second to be used, `until` or later where there is none below it."""
        if self._last + self._fill >= self.next:
            return self.next
        first = [int(f.waiting[0]) for f in feeds if len(f.waiting)]
        return max(self.next, min(first) // RATE) if first else until

    def take(self, feeds: Iterable[Feed], begin: int, stop: int) -> int:
        """Up to where, at most `stop`, no second is long after the last reading; it comes next."""
        reach = self._fill + 1
        before = self._last if self._last + reach > begin else begin
        last, full, seconds = before, False, [np.array([before], np.int64)]
        for feed in feeds:
            cells = feed.waiting
            k = int(np.searchsorted(cells, stop * RATE))
            if k == 0:
                continue
            first, final = int(cells[0]), int(cells[k - 1]) // RATE
            last = max(last, final)
            if int(cells[k - 1]) - first + 1 == k:  # a reading in every cell
                mine = np.arange(first // RATE, final + 1)
                step = max(1, first // RATE - before)
            else:
                mine = cells[:k] // RATE
                mine = mine[np.diff(mine, prepend=before) > 0]
                if len(mine) == 0:
                    continue
                step = int(np.diff(mine, prepend=before).max())
            if step <= reach and int(mine[-1]) + reach >= stop:
                full = True  # the usual case: this channel alone leaves no hole
            seconds.append(mine)
        if not full:
            data = np.sort(np.concatenate(seconds))
            holes = np.flatnonzero(np.diff(data) > reach)
            last = int(data[holes[0]] if len(holes) else data[-1])
            stop = min(stop, last + reach)
        self._last, self.next = last, stop
        return stop
