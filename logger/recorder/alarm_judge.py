"""Applies the alarm table to readings; writes `alarm` rows, and passes them to the terminal.

The table may change with the rig during a recording.  An alarm whose row is gone is then written as
clear, so that no viewer keeps showing an alarm that is not judged any more.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping, Sequence

from logger.channels.channel import Channel
from logger.channels.counter_modulus import CounterReading
from logger.recorder.alarms import LEVELS, AlarmRow, AlarmState, judge
from logger.recorder.disk_retry import MOST_PENDING_EVENTS, DiskRetry, EventRow
from logger.recorder.request_handler import RequestHandler

BEYOND_CAPACITY = "beyond the device's capacity"  # label of the alarm of an overload
STOP = LEVELS.index("stop")


class AlarmJudge:
    """The alarms of one recording.

    shown: `alarm` and `ack` rows for the terminal, which the main thread removes
    """

    def __init__(
        self, *, table: Sequence[AlarmRow], channels: Mapping[str, Channel], requests: RequestHandler,
        disk: DiskRetry,
    ) -> None:  # fmt: skip
        self.shown: deque[EventRow] = deque(maxlen=MOST_PENDING_EVENTS)
        self._channels, self._requests, self._disk = channels, requests, disk
        self._states = [(row, AlarmState()) for row in table]
        self._overloaded: set[str] = set()
        self._counters = {
            name: CounterReading(channel.modulus, channel.stale_after_s)
            for name, channel in channels.items()
            if channel.modulus is not None
        }

    def event(self, row: EventRow) -> None:
        """Write an `alarm` or `ack` row, and queue it for the terminal."""
        self.shown.append(row)
        self._disk.event(row)

    def judge(self, name: str, texts: list[bytes], from_s: float, step_s: float) -> None:
        """Apply the alarm rule to readings of one channel.

        texts: readings as sent; from_s: time of the first, s since the recording started; step_s:
        time between two readings, s.
        """
        self.end_overload(name, from_s)
        values: list[float] | None = None
        for place, (row, state) in enumerate(self._states):
            if row.channel != name:
                continue
            if values is None:
                channel, zero = self._channels[name], self._requests.zeros[name]
                numbers = [float(text) for text in texts]
                if name in self._counters:
                    times = (from_s + i * step_s for i in range(len(texts)))
                    numbers = list(map(self._counters[name].follow, times, numbers))
                values = [_si(channel, number, zero) for number in numbers]
            for i, value in enumerate(values):
                state, beyond = judge(row, state, from_s + i * step_s, value)
                if beyond is not None:
                    shown = round(beyond, 3) if math.isfinite(beyond) else None
                    self._change(row, state.level, from_s + i * step_s, shown)
            self._states[place] = (row, state)

    def overload(self, name: str, time_s: float) -> None:
        """Write that a device tells an overload, a reading beyond its capacity in place of a number:
        a `saturated` event and an alarm, once until a number comes again.

        name: of the channel; time_s: s since the recording started.
        """
        if name in self._overloaded:
            return
        self._overloaded.add(name)
        text = "the device tells an overload in place of a number: the true value is not known"
        self._disk.event(EventRow(time_s=time_s, kind="saturated", channel=name, text=text))
        self._write(name, BEYOND_CAPACITY, STOP, time_s, None)

    def end_overload(self, name: str, time_s: float) -> None:
        """Clear the alarm of an overload, if there is one; as `overload`."""
        if name in self._overloaded:
            self._overloaded.remove(name)
            self._write(name, BEYOND_CAPACITY, 0, time_s, None)

    def replace_table(self, now_s: float, table: Sequence[AlarmRow]) -> None:
        """Use another alarm table from now on; now_s: s since the recording started.

        Rows of both tables keep their state; alarms of rows that are gone are written as clear.
        """
        states = dict(self._states)
        for row, state in self._states:
            if state.level and row not in table:
                self._change(row, 0, now_s, None)
        self._states = [(row, states.get(row, AlarmState())) for row in table]

    def _change(self, row: AlarmRow, level: int, time_s: float, value: float | None) -> None:
        self._write(row.channel, row.label, level, time_s, value)

    def _write(
        self, channel: str, label: str, level: int, time_s: float, value: float | None
    ) -> None:
        text = f"{LEVELS[level]}: {label}"
        self.event(EventRow(time_s=time_s, kind="alarm", channel=channel, value=value, text=text))
        self._requests.set_alarm_level(channel, label, level)


def _si(channel: Channel, reading: float, zero: float) -> float:
    """The value of a reading, N or m; infinite on overflow, so that the alarm still sounds."""
    try:
        return channel.si(reading, zero)
    except (ArithmeticError, ValueError):
        return math.inf
