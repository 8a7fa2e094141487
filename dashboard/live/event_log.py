"""Sends what happened in a session: alarms, the last events, and what the graph marks."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.live.events_so_far import KEPT_EVENTS, SHORT, SHOWN_EVENTS, EventsSoFar, short_overs
from analysis.prediction.alarm_rows import recorded
from analysis.strokes.derived_events import DerivedEvent
from analysis.strokes.stroke import Stroke
from dashboard.live.state_feed import Board, sig
from dashboard.live.wire import Alarm, Alarms, Answered, Happened, Numbered, Parts, Span
from dashboard.text.alarm_headline import AlarmWords
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
    words: words of the alarms; it is given the texts of each rig of the session.
    """

    def __init__(self, so_far: EventsSoFar, sensors: Sensors, units: Units) -> None:
        self.so_far, self.sensors, self.units = so_far, sensors, units
        self.words = AlarmWords(sensors, units)
        self._spans: set[str] = set()  # numbers of the spans on the board

    def tell_alarms(self, board: Board) -> None:
        """Send the alarms, and the recorder's answers to what pages asked."""
        ordered = sorted(self.so_far.latched.held.values(), key=_first)
        for k in range(SHOWN_ALARMS):
            one = self._alarm(ordered[k]) if k < len(ordered) else None
            board.put_numbered(k, Numbered(alarm=one))
        sounding = max((one.worst for one in ordered if not one.acknowledged), default=0)
        board.put(Parts(
            alarms=Alarms(count=len(ordered), sounding=sounding),
            done=[
                Answered(id=e.id, kind=e.kind, text=one_line(self._text(e), 60))
                for e in self.so_far.events[-4:] if e.id[:1] == "q"
            ],
        ))  # fmt: skip

    def _alarm(self, one: HeldAlarm) -> Alarm:
        names = [c.name for c in self.sensors.channels]
        level = one.level if one.acknowledged else one.worst
        about = self.words.subject(one.channel, one.label, level)
        return Alarm(
            level=one.level,
            worst=one.worst,
            label=about.what,
            how=about.how,
            since_s=round(one.time_s, 1),
            value=sig(one.value, 4),
            limit=sig(about.limit, 4),
            acknowledged=one.acknowledged,
            channel=names.index(one.channel) if one.channel in names else None,
        )

    def tell(
        self, board: Board, strokes: Sequence[Stroke], derived: Sequence[DerivedEvent]
    ) -> None:
        """Send the last events, the last alarm, and strokes, resets and marks."""
        late = [*derived[-4 * KEPT_EVENTS :], *short_overs(derived[-4 * KEPT_EVENTS :])]
        units = self.units
        recent = [
            (f.time_s, f.kind, f.message.text(units)) for f in late if f.kind in SHOWN_EVENTS
        ] + [(e.time_s, e.kind, self._text(e)) for e in self.so_far.events]
        recent.sort(key=lambda row: row[0])
        rows = recent[-LAST_EVENTS:][::-1]
        for k in range(LAST_EVENTS):
            row = rows[k] if k < len(rows) else None
            board.put_numbered(k, Numbered(event=_happened(row, 120)))
        sudden = sorted((f.time_s, f.kind, f.message.text(units)) for f in late if f.kind in SUDDEN)
        last_alarm = self.so_far.last_alarm
        if last_alarm is not None:
            last_alarm = (*last_alarm[:2], self.words.label(last_alarm[2]))
        board.put(
            Parts(
                sudden=_happened(sudden[-1] if sudden else None, 80),
                last_alarm=_happened(last_alarm, 80),
            )
        )
        self._tell_spans(board, strokes, derived)

    def _text(self, event: Event) -> str:
        text = recorded(event, self.words.labels, self.sensors, self.units)
        return text + (" (undone)" if event.id and event.id in self.so_far.undone else "")

    def _tell_spans(
        self, board: Board, strokes: Sequence[Stroke], derived: Sequence[DerivedEvent]
    ) -> None:
        """Send the spans that the graph marks; a key goes round, so an old span gives way to a new one."""
        half = SPANS_KEPT // 2
        spans: list[tuple[str, float, float | None, str]] = [
            (f"s{k % half}", s.start_s, None if s.growing else s.end_s, s.direction)
            for k, s in list(enumerate(strokes))[-half:]
        ]
        resets = [f for f in derived if f.kind == "reset"]
        spans += [
            (f"r{k % half}", f.time_s, f.end_s, "reset") for k, f in list(enumerate(resets))[-half:]
        ]
        sudden = [f for f in derived if f.kind in SUDDEN]
        spans += [
            (f"x{k % 12}", f.time_s, f.end_s, f.kind) for k, f in list(enumerate(sudden))[-12:]
        ]
        marks = [e for e in self.so_far.marks if e.id not in self.so_far.undone][-12:]
        spans += [(f"m{k}", e.time_s, e.time_s, "mark") for k, e in enumerate(marks)]
        for key, start, end, what in spans:
            to_s = None if end is None else round(end, 1)
            board.put_numbered(
                key, Numbered(span=Span(from_s=round(start, 1), to_s=to_s, kind=what))
            )
        keys = {span[0] for span in spans}
        for key in self._spans - keys:
            board.put_numbered(key, Numbered(span=None))
        self._spans = keys


def _happened(row: tuple[float, str, str] | None, most: int) -> Happened | None:
    """Something at a time; most: characters of its text."""
    if row is None:
        return None
    return Happened(time_s=round(row[0], 1), kind=row[1], text=one_line(row[2], most))


def _first(one: HeldAlarm) -> tuple[bool, int, float]:
    """Open before acknowledged, the worst and the latest first."""
    return one.acknowledged, -one.worst, -one.time_s
