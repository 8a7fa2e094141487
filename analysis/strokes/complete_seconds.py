"""Determines which whole seconds of a session are complete: no later reading can change them."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable

import numpy as np

from analysis.signals.channel_feed import Feed
from analysis.signals.spikes import LOOK
from analysis.signals.time_cells import RATE
from analysis.signals.time_grid import wait_s
from analysis.strokes.steady_part import MOST_SHIFT
from logger.channels.channel import Channel

HORIZON = (
    RATE // 2
)  # cells that readings and events may come late; derived: twice the 0.25 s of interface section 4
AHEAD = MOST_SHIFT + 2 * LOOK  # cells needed behind a processed one; derived: shifts and spikes
NEVER = -(2**62)  # a cell and a second before all others; an index


def last_cell(feeds: Iterable[Feed]) -> int:
    """Index of the cell with the latest reading; NEVER before the first."""
    last_s = [feed.stream.last_s for feed in feeds if feed.stream.count]
    return math.floor(max(last_s) * RATE) if last_s else NEVER


class CompleteSeconds:
    """Hands out complete seconds in order, each once; skips seconds long after any reading.

    next: the next second to hand out.
    """

    def __init__(self, channels: Iterable[Channel]) -> None:
        self.next = NEVER
        self._last = NEVER - 1000  # second that held the last reading
        # seconds after a reading that are not left out
        self._fill = math.ceil(max([wait_s(c) for c in channels], default=1.0)) + 2

    def settle(self, feeds: Collection[Feed], ended: bool = False) -> int:
        """Declare old cells complete; return the second below which all seconds are complete.

        ended: no further reading will come.
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
            if complete - seen <= math.ceil(wait_s(feed.channel) * RATE):
                ready = min(ready, seen)  # the next reading may still be interpolated to
        return (ready - AHEAD) // RATE

    def begin(self, feeds: Iterable[Feed], until: int) -> int:
        """The first second to process; `until` or later where none below it holds readings."""
        if self._last + self._fill >= self.next:
            return self.next
        first = [int(f.waiting[0]) for f in feeds if len(f.waiting)]
        return max(self.next, min(first) // RATE) if first else until

    def take(self, feeds: Iterable[Feed], begin: int, stop: int) -> int:
        """Hand out seconds from `begin` on, up to `stop` or to a long gap; return the end."""
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
                own = np.arange(first // RATE, final + 1)
                step = max(1, first // RATE - before)
            else:
                own = cells[:k] // RATE
                own = own[np.diff(own, prepend=before) > 0]
                if len(own) == 0:
                    continue
                step = int(np.diff(own, prepend=before).max())
            if step <= reach and int(own[-1]) + reach >= stop:
                full = True  # the usual case: this channel alone leaves no long gap
            seconds.append(own)
        if not full:
            data = np.sort(np.concatenate(seconds))
            holes = np.flatnonzero(np.diff(data) > reach)
            last = int(data[holes[0]] if len(holes) else data[-1])
            stop = min(stop, last + reach)
        self._last, self.next = last, stop
        return stop
