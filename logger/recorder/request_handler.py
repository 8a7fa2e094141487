"""What the recorder answers to requests: zeros, marks, undo, acknowledgements, another rig."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from statistics import fmean

from logger.channels.channel import Sensors
from logger.errors import UserFault, one_line
from logger.recorder.alarms import AlarmRow, joined
from logger.recorder.request_inbox import Inbox, Request
from logger.recorder.zeroing import Recent, why_not
from logger.session.writer import SessionWriter


@dataclass(frozen=True)
class Answer:
    """One row for events.csv; request: its id, None where the asking file had no possible one."""

    request: str | None
    kind: str
    channel: str = ""
    value: float | None = None
    text: str = ""


@dataclass(frozen=True)
class _Done:
    id: str
    kind: str
    channel: str
    zero_before: float
    set_before_s: float | None = None


class RequestDesk:
    """Handles the inbox of one recording.  zeros: the zero that now holds, by channel."""

    def __init__(
        self,
        writer: SessionWriter,
        sensors: Sensors,
        check_rig: Callable[[str, str], object] | None,
    ) -> None:
        self.zeros = {channel.name: channel.zero for channel in sensors.channels}
        self._writer, self._sensors, self._check_rig = writer, sensors, check_rig
        self._inbox = Inbox(writer.folder)
        self._zero_set_s: dict[str, float | None] = dict.fromkeys(self.zeros)
        self._recent = {channel.name: Recent() for channel in sensors.channels}
        self._done: list[_Done] = []
        self._alarms: dict[tuple[str, str], int] = {}
        self._unseen: set[tuple[str, str]] = set()
        self._rigs = 1
        self.table: tuple[AlarmRow, ...] | None = None  # of a rig that was just taken

    def remember(self, name: str, from_s: float, step: float, texts: list[bytes]) -> None:
        """Keep the last readings, for `zero`."""
        self._recent[name].add(from_s, step, texts)

    def alarmed(self, channel: str, label: str, level: int) -> None:
        """An alarm changed its level (0: it is over); one that rises asks to be acknowledged."""
        if level > self._alarms.get((channel, label), 0):
            self._unseen.add((channel, label))
        self._alarms[channel, label] = level

    def answers(self, now: float) -> Iterator[Answer]:
        """One answer for each request that lies in the inbox."""
        for request in self._inbox.poll():
            try:
                yield self._answer(request, now)
            except OSError as error:
                yield self._refused(request, f"cannot be done now ({error.strerror})")
            except Exception as error:  # whatever was asked, the recording goes on
                yield self._refused(request, f"cannot be done ({type(error).__name__})")

    def _refused(self, request: Request, why: str) -> Answer:
        text = one_line(why if request.id else f"inbox/{request.path.name[:60]}: {why}", 300)
        channel = request.channel if request.channel in self.zeros else ""
        return Answer(request.id, "refused", channel, None, text)

    def _answer(self, request: Request, now: float) -> Answer:
        if request.refusal or request.id is None:
            return self._refused(request, request.refusal)
        if request.channel and request.channel not in self.zeros:
            return self._refused(request, f"there is no channel {request.channel[:60]}")
        if request.verb == "mark":
            self._done.append(_Done(request.id, "mark", request.channel, 0.0))
            return Answer(request.id, "mark", request.channel, None, one_line(request.text))
        if request.verb == "end":
            return Answer(request.id, "end", "", None, one_line(request.text))
        handle = {"zero": self._zero, "undo": self._undo, "ack": self._ack, "rig": self._rig}
        return handle[request.verb](request, now)

    def _zero(self, request: Request, now: float) -> Answer:
        name = request.channel
        if not name:
            return self._refused(request, "name the channel to zero")
        channel = self._sensors.by_name(name)
        lately = {each: recent.at(now) for each, recent in self._recent.items()}
        why = why_not(channel, self._sensors, self.zeros, lately, now)
        if why:
            return self._refused(request, why)
        mine = lately[name]
        value = float(f"{channel.zero_for(fmean(mine.reading)):.10g}")
        old, set_s = self.zeros[name], self._zero_set_s[name]
        self.zeros[name], self._zero_set_s[name] = value, now
        self._done.append(_Done(request.id or "", "zero", name, old, set_s))
        since = "from the sensors file" if set_s is None else f"set at {set_s:.3f} s"
        text = (
            f"old zero {old:.9g} {channel.unit} {since}, new zero {value:.9g} {channel.unit}: mean of "
            f"{len(mine.reading)} readings from {mine.time_s[0]:.3f} to {mine.time_s[-1]:.3f} s"
        )
        return Answer(request.id, "zero", name, value, text)

    def _undo(self, request: Request, now: float) -> Answer:
        wanted = request.text.strip()
        for place in range(len(self._done) - 1, -1, -1):
            done = self._done[place]
            if (not wanted or done.id == wanted) and request.channel in ("", done.channel):
                break
        else:
            what = f"there is no mark or zero {wanted[:60]}" if wanted else "there is nothing"
            return self._refused(request, f"{what} to undo")
        if done.kind == "mark":
            del self._done[place]
            return Answer(request.id, "undo", done.channel, None, done.id)
        if any(d.kind == "zero" and d.channel == done.channel for d in self._done[place + 1 :]):
            return self._refused(request, "a later zero of this channel holds: undo that first")
        del self._done[place]
        self.zeros[done.channel] = done.zero_before
        self._zero_set_s[done.channel] = done.set_before_s
        return Answer(request.id, "undo", done.channel, done.zero_before, done.id)

    def _ack(self, request: Request, now: float) -> Answer:
        seen = {
            key
            for key in self._unseen
            if request.channel in ("", key[0]) and request.text in ("", key[1])
        }
        if not seen:
            return self._refused(request, "there is no alarm to acknowledge")
        self._unseen -= seen
        text = request.text or joined(label for _, label in seen)
        return Answer(request.id, "ack", request.channel, None, one_line(text))

    def _rig(self, request: Request, now: float) -> Answer:
        """The text of a rig file, or the name of one that lies in the inbox."""
        text = request.text
        if "\n" not in text and "=" not in text:
            data = self._inbox.attachment(text.strip())
            if isinstance(data, str):
                return self._refused(request, data)
            try:
                text = data.decode("utf-8-sig")
            except UnicodeDecodeError:
                return self._refused(request, "the rig file is not UTF-8 text")
        try:
            data = text.encode("utf-8")
        except UnicodeEncodeError:
            return self._refused(request, "the rig file is not UTF-8 text")
        name = f"rig-{self._rigs + 1}.toml"
        why: object = None
        if self._check_rig is not None:
            try:
                why = self._check_rig(text, name)
            except UserFault as fault:
                why = str(fault)
            if isinstance(why, str) and why:
                return self._refused(request, why)
        self._writer.copy(name, data)
        self._rigs += 1
        if isinstance(why, tuple):
            self.table = tuple(row for row in why if isinstance(row, AlarmRow))
        return Answer(request.id, "rig", "", None, name)
