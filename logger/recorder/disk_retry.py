"""Writes to the session; while the disk refuses, retries and holds events back.

A disk that is full, slow or pulled out must not end a recording.  The session's files keep what
they could not write, and events wait here, in order, to be written after the `disk` event.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from logger.errors import UserFault, one_line
from logger.session.fsync_thread import Syncer
from logger.session.writer import SessionWriter

MOST_PENDING_EVENTS = 1000  # memory only: events that wait while the disk refuses
# kinds of events after which a sync is requested at once
DURABLE = ("mark", "gap", "stop", "start", "undo", "zero", "ack", "rig", "end")


@dataclass(frozen=True)
class EventRow:
    """A row to be written to events.csv."""

    time_s: float  # s since the recording started
    kind: str  # e.g. "mark", "zero", "alarm", "disk"
    channel: str = ""  # name of the channel that it is about; "" for none
    value: float | None = None  # see `Event.value`; None: no value
    text: str = ""  # one line, in words
    request: str | None = None  # id of the request that it answers; None: none


class DiskRetry:
    """Writes to the session's files on a disk that may refuse.

    writer: the session; syncer: its fsync thread; fault: why nothing can be written, "" if it can
    notices: lines for the terminal, which the main thread removes
    """

    def __init__(self, *, writer: SessionWriter, time_s: Callable[[], float]) -> None:
        self.writer = writer
        self.syncer = Syncer(writer.sync_written)
        self.fault = ""
        self.notices: deque[str] = deque(maxlen=MOST_PENDING_EVENTS)
        self._time_s = time_s
        self._since: float | None = None
        self._held: deque[EventRow] = deque()
        self._not_held = 0
        self._unmarked_reported = False

    @property
    def refuses(self) -> bool:
        """Whether the disk refuses to write now."""
        return self._since is not None

    @property
    def full(self) -> bool:
        """Whether no further event can wait."""
        return len(self._held) >= MOST_PENDING_EVENTS

    def attempt(self, action: Callable[..., object], *args: object) -> None:
        """Call action(*args); if it raises OSError, note the fault and since when.

        Nothing is lost: the files keep what they could not write.
        """
        try:
            action(*args)
        except OSError as error:
            self._refused(error)

    def event(self, row: EventRow) -> None:
        """Write a row to events.csv, or hold it back while the disk refuses."""
        if not self.refuses:
            self._write(row)
        elif not self.full:
            self._held.append(row)
        else:  # bounded however long the disk refuses
            self._not_held += 1

    def retry(self, now_s: float) -> None:
        """Try to write again; if the disk takes it, write how long it refused and the held events.

        now_s: s since the recording started.
        """
        try:
            self.writer.put_back()
            self.writer.check_in_place()
            self.writer.retry()
        except OSError as error:
            self._refused(error)
            return
        refused_s, self._since = now_s - (self._since or now_s), None
        text = f"nothing could be written for {refused_s:.1f} s: {self.fault}"
        self.fault = ""
        self._write(EventRow(now_s, "disk", value=round(refused_s, 3), text=text))
        while self._held and not self.refuses:
            self._write(self._held.popleft())
        if self._not_held and not self.refuses:
            count, self._not_held = self._not_held, 0
            text = f"{count} further events could not be kept meanwhile"
            self._write(EventRow(now_s, "disk", value=float(count), text=text))

    def check_files(self, now_s: float) -> None:
        """Check that the files are in place and as they were written; write an event for each that
        another program changed, and, once, if the journal was given up.

        now_s: s since the recording started.
        """
        if not self.refuses:
            self.attempt(self.writer.check_in_place)
        if not self.refuses:
            self.attempt(self._check_foreign, now_s)
        if self.writer.unmarked and not self._unmarked_reported:
            self._unmarked_reported = True
            text = (
                f"the disk refuses the journal of what is written: {self.writer.unmarked}; "
                "after a power cut a repair would judge the last rows by their shape alone"
            )
            self.event(EventRow(now_s, "disk", text=text))

    def _check_foreign(self, now_s: float) -> None:
        for text in self.writer.foreign_changes():
            self.notices.append(text)
            self.event(EventRow(now_s, "disk", text=text))

    def check_sync(self) -> None:
        """Note a fault of the disk in the fsync thread; raises any other error of that thread."""
        if (fault := self.syncer.fault()) is not None:
            if not isinstance(fault, OSError):
                raise fault
            self._refused(fault)

    def seal(self) -> str | None:
        """Seal the session; returns its digest, None while the disk refuses or events wait."""
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
