"""Writes to the session, and holds events back and tries again while the disk refuses.

A disk that is full, slow or pulled out must not end a recording: the session's files keep what
they could not write, and events wait here, in order, behind the row that tells of the refusal.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from logger.errors import UserFault, one_line
from logger.session.fsync_thread import Syncer
from logger.session.writer import SessionWriter

MOST_PENDING_EVENTS = 1000  # memory only: events that wait while the disk refuses
DURABLE = ("mark", "gap", "stop", "start", "undo", "zero", "ack", "rig", "end")


@dataclass(frozen=True)
class EventRow:
    """A row for events.csv: its kind, value and text as there."""

    time_s: float  # since the recording started
    kind: str
    channel: str = ""
    value: float | None = None
    text: str = ""
    request: str | None = None  # id of the request that it answers; None: an id of the recorder


class DiskRetry:
    """The session's files on a disk that may refuse.  fault: "" or why nothing can be written."""

    def __init__(self, *, writer: SessionWriter, time_s: Callable[[], float]) -> None:
        self.writer = writer
        self.syncer = Syncer(writer.sync_written)
        self.fault = ""
        self._time_s = time_s
        self._since: float | None = None
        self._held: deque[EventRow] = deque()
        self._not_held = 0
        self._unmarked_said = False

    @property
    def refuses(self) -> bool:
        return self._since is not None

    @property
    def full(self) -> bool:
        """No further event can wait."""
        return len(self._held) >= MOST_PENDING_EVENTS

    def attempt(self, action: Callable[..., object], *args: object) -> None:
        """Do it; if the disk refuses, remember since when.  Nothing is lost: the files keep what
        they could not write and go on at the very byte."""
        try:
            action(*args)
        except OSError as error:
            self._refused(error)

    def event(self, row: EventRow) -> None:
        """Write a row of events.csv, or hold it back while the disk refuses."""
        if not self.refuses:
            self._write(row)
        elif not self.full:
            self._held.append(row)
        else:  # bounded however long the disk refuses
            self._not_held += 1

    def retry(self, now: float) -> None:
        """Write what was kept, if the disk takes it again, and tell how long it refused."""
        try:
            self.writer.put_back()
            self.writer.check_in_place()
            self.writer.retry()
        except OSError as error:
            self._refused(error)
            return
        refused_s, self._since = now - (self._since or now), None
        text = f"nothing could be written for {refused_s:.1f} s: {self.fault}"
        self.fault = ""
        self._write(EventRow(now, "disk", value=round(refused_s, 3), text=text))
        while self._held and not self.refuses:
            self._write(self._held.popleft())
        if self._not_held and not self.refuses:
            count, self._not_held = self._not_held, 0
            text = f"{count} further events could not be kept meanwhile"
            self._write(EventRow(now, "disk", value=float(count), text=text))

    def look(self, now: float) -> None:
        """See whether the files are still in place, and tell once if they are not marked any more."""
        if not self.refuses:
            self.attempt(self.writer.check_in_place)
        if self.writer.unmarked and not self._unmarked_said:
            self._unmarked_said = True
            text = (
                f"what is written is not marked any more: {self.writer.unmarked}; "
                "after a power cut the last rows would be judged by their shape alone"
            )
            self.event(EventRow(now, "disk", text=text))

    def look_at_sync(self) -> None:
        """Take note of what went wrong beside this thread; raises what is our own fault."""
        if (fault := self.syncer.fault()) is not None:
            if not isinstance(fault, OSError):
                raise fault
            self._refused(fault)

    def seal(self) -> str | None:
        """The seal's digest; None while the disk refuses or events wait."""
        if self.refuses or self._held:
            return None
        try:
            return self.writer.seal()
        except (OSError, UserFault) as error:
            self.fault = one_line(str(getattr(error, "strerror", None) or error), 100)
            return None

    def _write(self, row: EventRow) -> None:
        self.attempt(
            self.writer.event, row.time_s, row.kind, row.channel, row.value, row.text, row.request
        )
        if row.kind in DURABLE:
            self.syncer.ask()

    def _refused(self, error: OSError) -> None:
        self.fault = one_line(error.strerror or str(error), 100)
        if self._since is None:
            self._since = self._time_s()
