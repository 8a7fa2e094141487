"""What the analyser keeps of one channel: cells not yet used, gaps, excursions, its highest value."""

from __future__ import annotations

import copy
import math

import numpy as np

from analysis.signals.channel_roles import Level
from analysis.signals.intervals import Runs
from analysis.signals.time_cells import RATE, Cells, CellStream, Ints
from logger.channels.channel import Channel

LEAST_N = 2.0  # forces below it are taken for none; chosen by us: the weight of 0.2 kg, less than any haul
# used cells that are kept: straight lines begin there, spikes are seen against them; derived: `spikes`
# looks at two cells before the one that it judges
KEPT = 3
MOST_GAPS = 1000  # memory only: more are counted and not listed


class Limit:
    """A level (SI, of the channel) and the stretches beyond it while it holds."""

    def __init__(self, of: Level) -> None:
        self.of = of
        self.level, self.gain = of.level, of.gain
        self.runs = Runs(RATE)
        self.holds = True

    def fork(self) -> Limit:
        other = copy.copy(self)
        other.runs = self.runs.fork()
        return other


class Feed:
    """What is kept of one channel."""

    def __init__(self, channel: Channel, levels: tuple[Level, ...]) -> None:
        self.channel = channel
        # of a counter only differences matter, so the ends of each cell are enough
        self.stream = CellStream(
            channel.quantity == "length" and not levels and channel.capacity is None
        )
        self.taken = 0  # how many cells of stream.ready were used; a few of them are kept
        self.zeros: list[tuple[float, float]] = []
        self.shift: float | None = None
        self.restarts = 0
        self.spike = max(LEAST_N, 4.0 * float(channel.u_si(0.0)), 0.002 * (channel.capacity or 0.0))
        self.highest, self.highest_cell = -math.inf, 0
        self.saturated = Runs(RATE)
        self.limits = [Limit(level) for level in levels]
        self.gaps: list[tuple[float, float]] = []
        self.more_gaps = 0

    def fork(self) -> Feed:
        other = copy.copy(self)
        other.stream = self.stream.fork()
        other.saturated = self.saturated.fork()
        other.limits = [limit.fork() for limit in self.limits]
        other.gaps, other.zeros = list(self.gaps), list(self.zeros)
        return other

    def limit(self, levels: tuple[Level, ...]) -> None:
        """From now on these levels hold; one that held before goes on."""
        for old in self.limits:
            old.holds = old.of in levels
        known = [x.of for x in self.limits if x.holds]
        self.limits += [Limit(level) for level in levels if level not in known]

    @property
    def seen(self) -> int | None:
        """The last complete cell."""
        ready = self.stream.ready
        return int(ready.cell[-1]) if len(ready) else None

    @property
    def waiting(self) -> Ints:
        """Cells that were not used yet."""
        return self.stream.ready.cell[self.taken :]

    def take(self, before: int) -> tuple[Cells, int, int]:
        """Raw cells, and which of them are below `before` and new: from, to.  In front of them up to
        KEPT that were used before, behind them all that are complete already."""
        ready, old = self.stream.ready, self.taken
        split = old + int(np.searchsorted(ready.cell[old:], before, "left"))
        self._judge(ready, old, split)
        drop = max(0, split - KEPT)
        self.stream.ready, self.taken = ready.part(drop), split - drop
        return ready, old, split

    def _judge(self, ready: Cells, old: int, split: int) -> None:
        """Gaps between readings and saturation of new cells; nothing here needs the grid."""
        if split == old:
            return
        one = max(old, 1)
        away = ready.first_s[one:split] - ready.last_s[one - 1 : split - 1]
        if len(away) and away.max() > self.channel.stale_after_s:
            for k in (np.flatnonzero(away > self.channel.stale_after_s) + one).tolist():
                if len(self.gaps) < MOST_GAPS:
                    self.gaps.append((float(ready.last_s[k - 1]), float(ready.first_s[k])))
                else:
                    self.more_gaps += 1
        if self.channel.capacity is None:
            return
        mine = ready.part(old, split)
        high = np.where(np.abs(mine.high) > np.abs(mine.low), mine.high, mine.low)
        beyond = self.channel.saturated(mine.low) | self.channel.saturated(mine.high)
        if np.any(beyond):
            self.saturated.push(mine.cell, beyond, np.abs(self.channel.si(high, 0.0)))
