"""Judges alarms: compares a channel's value, scaled to the rated part at risk, with two levels.

To ignore single spikes, a level counts as passed once the value has been beyond it for `hold_s`
without falling to 95 % of it in between, which takes at least two readings in a row.  A shorter
shock is no alarm; the analysis reports it as an event.

Only the recorder judges.  Viewers rebuild the state from the `alarm` and `ack` rows of events.csv
with `LatchedAlarms`.  The text of an `alarm` row is "LEVEL: LABEL", with LEVEL caution, stop or
clear.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from logger.channels.channel import Sensors
from logger.errors import one_line

LEVELS = ("clear", "caution", "stop")
RELEASE = 0.95  # share of a level below which its alarm is cleared; common practice, no source
# hold_s of the rows that the program makes: two readings at 10 Hz, ten at 100 Hz; common practice,
# no source
HOLD_S = 0.1


@dataclass(frozen=True)
class AlarmRow:
    """One row of the alarm table: two levels for gain x (the channel's value) + offset."""

    channel: str  # name of the channel
    label: str  # what is at risk, for people
    gain: float = 1.0  # factor of the channel's value (N or m)
    offset: float = 0.0  # N or m
    caution: float | None = None  # level "caution", N or m; None: no such level
    stop: float | None = None  # level "stop", N or m; None: no such level
    hold_s: float = 0.0  # time beyond a level, or below it again, after which that counts, s

    def lowest(self) -> float | None:
        """The lower of the two levels, N or m; None if there is none."""
        levels = [level for level in (self.caution, self.stop) if level is not None]
        return min(levels) if levels else None


def alarm_rows(sensors: Sensors) -> tuple[AlarmRow, ...]:
    """The alarm table of a sensors file: a row for each channel with a caution or stop level."""
    return tuple(
        AlarmRow(
            channel=channel.name,
            label=channel.name,
            caution=channel.warn_at,
            stop=channel.stop_at,
            hold_s=HOLD_S,
        )
        for channel in sensors.channels
        if channel.warn_at is not None or channel.stop_at is not None
    )


@dataclass(frozen=True)
class AlarmState:
    """The state of one row of the alarm table."""

    level: int = 0  # index into LEVELS of the last written row
    toward: int = 0  # index into LEVELS of a change that hold_s delays; `level` if there is none
    since_s: float = 0.0  # time at which that change began, s since the recording started


def judge(
    row: AlarmRow, state: AlarmState, time_s: float, value_si: float
) -> tuple[AlarmState, float | None]:
    """The state after one more reading, and, if the level changed, the scaled value (else None).

    time_s: time of the reading, s since the recording started; value_si: the channel's value, N or
        m.
    """
    value = row.gain * value_si + row.offset
    level = state.level
    beyond = _rank(row, value, level)
    # while the value rises toward a level, a reading just below it does not restart the hold time
    now = _rank(row, value, state.toward) if state.toward > level else beyond
    if now == level:
        return (state if state.toward == level else replace(state, toward=level)), None
    # a change that continues in the same direction keeps the time at which it began
    same = state.toward != level and (state.toward > level) == (now > level)
    since = state.since_s if same else time_s
    if time_s - since >= row.hold_s and beyond != level:
        return AlarmState(beyond, beyond, time_s), value
    return AlarmState(level, now, since), None


def _rank(row: AlarmRow, value: float, reached: int) -> int:
    """Index of the level that a scaled value is beyond; up to `reached`, RELEASE of it counts."""
    rank = 0
    for k, limit in ((1, row.caution), (2, row.stop)):
        if limit is not None:
            kept = limit * RELEASE if limit > 0 else limit
            if value > (kept if reached >= k else limit):
                rank = k
    return rank


@dataclass(frozen=True)
class HeldAlarm:
    """An alarm that is on, or is over but not acknowledged."""

    channel: str  # name of the channel
    label: str  # what is at risk, for people
    level: int  # index into LEVELS, now
    worst: int  # highest index into LEVELS since it was acknowledged
    time_s: float  # time at which it rose last, s since the recording started
    value: float | None  # scaled value at that time, N or m; None: too large
    acknowledged: bool  # whether a person has acknowledged it since it rose last


def split_alarm_text(text: str) -> tuple[str, str]:
    """Split the text of an `alarm` row into level and label."""
    level, _, label = text.partition(": ")
    return level, label


def joined_labels(labels: Iterable[str]) -> str:
    """The text of an `ack` row for several alarms: their labels, sorted."""
    return one_line(", ".join(sorted(labels)))


@dataclass
class LatchedAlarms:
    """Rebuilds the state of the alarms from `alarm` and `ack` rows, in order.

    An alarm stays until it is acknowledged, even if it is over.
    """

    held: dict[tuple[str, str], HeldAlarm] = field(default_factory=dict)  # by (channel, label)

    def alarm(self, channel: str, text: str, time_s: float, value: float | None) -> None:
        """Take an `alarm` row with this channel, text, time (s) and scaled value (N or m)."""
        word, label = split_alarm_text(text)
        if word not in LEVELS:
            return
        level, key = LEVELS.index(word), (channel, label)
        was = self.held.get(key)
        before = 0 if was is None else was.level
        if level > before:
            worst = level if was is None or was.acknowledged else max(level, was.worst)
            self.held[key] = HeldAlarm(
                channel=channel,
                label=label,
                level=level,
                worst=worst,
                time_s=time_s,
                value=value,
                acknowledged=False,
            )
        elif was is not None:
            self.held[key] = replace(was, level=level)
            self._drop(key)

    def ack(self, channel: str, text: str) -> None:
        """Take an `ack` row; text: one label, or `joined_labels` of all alarms of the channel ("":
        of all channels) that were not acknowledged."""
        open_ = [
            key
            for key, one in self.held.items()
            if not one.acknowledged and channel in ("", key[0])
        ]
        if text != joined_labels(label for _, label in open_):
            open_ = [key for key in open_ if one_line(key[1]) == text]
        for key in open_:
            one = self.held[key]
            self.held[key] = replace(one, acknowledged=True, worst=one.level)
            self._drop(key)

    def open(self) -> Mapping[tuple[str, str], HeldAlarm]:
        """The alarms that are not acknowledged, by (channel, label)."""
        return {key: one for key, one in self.held.items() if not one.acknowledged}

    def _drop(self, key: tuple[str, str]) -> None:
        if self.held[key].acknowledged and self.held[key].level == 0:
            del self.held[key]
