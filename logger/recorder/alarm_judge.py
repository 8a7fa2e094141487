"""Applies the alarm table to readings; writes `alarm` rows, and passes them to the terminal.

The table may change with the rig during a recording.  An alarm whose row is gone is then written as
clear, so that no viewer keeps showing an alarm that is not judged any more.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping, Sequence

from logger.channels.channel import Channel
from logger.recorder.alarms import LEVELS, AlarmRow, AlarmState, judge
from logger.recorder.disk_retry import MOST_PENDING_EVENTS, DiskRetry, EventRow
from logger.recorder.request_handler import RequestHandler


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

    def event(self, row: EventRow) -> None:
        """Write an `alarm` or `ack` row, and queue it for the terminal."""
        self.shown.append(row)
        self._disk.event(row)

    def judge(self, name: str, texts: list[bytes], from_s: float, step_s: float) -> None:
        """Apply the alarm rule to readings of one channel.

        texts: readings as sent; from_s: time of the first, s since the recording started; step_s:
        time between two readings, s.
        """
        values: list[float] | None = None
        for place, (row, state) in enumerate(self._states):
            if row.channel != name:
                continue
            if values is None:
                channel, zero = self._channels[name], self._requests.zeros[name]
                values = [_si(channel, float(text), zero) for text in texts]
            for i, value in enumerate(values):
                state, beyond = judge(row, state, from_s + i * step_s, value)
                if beyond is not None:
                    shown = round(beyond, 3) if math.isfinite(beyond) else None
                    self._change(row, state.level, from_s + i * step_s, shown)
            self._states[place] = (row, state)

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
        text = f"{LEVELS[level]}: {row.label}"
        self.event(
            EventRow(time_s=time_s, kind="alarm", channel=row.channel, value=value, text=text)
        )
        self._requests.set_alarm_level(row.channel, row.label, level)


def _si(channel: Channel, reading: float, zero: float) -> float:
    """The value of a reading, N or m; infinite on overflow, so that the alarm still sounds."""
    try:
        return channel.si(reading, zero)
    except (ArithmeticError, ValueError):
        return math.inf
