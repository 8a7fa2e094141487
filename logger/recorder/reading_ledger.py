"""Counts the readings that each channel brought and lost, and writes its gaps as events.

Every reading that a device sent is either in the file or counted as lost, so that a viewer can show
how much of a haul was measured.  The counts are in clock.csv, also of a recording that is cut
short.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Mapping, Sequence

from logger import clock
from logger.channels.channel import Channel
from logger.recorder.bounded_queue import BoundedQueue
from logger.recorder.disk_retry import DiskRetry, EventRow
from logger.transports.reader_thread import Arrival, PortReader

RATE_OVER_S = 10.0  # time over which a channel's rate is taken; chosen by us: devices keep theirs
RATE_EVERY_S = 0.5  # time between two counts of it; memory only


class ReadingLedger:
    """Counts of all channels.

    channels: channels by name
    counts: readings written so far, by channel
    last_s: time of the last of them, by channel, s since the recording started
    """

    def __init__(
        self, *, channels: Mapping[str, Channel], readers: Sequence[PortReader], queue: BoundedQueue,
        disk: DiskRetry,
    ) -> None:  # fmt: skip
        self.channels = channels
        self.counts = dict.fromkeys(channels, 0)
        self.last_s = dict.fromkeys(channels, 0.0)
        self._readers, self._queue, self._disk = readers, queue, disk
        self._lost = dict.fromkeys(channels, 0)
        self._lost_unreported: Counter[str] = Counter()
        self._counted: dict[str, deque[tuple[float, int]]] = {name: deque() for name in channels}

    def drops(self) -> dict[str, int]:
        """Lost readings so far, by channel: dropped lines, and readings that could not be kept."""
        drops = dict(self._lost)
        for reader in self._readers:
            for name, count in reader.decoder.drops.items():
                drops[name] += count
        return drops

    def enter(self, name: str, count: int, from_s: float, to_s: float) -> None:
        """Count readings of one channel, and write a `gap` event if a silence came before them.

        from_s, to_s: time of the first and the last of them, s since the recording started.
        """
        counted = self._counted[name]
        if self._write_gap(name, from_s):
            counted.clear()
        self.last_s[name] = to_s
        self.counts[name] += count
        if not counted or to_s - counted[-1][0] >= RATE_EVERY_S:
            counted.append((to_s, self.counts[name]))
            while to_s - counted[0][0] > RATE_OVER_S:
                counted.popleft()

    def period_s(self, name: str) -> float | None:
        """Mean time between two readings of a channel lately, s; None before there is a rate."""
        counted = self._counted[name]
        if not counted or self.counts[name] == counted[0][1]:
            return None
        return (self.last_s[name] - counted[0][0]) / (self.counts[name] - counted[0][1])

    def close(self, now_s: float) -> None:
        """Write a `gap` event for each channel silent at the end; now_s: s since the start."""
        for name in self.channels:
            self._write_gap(name, now_s)

    def _write_gap(self, name: str, now_s: float) -> bool:
        """Write a `gap` event if the channel was silent for too long; returns whether it was."""
        silent_s = now_s - self.last_s[name]
        if silent_s > self.channels[name].stale_after_s:
            self._disk.event(
                EventRow(
                    time_s=now_s,
                    kind="gap",
                    channel=name,
                    value=round(silent_s, 3),
                    text=f"no reading for {silent_s:.1f} s",
                )
            )
            return True
        return False

    def report_losses(self, now_s: float) -> None:
        """Count the readings that the full queue dropped; write a `gap` event if the disk takes it.

        now_s: s since the recording started.
        """
        for name, count in self._queue.lost().items():
            self._lost[name] += count
            self._lost_unreported[name] += count
        if self._disk.refuses:
            return
        for name, count in self._lost_unreported.items():
            text = f"{count} readings could not be kept: the queue was full"
            self._disk.event(
                EventRow(time_s=now_s, kind="gap", channel=name, value=float(count), text=text)
            )
        self._lost_unreported.clear()

    def write_counts(self, now_s: float) -> None:
        """Write the counts as a row of clock.csv; now_s: s since the recording started."""
        drops = self.drops()
        counts = [n for name in self.counts for n in (self.counts[name], drops[name])]
        self._disk.attempt(self._disk.writer.clock, now_s, clock.utc_text(), counts)

    def write_off(self) -> None:
        """Count as lost the readings that the disk refused to the end."""
        for item in self._queue.take(0.0):
            if isinstance(item, Arrival):
                for name, texts in item.decoded.readings.items():
                    self._lost[name] += len(texts)
        for name, count in self._disk.writer.unwritten(self.channels).items():
            self.counts[name] -= count
            self._lost[name] += count
