"""Keeps the rows of events.csv that the live page shows, and levels that were exceeded only briefly or at rest."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from analysis.strokes.derived_events import DerivedEvent
from logger.recorder.alarms import LEVELS, LatchedAlarms, split_alarm_text
from logger.session.records import Event

KEPT_EVENTS = 50  # memory only
SHORT = "shortly over"
AT_REST = "over at rest"
# longest time over a level that the recorder may have missed; common practice, no source
SHORT_S = 0.25
SHOWN_EVENTS = frozenset({"mark", "undo", "zero", "hand", "move", "alarm", "ack", "refused", "gap", "disk",
                          "power", "sleep", "stall", "flood", "hangup", "rig", "end", "override", "slip",
                          "shock", "saturated",
                          SHORT, AT_REST})  # fmt: skip


class EventsSoFar:
    """The state that follows from the rows of events.csv so far.

    latched: the alarms, as the recorder raised and cleared them.
    events: the last KEPT_EVENTS rows that the page shows, in order of time.
    undone: ids of rows that were undone.
    marks: the last KEPT_EVENTS marks.
    moves: the moves of a conversion since the last change of the rig, those taken back left out.
    last_alarm: (time s, caution or stop, label); None before the first.
    """

    def __init__(self) -> None:
        self.latched = LatchedAlarms()
        self.events: list[Event] = []
        self.undone: set[str] = set()
        self.marks: list[Event] = []
        self.moves: list[Event] = []
        self.last_alarm: tuple[float, str, str] | None = None

    def take(self, event: Event) -> None:
        """Add a row of events.csv."""
        if event.kind == "alarm":
            self.latched.alarm(event.channel, event.text, event.time_s, event.value)
            word, label = split_alarm_text(event.text)
            if word in LEVELS[1:]:
                self.last_alarm = (event.time_s, word, label)
        elif event.kind == "ack":
            self.latched.ack(event.channel, event.text)
        elif event.kind == "undo":
            self.undone.add(event.text)
            self.moves = [one for one in self.moves if one.id != event.text]
        elif event.kind == "move":
            self.moves = [*self.moves, event]
        elif event.kind == "rig":
            self.moves = []
        elif event.kind == "mark":
            self.marks = [*self.marks, event][-KEPT_EVENTS:]
        if event.kind in SHOWN_EVENTS:
            self.events = [*self.events, event][-KEPT_EVENTS:]


def short_overs(derived: Sequence[DerivedEvent]) -> list[DerivedEvent]:
    """Return the levels exceeded so briefly that the recorder may have raised no alarm, and those at rest.

    Of several within SHORT_S, the first.
    """
    overs: list[DerivedEvent] = []
    for one in derived:
        if one.message.code == "over_limit_at_rest":  # a moment stands for all the time at rest
            overs.append(replace(one, kind=AT_REST))
            continue
        short = one.end_s is not None and one.end_s - one.time_s <= SHORT_S
        if one.kind != "over_limit" or not short:
            continue
        last_s = next((o.time_s for o in reversed(overs) if o.kind == SHORT), -math.inf)
        if one.time_s - last_s > SHORT_S:
            overs.append(replace(one, kind=SHORT))
    return overs
