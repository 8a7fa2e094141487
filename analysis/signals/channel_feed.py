"""Cuts blocks into pieces of all channels, and buffers one channel for the analyser: cells not used yet, gaps, exceeded
levels, highest value."""

from __future__ import annotations

import copy
import math
from collections.abc import Iterator

import numpy as np

from analysis.signals.channel_roles import Level
from analysis.signals.counter_modulus import CounterTurns
from analysis.signals.flat_top import FlatTop
from analysis.signals.intervals import Intervals
from analysis.signals.time_cells import RATE, Cells, CellStream, Floats, Ints
from logger.channels.channel import Channel
from logger.session.records import ChannelReadings

# forces below it count as zero; chosen by us: the weight of 0.2 kg, less than any haul
LEAST_N = 2.0
# used cells that stay in the buffer, because interpolation and the spike filter need them; derived:
# `spikes` compares a cell with the two before it
KEPT = 3
LEAST_STEP_M = 1e-6  # rounding only: no counter has finer steps
MOST_GAPS = 1000  # memory only: more are counted and not listed
# a long block is cut into pieces that fit the processor's cache
SLICE, SLICE_S = 1 << 18, 2600.0  # readings of a channel, and seconds, taken at once; speed only


def slices(
    readings: dict[str, ChannelReadings],
) -> Iterator[tuple[dict[str, tuple[Floats, Floats]], bool]]:
    """Yield pieces of a block: (channel -> (time_s, reading), (n,) each; whether times are in order).

    Each piece holds all channels up to one common time.  A block that is short or whose times are not
    in order comes as one piece.
    """
    channels = {
        name: (np.asarray(r.time_s, np.float64), np.asarray(r.reading, np.float64))
        for name, r in readings.items()
        if len(r.time_s)
    }
    most = max(channels.values(), key=lambda c: len(c[0]), default=None)
    orderly = most is not None and len(most[0]) > SLICE // 16
    if most is None or not (
        orderly and all(bool((t[1:] >= t[:-1]).all()) for t, _ in channels.values())
    ):
        yield channels, False
        return
    np.empty(1 << 22)  # freed at once: from then on the C library reuses arrays up to this size
    span = float(most[0][-1] - most[0][0])
    step = (
        SLICE
        if span <= SLICE_S
        else max(SLICE // 16, min(SLICE, int(len(most[0]) * SLICE_S / span)))
    )
    times = [*most[0][step::step].tolist(), math.inf]
    at = dict.fromkeys(channels, 0)
    for until in times:
        piece = {}
        for name, (time_s, reading) in channels.items():
            k = int(np.searchsorted(time_s, until, "left")) if until < math.inf else len(time_s)
            if k > at[name]:
                piece[name] = (time_s[at[name] : k], reading[at[name] : k])
                at[name] = k
        yield piece, True


class LevelWatch:
    """Collects the intervals in which a channel exceeds one level.

    level: the level that is watched.
    threshold: its value in the channel's SI unit, N or m.
    gain: force on the part that the level protects / force of the channel.
    intervals: cells above the threshold.
    active: whether the rig in use has this level.
    """

    def __init__(self, level: Level) -> None:
        self.level = level
        self.threshold, self.gain = level.level, level.gain
        self.intervals = Intervals(RATE)
        self.active = True

    def fork(self) -> LevelWatch:
        """Return a copy that grows independently."""
        other = copy.copy(self)
        other.intervals = self.intervals.fork()
        return other


class Feed:
    """The buffer of one channel between its readings and the grid.

    channel: of the sensors file.
    stream: readings summed up in cells of 1/32 s, in the channel's unit.
    taken: number of cells of `stream.ready` that were used already and stay in the buffer.
    turns: follows a counter that starts again at its modulus.
    zeros: (time s, reading with no force on the cell), in order of time.
    shift: m added to a counter's readings after its restarts; None before the first reading.
    restarts: number of restarts of a counter.
    spike: N or m; a smaller excursion of one cell is never a spike.
    highest, highest_cell: highest value, SI, and its cell.
    rig_highest, rig_highest_cell: the same since the rig in use was built.
    saturated: intervals with a reading beyond the capacity.
    level_watches: one for each level that the channel has or had.
    flat_top: how often a force cell stays at its highest reading; None of a counter.
    step_m: smallest step of a counter, m; inf before the first.
    gaps: (start s, end s) without a reading, at most MOST_GAPS.
    more_gaps: number of gaps beyond these.
    """

    def __init__(self, channel: Channel, levels: tuple[Level, ...]) -> None:
        self.channel = channel
        # of a counter only differences matter, so the ends of each cell are enough
        self.stream = CellStream(
            channel.quantity == "length" and not levels and channel.capacity is None
        )
        self.taken = 0
        self.turns = CounterTurns(channel)
        self.zeros: list[tuple[float, float]] = []
        self.shift: float | None = None
        self.restarts = 0
        self.spike = max(LEAST_N, 4.0 * float(channel.u_si(0.0)), 0.002 * (channel.capacity or 0.0))
        self.highest, self.highest_cell = -math.inf, 0
        self.rig_highest, self.rig_highest_cell = -math.inf, 0
        self.saturated = Intervals(RATE)
        self.level_watches = [LevelWatch(level) for level in levels]
        self.step_m = math.inf
        self.flat_top = FlatTop(channel) if channel.quantity == "force" else None
        self.gaps: list[tuple[float, float]] = []
        self.more_gaps = 0

    def fork(self) -> Feed:
        """Return a copy that takes readings independently."""
        other = copy.copy(self)
        other.stream = self.stream.fork()
        other.saturated = self.saturated.fork()
        other.flat_top = self.flat_top.fork() if self.flat_top is not None else None
        other.level_watches = [watch.fork() for watch in self.level_watches]
        other.gaps, other.zeros = list(self.gaps), list(self.zeros)
        return other

    def set_levels(self, levels: tuple[Level, ...]) -> None:
        """Watch these levels from now on and no others; a level already watched keeps its intervals."""
        for watch in self.level_watches:
            watch.active = watch.level in levels
        watched = [watch.level for watch in self.level_watches if watch.active]
        self.level_watches += [LevelWatch(level) for level in levels if level not in watched]

    def change_rig(self, levels: tuple[Level, ...]) -> None:
        """Watch the levels of another rig from now on, and begin with its highest value."""
        self.rig_highest, self.rig_highest_cell = -math.inf, 0
        self.set_levels(levels)

    def see_steps(self, cells: Cells, old: int, split: int) -> None:
        """Take the smallest step of a counter from its new cells old..split, in m."""
        step = np.abs(np.diff(cells.last[max(old - 1, 0) : split]))
        step = step[step > LEAST_STEP_M]
        if len(step):
            self.step_m = min(self.step_m, float(step.min()))

    @property
    def seen(self) -> int | None:
        """Index of the last complete cell; None before the first."""
        ready = self.stream.ready
        return int(ready.cell[-1]) if len(ready) else None

    @property
    def waiting(self) -> Ints:
        """Indices of the complete cells that were not used yet, (n,)."""
        return self.stream.ready.cell[self.taken :]

    def take(self, before: int) -> tuple[Cells, int, int]:
        """Use the complete cells below index `before`.

        Returns (cells, start, stop): cells start..stop, in the channel's unit, are the new ones.  Up to
        KEPT used cells precede them; all further complete cells follow them, for interpolation.
        """
        ready, old = self.stream.ready, self.taken
        split = old + int(np.searchsorted(ready.cell[old:], before, "left"))
        self._judge(ready, old, split)
        drop = max(0, split - KEPT)
        self.stream.ready, self.taken = ready.between(drop), split - drop
        return ready, old, split

    def _judge(self, ready: Cells, old: int, split: int) -> None:
        """Record gaps between readings and saturation in the new cells old..split."""
        if split == old:
            return
        if self.flat_top is not None:
            self.flat_top.push(ready.between(old, split))
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
        new = ready.between(old, split)
        high = np.where(np.abs(new.high) > np.abs(new.low), new.high, new.low)
        beyond = self.channel.saturated(new.low) | self.channel.saturated(new.high)
        if np.any(beyond):
            self.saturated.push(new.cell, beyond, np.abs(self.channel.si(high, 0.0)))
