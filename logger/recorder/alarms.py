"""Alarms from a plain table: a channel's value, scaled to the thing at risk, against two levels.

The rule against single spikes is time over level: a level counts once the value has been beyond it
for `hold_s` without falling to 95 % of it in between, so for two readings in a row at the least.  A
shock shorter than that is no alarm; the analysis tells it as an event.

The recorder alone judges; viewers rebuild the state from the `alarm` and `ack` rows of events.csv
with `LatchedAlarms`.  An alarm's text is `LEVEL: LABEL` with LEVEL caution, stop or clear.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from logger.errors import one_line

LEVELS = ("clear", "caution", "stop")
RELEASE = 0.95  # of the level below which an alarm is cleared; common practice, no source
# of the rows that the program makes: two readings at 10 Hz, ten at 100 Hz; common practice, no source
HOLD_S = 0.1


@dataclass(frozen=True)
class AlarmRow:
    """value = gain x (the channel's SI value) + offset, against caution and stop (same unit);
    hold_s: how long it has to be beyond a level, or below it again, before that counts."""

    channel: str
    label: str
    gain: float = 1.0
    offset: float = 0.0
    caution: float | None = None
    stop: float | None = None
    hold_s: float = 0.0

    def lowest(self) -> float | None:
        """The lower of the levels, or None where there is none."""
        levels = [level for level in (self.caution, self.stop) if level is not None]
        return min(levels) if levels else None


@dataclass(frozen=True)
class AlarmState:
    """level: index into LEVELS that was told last; toward, since_s: a change that is held."""

    level: int = 0
    toward: int = 0
    since_s: float = 0.0


def judge(
    row: AlarmRow, state: AlarmState, time_s: float, value_si: float
) -> tuple[AlarmState, float | None]:
    """The state after one reading (SI), and the value to tell where the level changed.

    Pure; its result depends only on the readings so far.
    """
    value = row.gain * value_si + row.offset
    level = state.level
    beyond = _rank(row, value, level)
    # on its way up, a reading just below the level does not start the time anew
    now = _rank(row, value, state.toward) if state.toward > level else beyond
    if now == level:
        return (state if state.toward == level else replace(state, toward=level)), None
    # a change that goes on in the same direction keeps the moment when it began
    same = state.toward != level and (state.toward > level) == (now > level)
    since = state.since_s if same else time_s
    if time_s - since >= row.hold_s and beyond != level:
        return AlarmState(beyond, beyond, time_s), value
    return AlarmState(level, now, since), None


def _rank(row: AlarmRow, value: float, reached: int) -> int:
    """The level that a value is beyond; one that is reached holds down to RELEASE of it."""
    rank = 0
    for k, limit in ((1, row.caution), (2, row.stop)):
        if limit is not None:
            kept = limit * RELEASE if limit > 0 else limit
            if value > (kept if reached >= k else limit):
                rank = k
    return rank


@dataclass(frozen=True)
class HeldAlarm:
    """An alarm that is on, or over and not acknowledged.  level: now; worst: highest since it was
    acknowledged; time_s, value: when it rose last, and the value then; seen: acknowledged."""

    channel: str
    label: str
    level: int
    worst: int
    time_s: float
    value: float | None
    seen: bool


def split_alarm_text(text: str) -> tuple[str, str]:
    """The level and the label of an `alarm` row's text."""
    level, _, label = text.partition(": ")
    return level, label


def joined_labels(labels: Iterable[str]) -> str:
    """How an `ack` row names several alarms."""
    return one_line(", ".join(sorted(labels)))


@dataclass
class LatchedAlarms:
    """Alarms from their rows, in order: each stays until it is acknowledged, also when it is over."""

    held: dict[tuple[str, str], HeldAlarm] = field(default_factory=dict)

    def alarm(self, channel: str, text: str, time_s: float, value: float | None) -> None:
        """A row of kind `alarm`."""
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
        """A row of kind `ack`: one label, or all that were open, as the recorder joins them."""
        open_ = [key for key, one in self.held.items() if not one.acknowledged and channel in ("", key[0])]
        if text != joined_labels(label for _, label in open_):
            open_ = [key for key in open_ if one_line(key[1]) == text]
        for key in open_:
            one = self.held[key]
            self.held[key] = replace(one, acknowledged=True, worst=one.level)
            self._drop(key)

    def open(self) -> Mapping[tuple[str, str], HeldAlarm]:
        """What is not acknowledged."""
        return {key: one for key, one in self.held.items() if not one.acknowledged}

    def _drop(self, key: tuple[str, str]) -> None:
        if self.held[key].seen and self.held[key].level == 0:
            del self.held[key]
