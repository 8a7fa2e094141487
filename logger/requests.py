"""What the recorder answers to requests: zeros, marks, undo, acknowledgements, another rig."""

from __future__ import annotations

import statistics
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from logger.errors import UserFault, one_line
from logger.inbox import Inbox, Request
from logger.sensors import Sensors
from logger.session_writer import SessionWriter

ZERO_OVER_S = 1.0
MOST_OF_CAPACITY = 0.05
# how much a resting channel may scatter or drift within a second; common practice, no source
STEADY_OF_CAPACITY = 0.01
STEADY = {"force": 5.0, "length": 0.01}
MOST_KEPT = 100_000


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


class RequestDesk:
    """Handles the inbox of one recording.  zeros: the zero that now holds, by channel."""

    def __init__(
        self, writer: SessionWriter, sensors: Sensors,
        check_rig: Callable[[str, str], object] | None,
    ) -> None:
        self.zeros = {channel.name: channel.zero for channel in sensors.channels}
        self._writer, self._sensors, self._check_rig = writer, sensors, check_rig
        self._inbox = Inbox(writer.folder)
        self._recent: dict[str, deque[tuple[float, float, list[bytes]]]] = {
            channel.name: deque() for channel in sensors.channels
        }
        self._done: list[_Done] = []
        self._alarms: dict[tuple[str, str], int] = {}
        self._unseen: set[tuple[str, str]] = set()
        self._rigs = 1

    def remember(self, name: str, from_s: float, step: float, texts: list[bytes]) -> None:
        """Keep the readings of the last second, for `zero`."""
        recent = self._recent[name]
        recent.append((from_s, step, texts))
        while recent[0][0] < from_s - 2 * ZERO_OVER_S:
            recent.popleft()

    def alarmed(self, channel: str, label: str, level: int) -> None:
        """An alarm changed its level (0: it is over)."""
        self._alarms[channel, label] = level
        if level:
            self._unseen.add((channel, label))

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
        found = self._last_second(name, now)
        if not found:
            return self._refused(request, "there was no reading in the last second")
        mean = statistics.fmean(found)
        values = [channel.si(reading, channel.zero) for reading in found]
        level = channel.si(mean, channel.zero)
        allowed = max(STEADY[channel.quantity] if channel.capacity is None
                      else STEADY_OF_CAPACITY * channel.capacity, 3 * channel.u)
        half = len(values) // 2
        drift = abs(statistics.fmean(values[half:]) - statistics.fmean(values[:half])) if half else 0
        unit = "N" if channel.quantity == "force" else "m"
        if statistics.pstdev(values) > allowed or drift > allowed:
            return self._refused(
                request, f"not steady: over the last second it varied from {min(values):.4g} to "
                f"{max(values):.4g} {unit}",
            )
        # against the file's zero, so that zero upon zero cannot creep away
        if channel.capacity is not None and abs(level) > MOST_OF_CAPACITY * channel.capacity:
            return self._refused(
                request, f"{level:.4g} {unit} is more than 5 % of the capacity: take the load off",
            )
        value = round(channel.zero_for(mean), 9)
        old, self.zeros[name] = self.zeros[name], value
        self._done.append(_Done(request.id or "", "zero", name, old))
        return Answer(request.id, "zero", name, value, f"old zero {old:.9g}")

    def _last_second(self, name: str, now: float) -> list[float]:
        found: list[float] = []
        for from_s, step, texts in self._recent[name]:
            if step or from_s >= now - ZERO_OVER_S:
                since = now - ZERO_OVER_S
                found += [float(t) for i, t in enumerate(texts) if from_s + i * step >= since]
        return found[-MOST_KEPT:]

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
        return Answer(request.id, "undo", done.channel, done.zero_before, done.id)

    def _ack(self, request: Request, now: float) -> Answer:
        seen = {
            key for key in self._unseen
            if request.channel in ("", key[0]) and request.text in ("", key[1])
        }
        if not seen:
            return self._refused(request, "there is no alarm to acknowledge")
        self._unseen -= seen
        text = request.text or ", ".join(sorted(label for _, label in seen))
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
        if self._check_rig is not None:
            try:
                why = self._check_rig(text, name)
            except UserFault as fault:
                why = str(fault)
            if isinstance(why, str) and why:
                return self._refused(request, why)
        self._writer.copy(name, data)
        self._rigs += 1
        return Answer(request.id, "rig", "", None, name)
