"""Writes what the readers delivered: readings, dropped lines and port events.

A device sends many lines at once.  With one time for all of them a plot would show steps, so the
lines of a chunk are spread evenly over the time in which it arrived.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from logger.recorder.alarm_judge import AlarmJudge
from logger.recorder.disk_retry import DiskRetry, EventRow
from logger.recorder.reading_ledger import ReadingLedger
from logger.recorder.request_handler import RequestHandler
from logger.session.descriptor import csv_line
from logger.transports.reader_thread import Arrival, PortEvent

# a chunk that arrived in less time has one time for all its lines; chosen by us: clocks resolve no
# less
SPREAD_S = 0.001


class ReadingIntake:
    """Writes the queue's items, and passes readings to ledger, request handler and alarms."""

    def __init__(
        self, *, ledger: ReadingLedger, requests: RequestHandler, alarms: AlarmJudge, disk: DiskRetry,
        zero_moment: float,
    ) -> None:  # fmt: skip
        self._ledger, self._requests, self._alarms, self._disk = ledger, requests, alarms, disk
        self._zero_moment = zero_moment

    def write(self, items: Sequence[Arrival | PortEvent]) -> None:
        """Write items of the queue to readings.csv, rejects.csv and events.csv."""
        rows: list[bytes] = []
        for item in items:
            if isinstance(item, PortEvent):
                self._port_event(item)
                continue
            from_s, to_s = item.from_s - self._zero_moment, item.to_s - self._zero_moment
            for name, texts in item.decoded.readings.items():
                rows.append(self._rows(name, texts, from_s, to_s))
            for cause, line in item.decoded.samples:
                self._disk.attempt(self._disk.writer.reject, to_s, item.port, cause, line)
        if rows:
            self._disk.attempt(self._disk.writer.readings, b"".join(rows))

    def _port_event(self, item: PortEvent) -> None:
        names = [n for n, c in self._ledger.channels.items() if c.port == item.port]
        self._disk.event(EventRow(
            time_s=item.time_s - self._zero_moment,
            kind=item.kind,
            channel=names[0] if len(names) == 1 else "",
            text=f"{item.port}: {item.text}" if item.text else item.port,
        ))  # fmt: skip

    def _rows(self, name: str, texts: list[bytes], from_s: float, to_s: float) -> bytes:
        """Rows of readings.csv of one channel's chunk, none earlier than its last row."""
        from_s = max(from_s, self._ledger.last_s[name])
        rows, step = _spread(_label(name), texts, from_s, to_s)
        self._ledger.enter(name, len(texts), from_s, from_s + (len(texts) - 1) * step)
        self._requests.remember(name, from_s, step, texts)
        self._alarms.judge(name, texts, from_s, step)
        return rows


@cache
def _label(name: str) -> bytes:
    """A channel's cell in readings.csv."""
    return csv_line([name])[:-1]


def _spread(label: bytes, texts: list[bytes], from_s: float, to_s: float) -> tuple[bytes, float]:
    """Rows of readings.csv spread from from_s to to_s (s), and the time between two of them, s."""
    n = len(texts)
    if n == 1 or to_s - from_s < SPREAD_S:
        head = b"%.4f,%s," % (from_s, label)
        return head + (b"\n" + head).join(texts) + b"\n", 0.0
    step = (to_s - from_s) / n
    rows = [b"%.4f,%s,%s\n" % (from_s + i * step, label, text) for i, text in enumerate(texts)]
    return b"".join(rows), step
