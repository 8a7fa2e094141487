"""Counts what each channel brought and lost, and tells of its gaps.

Every reading that a device sent is either in the file or counted as lost: a viewer can then say
how much of a haul was measured, and clock.csv keeps the account for a recording that is cut short.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from logger import clock
from logger.channels.channel import Channel
from logger.recorder.bounded_queue import BoundedQueue
from logger.recorder.disk_retry import DiskRetry, EventRow
from logger.transports.reader_thread import Arrival, PortReader


class ReadingLedger:
    """The account of all channels, by name.  counts: readings taken over into the file;
    last_s: moment of the newest of them, s since the recording started."""

    def __init__(
        self, *, channels: Mapping[str, Channel], readers: Sequence[PortReader], queue: BoundedQueue,
        disk: DiskRetry,
    ) -> None:  # fmt: skip
        self.channels = channels
        self.counts = dict.fromkeys(channels, 0)
        self.last_s = dict.fromkeys(channels, 0.0)
        self._readers, self._queue, self._disk = readers, queue, disk
        self._lost = dict.fromkeys(channels, 0)
        self._lost_unsaid: Counter[str] = Counter()

    def drops(self) -> dict[str, int]:
        """Losses so far by channel: dropped lines, and readings that could not be kept."""
        drops = dict(self._lost)
        for reader in self._readers:
            for name, count in reader.decoder.drops.items():
                drops[name] += count
        return drops

    def enter(self, name: str, count: int, from_s: float, to_s: float) -> None:
        """Readings of one channel, the first at from_s and the last at to_s."""
        self._tell_silence(name, from_s)
        self.last_s[name] = to_s
        self.counts[name] += count

    def close(self, now: float) -> None:
        """Tell of each channel that is silent at the end."""
        for name in self.channels:
            self._tell_silence(name, now)

    def _tell_silence(self, name: str, now: float) -> None:
        silent = now - self.last_s[name]
        if silent > self.channels[name].stale_after_s:
            text = f"no reading for {silent:.1f} s"
            self._disk.event(
                EventRow(time_s=now, kind="gap", channel=name, value=round(silent, 3), text=text)
            )

    def look(self, now: float) -> None:
        """Count what the full queue lost, and tell of it once the disk takes rows."""
        for name, count in self._queue.lost().items():
            self._lost[name] += count
            self._lost_unsaid[name] += count
        if self._disk.refuses:
            return
        for name, count in self._lost_unsaid.items():
            text = f"{count} readings could not be kept: the queue was full"
            self._disk.event(
                EventRow(time_s=now, kind="gap", channel=name, value=float(count), text=text)
            )
        self._lost_unsaid.clear()

    def clock_row(self, now: float) -> None:
        """Write the account into clock.csv."""
        drops = self.drops()
        counts = [n for name in self.counts for n in (self.counts[name], drops[name])]
        self._disk.attempt(self._disk.writer.clock, now, clock.utc_text(), counts)

    def write_off(self) -> None:
        """Count as lost what the disk refused to the end."""
        for item in self._queue.take(0.0):
            if isinstance(item, Arrival):
                for name, texts in item.decoded.readings.items():
                    self._lost[name] += len(texts)
        for name, count in self._disk.writer.unwritten(self.channels).items():
            self.counts[name] -= count
            self._lost[name] += count
