"""Handles requests to the recorder: zero, mark, move, undo, acknowledge, change the rig, end."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from statistics import fmean

from logger.channels.channel import Sensors
from logger.channels.port_schemes import HAND
from logger.errors import one_line
from logger.recorder.alarms import AlarmRow, joined_labels
from logger.recorder.disk_retry import EventRow
from logger.recorder.request_inbox import Inbox, Request
from logger.recorder.rig_check import PendingRigCheck, RigVerdict
from logger.recorder.zeroing import ReadingHistory, zero_refusal
from logger.session.writer import SessionWriter

# how old a touch may be, and how far clocks of page and recorder may differ; chosen by us: a phone
# that was out of reach for longer is asked again
HAND_LATE_S, HAND_EARLY_S = 30.0, 0.5


@dataclass(frozen=True)
class _Undoable:
    """A mark, a move or a zero that `undo` can take back."""

    id: str  # of its request
    kind: str  # "mark", "move" or "zero"
    channel: str  # name; "" for a mark or move without a channel
    zero_before: float = 0.0  # zero that held before, in the channel's unit
    set_before_s: float | None = None  # when that was set, s; None: from the sensors file
    step: float = 0.0  # of a move, from 1


class RequestHandler:
    """Handles the inbox of one recording.

    zeros: the zero that holds now, by channel, in the channel's unit
    table: alarm table of a rig that was just taken, for the caller to apply and reset; else None
    """

    def __init__(
        self,
        writer: SessionWriter,
        sensors: Sensors,
        check_rig: Callable[[str, str], object] | None,
        enter: Callable[[str, float, str], None] | None = None,
    ) -> None:
        """enter: takes a reading by hand: channel, s since the recording started, text."""
        self.zeros = {channel.name: channel.zero for channel in sensors.channels}
        self._writer, self._sensors, self._check_rig = writer, sensors, check_rig
        self._enter = enter
        self._entered_s: dict[str, float] = {}
        self._inbox = Inbox(writer.folder)
        self._zero_set_s: dict[str, float | None] = dict.fromkeys(self.zeros)
        self._recent = {channel.name: ReadingHistory() for channel in sensors.channels}
        self._undoable: list[_Undoable] = []
        self._levels: dict[tuple[str, str], int] = {}
        self._unacknowledged: set[tuple[str, str]] = set()
        self._rigs = 1
        self._rig_check: PendingRigCheck | None = None
        self.table: tuple[AlarmRow, ...] | None = None

    def remember(self, name: str, from_s: float, step_s: float, texts: list[bytes]) -> None:
        """Keep readings of one channel, from which `zero` computes the new zero.

        from_s: time of the first, s since the recording started; step_s: time between two, s;
            texts:
        as sent.
        """
        self._recent[name].add(from_s, step_s, texts)

    def set_alarm_level(self, channel: str, label: str, level: int) -> None:
        """Note the new level (index into LEVELS) of an alarm; one that rises can be
        acknowledged."""
        if level > self._levels.get((channel, label), 0):
            self._unacknowledged.add((channel, label))
        self._levels[channel, label] = level

    def answers(self, now_s: float) -> Iterator[EventRow]:
        """Carry out the requests in the inbox; yields one row of events.csv for each.

        A rig is answered by a later call, when its check has ended.  now_s: s since the recording
        started.
        """
        yield from self.rig_answer(now_s)
        for request in self._inbox.poll():
            row = self._tried(request, now_s, partial(self._answer, request, now_s))
            if row is not None:
                yield row

    def rig_answer(self, now_s: float) -> Iterator[EventRow]:
        """As `answers`, for the rig alone, once its check has ended; reads no file."""
        if self._rig_check is not None and (verdict := self._rig_check.verdict()) is not None:
            yield self._rig_checked(verdict, now_s)

    def last_answers(self, now_s: float) -> Iterator[EventRow]:
        """As `answers`, at the end of the recording: refuses a rig whose check still goes on."""
        yield from self.answers(now_s)
        if self._rig_check is not None:
            yield self._rig_checked(
                RigVerdict("the recording ended before the rig was checked"), now_s
            )

    def _tried(
        self, request: Request, now: float, answer: Callable[[], EventRow | None]
    ) -> EventRow | None:
        """The row of a request, with its id; a refusal if answering it raises."""
        try:
            row = answer()
        except OSError as error:
            row = self._refused(request, now, f"cannot be done now ({error.strerror})")
        except Exception as error:  # no request may end the recording
            row = self._refused(request, now, f"cannot be done ({type(error).__name__})")
        return None if row is None else replace(row, request=request.id)

    def _refused(self, request: Request, now: float, why: str) -> EventRow:
        text = one_line(why if request.id else f"inbox/{request.path.name[:60]}: {why}", 300)
        channel = request.channel if request.channel in self.zeros else ""
        return EventRow(now, "refused", channel, text=text)

    def _answer(self, request: Request, now: float) -> EventRow | None:
        """Carry out one request; returns its row of events.csv, None if that comes later."""
        if request.refusal or request.id is None:
            return self._refused(request, now, request.refusal)
        if request.channel and request.channel not in self.zeros:
            return self._refused(request, now, f"there is no channel {request.channel[:60]}")
        text = one_line(request.text)
        if request.verb == "mark":
            self._undoable.append(_Undoable(request.id, "mark", request.channel))
            return EventRow(now, "mark", request.channel, text=text)
        if request.verb == "end":
            return EventRow(now, "end", text=text)
        if request.verb == "rig":
            return self._rig(request, now)
        handle = {
            "zero": self._zero,
            "undo": self._undo,
            "ack": self._ack,
            "hand": self._hand,
            "move": self._move,
        }
        return handle[request.verb](request, now)

    def _zero(self, request: Request, now: float) -> EventRow:
        name = request.channel
        if not name:
            return self._refused(request, now, "name the channel to zero")
        channel = self._sensors.by_name(name)
        recent = {each: history.at(now) for each, history in self._recent.items()}
        why = zero_refusal(channel, self._sensors, self.zeros, recent, now)
        if why:
            return self._refused(request, now, why)
        mine = recent[name]
        value = float(f"{channel.zero_for(fmean(mine.reading)):.10g}")
        old, set_s = self.zeros[name], self._zero_set_s[name]
        self.zeros[name], self._zero_set_s[name] = value, now
        self._undoable.append(
            _Undoable(
                id=request.id or "", kind="zero", channel=name, zero_before=old, set_before_s=set_s
            )
        )
        since = "from the sensors file" if set_s is None else f"set at {set_s:.3f} s"
        text = (
            f"old zero {old:.9g} {channel.unit} {since}, new zero {value:.9g} {channel.unit}: mean of "
            f"{len(mine.reading)} readings from {mine.time_s[0]:.3f} to {mine.time_s[-1]:.3f} s"
        )
        return EventRow(time_s=now, kind="zero", channel=name, value=value, text=text)

    def _undo(self, request: Request, now: float) -> EventRow:
        wanted = request.text.strip()
        for place in range(len(self._undoable) - 1, -1, -1):
            done = self._undoable[place]
            if (not wanted or done.id == wanted) and request.channel in ("", done.channel):
                break
        else:
            what = f"there is no mark, move or zero {wanted[:60]}" if wanted else "there is nothing"
            return self._refused(request, now, f"{what} to undo")
        if done.kind in ("mark", "move"):
            del self._undoable[place]
            return EventRow(now, "undo", done.channel, text=done.id)
        later = self._undoable[place + 1 :]
        if any(each.kind == "zero" and each.channel == done.channel for each in later):
            return self._refused(
                request, now, "this channel was zeroed again later: undo that first"
            )
        del self._undoable[place]
        self.zeros[done.channel] = done.zero_before
        self._zero_set_s[done.channel] = done.set_before_s
        return EventRow(
            time_s=now, kind="undo", channel=done.channel, value=done.zero_before, text=done.id
        )

    def _move(self, request: Request, now: float) -> EventRow:
        """Take note of a move of a conversion, until the next rig can `undo` take it back."""
        step = request.value or 0.0
        if any(each.kind == "move" and each.step == step for each in self._undoable):
            return self._refused(request, now, f"move {step:.0f} is marked already")
        self._undoable.append(
            _Undoable(id=request.id or "", kind="move", channel=request.channel, step=step)
        )
        text = one_line(request.text)
        return EventRow(time_s=now, kind="move", channel=request.channel, value=step, text=text)

    def _hand(self, request: Request, now: float) -> EventRow:
        """Take a number or a state that a person entered, at the moment of the touch."""
        at_s, note = request.time_s, one_line(request.text)
        if not now - HAND_LATE_S <= at_s <= now + HAND_EARLY_S or at_s < 0.0:
            return self._refused(
                request, now, f"time_s = {at_s:g} is not of the last {HAND_LATE_S:g} s"
            )
        if request.value is None:
            text = f"{request.state}: {note}" if note else request.state
            return EventRow(at_s, "hand", request.channel, text=text)
        by_hand = [each.name for each in self._sensors.channels if each.port == HAND]
        name = request.channel or (by_hand[0] if len(by_hand) == 1 else "")
        if name not in by_hand or self._enter is None:
            have = ", ".join(by_hand) or 'none has port = "hand:"'
            return self._refused(request, now, f"name a channel that is entered by hand: {have}")
        if at_s < self._entered_s.get(name, 0.0):
            return self._refused(request, now, "a later number of this channel is there already")
        self._entered_s[name] = at_s
        self._enter(name, at_s, f"{request.value:.10g}")
        return EventRow(time_s=at_s, kind="hand", channel=name, value=request.value, text=note)

    def _ack(self, request: Request, now: float) -> EventRow:
        acknowledged = {
            key
            for key in self._unacknowledged
            if request.channel in ("", key[0]) and request.text in ("", key[1])
        }
        if not acknowledged:
            return self._refused(request, now, "there is no alarm to acknowledge")
        self._unacknowledged -= acknowledged
        text = request.text or joined_labels(label for _, label in acknowledged)
        return EventRow(now, "ack", request.channel, text=one_line(text))

    def _rig(self, request: Request, now: float) -> EventRow | None:
        """Begin to change the rig; request.text: text of a rig file, or the name of one in the
        inbox."""
        text = request.text
        data: bytes | str
        if "\n" not in text and "=" not in text:
            data = self._inbox.attachment(text.strip())
            if isinstance(data, str):
                return self._refused(request, now, data)
            try:
                text = data.decode("utf-8-sig")
            except UnicodeDecodeError:
                return self._refused(request, now, "the rig file is not UTF-8 text")
        try:
            data = text.encode("utf-8")
        except UnicodeEncodeError:
            return self._refused(request, now, "the rig file is not UTF-8 text")
        if self._rig_check is not None:
            return self._refused(request, now, "another rig is being checked: ask again")
        name = f"rig-{self._rigs + 1}.toml"
        if self._check_rig is None:
            return self._take_rig(name, data, now)
        self._rig_check = PendingRigCheck(
            request=request, name=name, data=data, check_rig=self._check_rig
        )
        self._rig_check.start()
        return None

    def _rig_checked(self, verdict: RigVerdict, now: float) -> EventRow:
        """The row of the rig whose check has ended with this verdict."""
        check, self._rig_check = self._rig_check, None
        assert check is not None
        if verdict.refusal:
            row = self._refused(check.request, now, verdict.refusal)
            return replace(row, request=check.request.id)
        row_or_none = self._tried(
            check.request, now, partial(self._take_rig, check.name, check.data, now)
        )
        assert row_or_none is not None
        if row_or_none.kind == "rig" and isinstance(verdict.answer, tuple):
            self.table = tuple(row for row in verdict.answer if isinstance(row, AlarmRow))
        return row_or_none

    def _take_rig(self, name: str, data: bytes, now: float) -> EventRow:
        """Copy a rig file into the session; raises OSError."""
        self._writer.copy(name, data)
        self._rigs += 1
        # a conversion ends with its rig: its moves are no longer taken back
        self._undoable = [each for each in self._undoable if each.kind != "move"]
        return EventRow(now, "rig", text=name)
