"""What happened in a session, put on the board: alarms, the last events, and what the graph marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.messages.message import Message
from analysis.prediction.alarm_rows import recorded
from analysis.strokes.derived_events import Found
from analysis.strokes.stroke import Stroke
from dashboard.live.state_feed import Board, sig
from dashboard.text.alarm_levels import label_text
from dashboard.text.units import Units
from logger.channels.sensors_file import Sensors
from logger.errors import one_line
from logger.recorder.alarms import LEVELS, Held, Latched, parted
from logger.session.records import Event

LAST_EVENTS = 6
KEPT_EVENTS = 50
SHORT = "shortly over"
SHORT_S = 0.25
SHOWN_ALARMS = 5
SPANS_KEPT = 48  # strokes, resets and marks that a page which comes late is told
SHOWN_EVENTS = frozenset({"mark", "undo", "zero", "alarm", "ack", "refused", "gap", "disk", "power",
                          "sleep", "rig", "end", "slip", "shock", "saturated", SHORT})  # fmt: skip
SUDDEN = frozenset({"slip", "shock", "saturated", SHORT})


class Happened:
    """Takes the rows of events.csv and the analyser's finds, and tells pages what is new."""

    def __init__(self, sensors: Sensors, shown: Units) -> None:
        self.sensors, self.shown = sensors, shown
        self.alarms: dict[str, Message] = {}  # by recorded text
        self.latched = Latched()
        self.events: list[Event] = []
        self.undone: set[str] = set()
        self.marks: list[Event] = []
        self._last_alarm: tuple[float, str, str] | None = None
        self._told: set[str] = set()

    def take(self, event: Event) -> None:
        """A row of events.csv."""
        if event.kind == "alarm":
            self.latched.alarm(event.channel, event.text, event.time_s, event.value)
            level, label = parted(event.text)
            if level in LEVELS[1:]:
                self._last_alarm = (event.time_s, level, label_text(label, self.alarms, self.shown))
        elif event.kind == "ack":
            self.latched.ack(event.channel, event.text)
        elif event.kind == "undo":
            self.undone.add(event.text)
        elif event.kind == "mark":
            self.marks = [*self.marks, event][-KEPT_EVENTS:]
        if event.kind in SHOWN_EVENTS:
            self.events = [*self.events, event][-KEPT_EVENTS:]

    def tell_alarms(self, board: Board) -> None:
        """`al:k`: [level now, worst, label, since s, value, acknowledged, channel]; `done`: the
        recorder's answers to what pages asked."""
        ordered = sorted(self.latched.held.values(), key=_first)
        for k in range(SHOWN_ALARMS):
            one = ordered[k] if k < len(ordered) else None
            board.set(f"al:{k}", one and [
                one.level, one.worst, one_line(label_text(one.label, self.alarms, self.shown), 60), round(one.time_s, 1),
                sig(one.value), int(one.seen), one_line(one.channel, 40),
            ])  # fmt: skip
        board.set("aln", len(ordered))
        board.set("done", [
            [e.id, e.kind, one_line(self._text(e), 60)] for e in self.events[-4:] if e.id[:1] == "q"
        ])  # fmt: skip

    def tell(self, board: Board, strokes: Sequence[Stroke], found: Sequence[Found]) -> None:
        """The last events, the last alarm, and strokes, resets and marks."""
        late = [*found[-4 * KEPT_EVENTS :], *short_overs(found[-4 * KEPT_EVENTS :])]
        units = self.shown
        recent = [(f.time_s, f.kind, f.message.text(units)) for f in late if f.kind in SHOWN_EVENTS] + [
            (e.time_s, e.kind, self._text(e)) for e in self.events
        ]
        recent.sort(key=lambda row: row[0])
        rows = recent[-LAST_EVENTS:][::-1]
        for k in range(LAST_EVENTS):
            row = rows[k] if k < len(rows) else None
            board.set(f"e:{k}", row and [round(row[0], 1), row[1], one_line(row[2], 120)])
        sudden = sorted((f.time_s, f.kind, f.message.text(units)) for f in late if f.kind in SUDDEN)
        for key, last in (("last", sudden[-1] if sudden else None), ("lasta", self._last_alarm)):
            board.set(key, last and [round(last[0], 1), last[1], one_line(last[2], 80)])
        self._tell_spans(board, strokes, found)

    def _text(self, event: Event) -> str:
        text = recorded(event, self.alarms, self.sensors, self.shown)
        return text + (" (undone)" if event.id and event.id in self.undone else "")

    def _tell_spans(self, board: Board, strokes: Sequence[Stroke], found: Sequence[Found]) -> None:
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
        marks = [e for e in self.marks if e.id not in self.undone][-12:]
        spans += [(f"k:m{k}", e.time_s, e.time_s, "mark") for k, e in enumerate(marks)]
        for key, start, end, what in spans:
            board.set(key, [round(start, 1), None if end is None else round(end, 1), what])
        keys = {span[0] for span in spans}
        for key in self._told - keys:
            board.set(key, None)
        self._told = keys


def _first(one: Held) -> tuple[bool, int, float]:
    """Open before acknowledged, the worst and the latest first."""
    return one.seen, -one.worst, -one.time_s


def short_overs(found: Sequence[Found]) -> list[Found]:
    """Levels passed for so short that the recorder may have raised no alarm; of several at one moment
    the first."""
    told: list[Found] = []
    for one in found:
        short = one.end_s is not None and one.end_s - one.time_s <= SHORT_S
        if one.kind != "over_limit" or not short:
            continue
        if not told or one.time_s - told[-1].time_s > SHORT_S:
            told.append(replace(one, kind=SHORT))
    return told
