"""Writes what the readers delivered: readings, dropped lines and port events.

A device sends many lines at once.  With one time for all of them a plot would show steps, so the
lines of a chunk are spread evenly over the time in which it arrived.  What waited while the
reader was held up is dated by the channel's own rate, see `_dated`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from logger.channels.device_clock import DeviceClock, placed
from logger.errors import one_line
from logger.recorder.alarm_judge import AlarmJudge
from logger.recorder.disk_retry import DiskRetry, EventRow
from logger.recorder.reading_ledger import ReadingLedger
from logger.recorder.request_handler import RequestHandler
from logger.session.descriptor import csv_line
from logger.transports.reader_thread import Arrival, PortEvent

# a chunk that arrived in less time has one time for all its lines; chosen by us: clocks resolve no
# less
SPREAD_S = 0.001
EVEN_S = 5e-5  # derived: half a digit of the times in readings.csv
# share of a stall that its readings, at the channel's rate, may fall short of before that is said;
# chosen by us: rates are known to some percent
SHORT = 0.1


@dataclass(frozen=True)
class Dating:
    """Times for the readings of one channel."""

    from_s: float  # of the first, s since the recording started
    step_s: float  # between two readings, s
    text: str = ""  # how they were dated, in words; "" for the usual way


class ReadingIntake:
    """Writes the queue's items, and passes readings to ledger, request handler and alarms."""

    def __init__(
        self, *, ledger: ReadingLedger, requests: RequestHandler, alarms: AlarmJudge, disk: DiskRetry,
        zero_moment: float,
    ) -> None:  # fmt: skip
        self._ledger, self._requests, self._alarms, self._disk = ledger, requests, alarms, disk
        self._zero_moment = zero_moment
        self._device_clocks = {
            name: DeviceClock(channel)
            for name, channel in ledger.channels.items()
            if channel.has_time
        }

    def write(self, items: Sequence[Arrival | PortEvent]) -> None:
        """Write items of the queue to readings.csv, rejects.csv and events.csv."""
        rows: list[bytes] = []
        for item in items:
            if isinstance(item, PortEvent):
                self._port_event(item)
                continue
            from_s, to_s = item.from_s - self._zero_moment, item.to_s - self._zero_moment
            if item.held_s:
                rows += self._after_stall(item, from_s, to_s)
            else:
                for name, texts in item.decoded.readings.items():
                    rows += self._placed_rows(item, name, texts, from_s, to_s)
            for name, before in item.decoded.overloads.items():
                readings = item.decoded.readings.get(name, ())
                self._alarms.overload(name, max(to_s, self._ledger.last_s[name]))
                if before[-1] < len(readings):  # a reading came behind it
                    self._alarms.end_overload(name, max(to_s, self._ledger.last_s[name]))
            for cause, line in item.decoded.samples:
                self._disk.attempt(self._disk.writer.reject, to_s, item.port, cause, line)
        if rows:
            self._disk.attempt(self._disk.writer.readings, b"".join(rows))

    def _placed_rows(
        self, item: Arrival, name: str, texts: list[bytes], from_s: float, to_s: float
    ) -> list[bytes]:
        """Rows of one channel's chunk, spaced by the device's own time where it tells, else evenly.

        from_s, to_s: when the chunk began and ended to arrive, s since the start.
        """
        times, last_s = item.decoded.times.get(name), self._ledger.last_s[name]
        device = self._device_clocks.get(name)
        offsets = None
        if device is not None and times is not None and len(times) == len(texts):
            offsets = device.offsets(times, to_s)
            self._tell(name, item.port, to_s, device.complaint(to_s))
        if offsets is None or len(texts) == 1:
            return [self._rows(name, texts, _spread(len(texts), max(from_s, last_s), to_s))]
        moments = placed(offsets, from_s, to_s, last_s)
        step_s = (moments[-1] - moments[0]) / (len(moments) - 1)
        if all(abs(moments[0] + k * step_s - t) < EVEN_S for k, t in enumerate(moments)):
            return [self._rows(name, texts, Dating(moments[0], step_s))]
        return [
            self._rows(name, [text], Dating(moment, 0.0))
            for moment, text in zip(moments, texts, strict=True)
        ]

    def _tell(self, name: str, port: str, time_s: float, complaint: str) -> None:
        """Write what is wrong with a device's time as an event; "" is nothing."""
        if complaint:
            text = one_line(f"{one_line(port, 60)}: {complaint}")
            self._disk.event(EventRow(time_s=time_s, kind="gap", channel=name, text=text))

    def _port_event(self, item: PortEvent) -> None:
        names = [n for n, c in self._ledger.channels.items() if c.port == item.port]
        self._disk.event(EventRow(
            time_s=item.time_s - self._zero_moment,
            kind=item.kind,
            channel=names[0] if len(names) == 1 else "",
            value=item.value,
            text=f"{item.port}: {item.text}" if item.text else item.port,
        ))  # fmt: skip

    def _after_stall(self, item: Arrival, from_s: float, to_s: float) -> list[bytes]:
        """Rows of what came while the reader was held up, and the `stall` event.

        from_s, to_s: when the stall began, and when the readings arrived, s since the start.
        """
        rows, texts = [], []
        for name, readings in item.decoded.readings.items():
            start = max(from_s, self._ledger.last_s[name])
            dating = _dated(len(readings), start, to_s, self._ledger.period_s(name), item.cut)
            texts.append(f"{len(readings)} readings of {name} {dating.text}")
            rows.append(self._rows(name, readings, dating))
        names = [n for n, c in self._ledger.channels.items() if c.port == item.port]
        came = "; ".join(texts) or "no reading came meanwhile"
        lost = "; the system's buffer was full, what came after is lost" if item.cut else ""
        self._disk.event(EventRow(
            time_s=from_s + item.held_s,
            kind="stall",
            channel=names[0] if len(names) == 1 else "",
            value=round(item.held_s, 3),
            text=f"{item.port}: this computer held the recorder up for {item.held_s:.1f} s; "
            f"{came}{lost}",
        ))  # fmt: skip
        return rows

    def _rows(self, name: str, texts: list[bytes], dating: Dating) -> bytes:
        """Rows of readings.csv of one channel's chunk; `dating` begins no earlier than its last
        row."""
        from_s, step_s = dating.from_s, dating.step_s
        self._ledger.enter(name, len(texts), from_s, from_s + (len(texts) - 1) * step_s)
        self._requests.remember(name, from_s, step_s, texts)
        self._alarms.judge(name, texts, from_s, step_s)
        return _row_text(_label(name), texts, from_s, step_s)


