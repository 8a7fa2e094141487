"""Alarms from a plain table: a channel's value, scaled to the thing at risk, against two levels.

The recorder alone judges; viewers rebuild the state from the `alarm` rows of events.csv, whose
text is `LEVEL: LABEL` with LEVEL caution, stop or clear.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

LEVELS = ("clear", "caution", "stop")
RELEASE = 0.95  # of the level below which an alarm is cleared; common practice, no source


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
    now = 0
    for rank, limit in ((1, row.caution), (2, row.stop)):
        if limit is not None:
            kept = limit * RELEASE if limit > 0 else limit
            if value > (kept if level >= rank else limit):
                now = rank
    if now == level:
        return (state if state.toward == level else replace(state, toward=level)), None
    # a change that goes on in the same direction keeps the moment when it began
    same = state.toward != level and (state.toward > level) == (now > level)
    since = state.since_s if same else time_s
    if time_s - since >= row.hold_s:
        return AlarmState(now, now, time_s), value
    return AlarmState(level, now, since), None
