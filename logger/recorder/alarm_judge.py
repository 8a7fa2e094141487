"""Turns readings into rows of alarms, and hands alarms to the terminal.

The table may change with the rig while it records: an alarm whose row goes is told to be over, so
that no viewer shows one that nothing judges any more.
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
    """The alarms of one recording.  shown: rows of alarms and acknowledgements for the terminal,
    taken out by the main thread."""

    def __init__(
        self, *, table: Sequence[AlarmRow], channels: Mapping[str, Channel], requests: RequestHandler,
        disk: DiskRetry,
    ) -> None:  # fmt: skip
        self.shown: deque[EventRow] = deque(maxlen=MOST_PENDING_EVENTS)
        self._channels, self._requests, self._disk = channels, requests, disk
        self._states = [(row, AlarmState()) for row in table]

    def event(self, row: EventRow) -> None:
        """Write an `alarm` or `ack` row, and show it."""
        self.shown.append(row)
        self._disk.event(row)

    def judge(self, name: str, texts: list[bytes], from_s: float, step: float) -> None:
        """Readings of one channel, as sent; the first at from_s, the others each `step` s later."""
        values: list[float] | None = None
        for place, (row, state) in enumerate(self._states):
            if row.channel != name:
                continue
            if values is None:
                channel, zero = self._channels[name], self._requests.zeros[name]
                values = [_si(channel, float(text), zero) for text in texts]
            for i, value in enumerate(values):
                state, beyond = judge(row, state, from_s + i * step, value)
                if beyond is not None:
                    shown = round(beyond, 3) if math.isfinite(beyond) else None
                    self._change(row, state.level, from_s + i * step, shown)
            self._states[place] = (row, state)

    def replace_table(self, now: float, table: Sequence[AlarmRow]) -> None:
        """Another rig, another table: rows that stay keep their state, those that go are cleared."""
        states = dict(self._states)
        for row, state in self._states:
            if state.level and row not in table:
                self._change(row, 0, now, None)
        self._states = [(row, states.get(row, AlarmState())) for row in table]

    def _change(self, row: AlarmRow, level: int, time_s: float, value: float | None) -> None:
        text = f"{LEVELS[level]}: {row.label}"
        self.event(
            EventRow(time_s=time_s, kind="alarm", channel=row.channel, value=value, text=text)
        )
        self._requests.alarmed(row.channel, row.label, level)


def _si(channel: Channel, reading: float, zero: float) -> float:
    """The SI value; without limit where it is too large to be told, which no alarm may miss."""
    try:
        return channel.si(reading, zero)
    except (ArithmeticError, ValueError):
        return math.inf