@cache
def _label(name: str) -> bytes:
    """A channel's cell in readings.csv."""
    return csv_line([name])[:-1]


def _spread(count: int, from_s: float, to_s: float) -> Dating:
    """`count` readings spread evenly from from_s to to_s, s since the start."""
    if count == 1 or to_s - from_s < SPREAD_S:
        return Dating(from_s, 0.0)
    return Dating(from_s, (to_s - from_s) / count)


def _dated(count: int, from_s: float, to_s: float, period_s: float | None, cut: bool) -> Dating:
    """Times for `count` readings that waited in the system's buffer during a stall.

    from_s, to_s: when the stall began, and when they arrived, s since the start; period_s: time
    between two readings of the channel, s, None if unknown; cut: the buffer was full, so that it
    holds those from the beginning of the stall.

    They are spaced by the channel's own period: forward from the beginning where the buffer was
    full, else back from their arrival, and never before the beginning.
    """
    if period_s is None or count * period_s >= to_s - from_s:
        why = "" if period_s is not None else ", as its rate is not known"
        step_s = (to_s - from_s) / count
        return Dating(from_s, step_s, f"spread evenly over this time{why}")
    if cut:
        return Dating(from_s, period_s, f"dated forward from its beginning, {period_s:.3g} s apart")
    start = to_s - (count - 1) * period_s
    short_s = start - from_s
    unsure = (
        f", each up to {short_s:.1f} s too late if it paused"
        if short_s > SHORT * (to_s - from_s) + period_s
        else ""
    )
    return Dating(start, period_s, f"dated back from their arrival, {period_s:.3g} s apart{unsure}")


def _row_text(label: bytes, texts: list[bytes], from_s: float, step_s: float) -> bytes:
    """Rows of readings.csv; from_s: time of the first, s; step_s: between two of them, s."""
    if not step_s:
        head = b"%.4f,%s," % (from_s, label)
        return head + (b"\n" + head).join(texts) + b"\n"
    rows = [b"%.4f,%s,%s\n" % (from_s + i * step_s, label, text) for i, text in enumerate(texts)]
    return b"".join(rows)
