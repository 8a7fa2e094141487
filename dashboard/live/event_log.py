"""Puts on the board what happened in a session: alarms, the last events, and what the graph marks."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.live.events_so_far import KEPT_EVENTS, SHORT, SHOWN_EVENTS, EventsSoFar, short_overs
from analysis.messages.message import Message
from analysis.prediction.alarm_rows import recorded
from analysis.strokes.derived_events import DerivedEvent
from analysis.strokes.stroke import Stroke
from dashboard.live.state_feed import Board, sig
from dashboard.text.alarm_levels import label_text
from dashboard.text.units import Units
from logger.channels.channel import Sensors
from logger.errors import one_line
from logger.recorder.alarms import HeldAlarm
from logger.session.records import Event

LAST_EVENTS = 6
SHOWN_ALARMS = 5
SPANS_KEPT = 48  # strokes, resets and marks that a page which comes late is told
SUDDEN = frozenset({"slip", "shock", "saturated", SHORT})


class EventLog:
    """Tells pages what is new of the events.

    so_far: the rows of events.csv.
    sensors, units: of the session, and of the page.
    alarms: by recorded text, what it says of a rated part (`part_texts` of the session's rigs).
    """

    def __init__(self, so_far: EventsSoFar, sensors: Sensors, units: Units) -> None:
        self.so_far, self.sensors, self.units = so_far, sensors, units
        self.alarms: dict[str, Message] = {}
        self._spans: set[str] = set()  # keys on the board

    def tell_alarms(self, board: Board) -> None:
        """`al:k`: [level now, worst, label, since s, value, acknowledged, channel]; `done`: the
        recorder's answers to what pages asked."""
        ordered = sorted(self.so_far.latched.held.values(), key=_first)
        for k in range(SHOWN_ALARMS):
            one = ordered[k] if k < len(ordered) else None
            board.set(f"al:{k}", one and [
                one.level, one.worst, one_line(label_text(one.label, self.alarms, self.units), 60), round(one.time_s, 1),
                sig(one.value), int(one.acknowledged), one_line(one.channel, 40),
            ])  # fmt: skip
        board.set("aln", len(ordered))
        board.set("done", [
            [e.id, e.kind, one_line(self._text(e), 60)]
            for e in self.so_far.events[-4:] if e.id[:1] == "q"
        ])  # fmt: skip

    def tell(self, board: Board, strokes: Sequence[Stroke], found: Sequence[DerivedEvent]) -> None:
        """The last events, the last alarm, and strokes, resets and marks."""
        late = [*found[-4 * KEPT_EVENTS :], *short_overs(found[-4 * KEPT_EVENTS :])]
        units = self.units
        recent = [
            (f.time_s, f.kind, f.message.text(units)) for f in late if f.kind in SHOWN_EVENTS
        ] + [(e.time_s, e.kind, self._text(e)) for e in self.so_far.events]
        recent.sort(key=lambda row: row[0])
        rows = recent[-LAST_EVENTS:][::-1]
        for k in range(LAST_EVENTS):
            row = rows[k] if k < len(rows) else None
            board.set(f"e:{k}", row and [round(row[0], 1), row[1], one_line(row[2], 120)])
        sudden = sorted((f.time_s, f.kind, f.message.text(units)) for f in late if f.kind in SUDDEN)
        last_alarm = self.so_far.last_alarm
        if last_alarm is not None:
            last_alarm = (*last_alarm[:2], label_text(last_alarm[2], self.alarms, units))
        for key, last in (("last", sudden[-1] if sudden else None), ("lasta", last_alarm)):
            board.set(key, last and [round(last[0], 1), last[1], one_line(last[2], 80)])
        self._tell_spans(board, strokes, found)

    def _text(self, event: Event) -> str:
        text = recorded(event, self.alarms, self.sensors, self.units)
        return text + (" (undone)" if event.id and event.id in self.so_far.undone else "")

    def _tell_spans(
        self, board: Board, strokes: Sequence[Stroke], found: Sequence[DerivedEvent]
    ) -> None:
        """`k:n`: [from s, to s, what]: haul, lower, reset, mark, shock, slip."""
        half = SPANS_KEPT // 2
        spans: list[tuple[str, float, float | None, str]] = [
            (f"k:s{k % half}", s.start_s, None if s.growing else s.end_s, s.direction)
            for k, s in list(enumerate(strokes))[-half:]
        ]
        resets = [f for f in found if f.kind == "reset"]
        spans += [
            (f"k:r{k % half}", f.time_s, f.end_s, "reset")
            for k, f in list(enumerate(resets))[-half:]
        ]
        sudden = [f for f in found if f.kind in SUDDEN]
        spans += [
            (f"k:x{k % 12}", f.time_s, f.end_s, f.kind) for k, f in list(enumerate(sudden))[-12:]
        ]
        marks = [e for e in self.so_far.marks if e.id not in self.so_far.undone][-12:]
        spans += [(f"k:m{k}", e.time_s, e.time_s, "mark") for k, e in enumerate(marks)]
        for key, start, end, what in spans:
            board.set(key, [round(start, 1), None if end is None else round(end, 1), what])
        keys = {span[0] for span in spans}
        for key in self._spans - keys:
            board.set(key, None)
        self._spans = keys


def _first(one: HeldAlarm) -> tuple[bool, int, float]:
    """Open before acknowledged, the worst and the latest first."""
    return one.acknowledged, -one.worst, -one.time_s
