"""Determines whether the recorder of a session is alive, and the current time of the recording."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from analysis.messages.message import Message, message
from logger.session.reader import session_state
from logger.session.records import Block, Event

STALLED_S = 1.0  # without a clock row; derived: four of the 0.25 s of interface section 4
LOOK_S = 0.2  # between two reads of the folder's state; speed only


@dataclass(frozen=True)
class RecorderState:
    """The recorder's state.

    code: recording, stalled, sealed, cut, changed.
    """

    code: str
    words: str  # the state as the page shows it
    detail: Message | None = None  # a second line for the page

    @property
    def over(self) -> bool:
        """Whether the recording has ended."""
        return self.code in ("sealed", "changed", "cut")


class RecorderWatch:
    """Follows the recorder by the rows of its session; mono_s is this process's monotonic clock, s.

    path: the session's folder.
    state: of the folder, as `session_state` returns it.
    time_s: latest time in the session's rows.
    began_s: earliest time in the session's rows.
    stop: the row that ended the recording; None while it goes on.
    drops: channel -> number of lines dropped so far.
    malformed: number of torn or unreadable rows so far.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.state = "growing"
        self.time_s = 0.0
        self.stop: Event | None = None
        self._row_s = 0.0
        self._row_mono: float | None = None
        self._looked: float | None = None
        self.began_s = 0.0
        self._any = False
        self.drops: dict[str, int] = {}
        self.malformed = 0

    def take(self, block: Block, mono_s: float) -> None:
        """Take new rows, read at mono_s."""
        times = [float(r.time_s[-1]) for r in block.readings.values() if len(r.time_s)]
        starts = [float(r.time_s[0]) for r in block.readings.values() if len(r.time_s)]
        times += [row.time_s for row in block.clock] + [event.time_s for event in block.events]
        starts += [event.time_s for event in block.events]
        if starts and not self._any:
            self._any, self.began_s = True, min(starts)
        if times:
            self.time_s = max(self.time_s, *times) if self._any else max(times)
        if block.clock:
            self._row_s, self._row_mono = block.clock[-1].time_s, mono_s
            self.drops = block.clock[-1].drops
        self.malformed += block.malformed
        for event in block.events:
            if event.kind == "stop":
                self.stop = event

    def look(self, mono_s: float) -> None:
        """Read the folder's state, at most every LOOK_S; mono_s: now.  Raises SessionFault."""
        if self._looked is None or mono_s - self._looked >= LOOK_S:
            self._looked = mono_s
            if self._row_mono is None:
                self._row_mono = mono_s
            self.state = session_state(self.path)

    def now_s(self, mono_s: float) -> float:
        """Time of the recording at mono_s, s; while it grows, time passes between its rows too."""
        if self.state != "growing" or self._row_mono is None:
            return self.time_s
        return max(self.time_s, self._row_s + mono_s - self._row_mono)

    def quiet_s(self, mono_s: float) -> float:
        """Seconds from the last row of clock.csv to mono_s."""
        return 0.0 if self._row_mono is None else mono_s - self._row_mono

    def alive(self, mono_s: float) -> RecorderState:
        """The recorder's state at mono_s."""
        if self.state == "sealed":
            why = "" if self.stop is None else self.stop.text
            said = message("sealed_after", after_s=self.time_s)
            if why:
                said = message("sealed_after_why", sealed=said, why=why)
            return RecorderState("sealed", "RECORDING STOPPED", said)
        if self.state == "changed":
            return RecorderState("changed", "FILES WERE CHANGED", message("files_changed"))
        if self.state == "cut short":
            return RecorderState(
                "cut", "RECORDING CUT SHORT", message("recorder_gone", since_s=self.time_s)
            )
        quiet = self.quiet_s(mono_s)
        if quiet > STALLED_S:
            return RecorderState(
                "stalled", "RECORDER STALLED", message("recorder_stalled", quiet_s=quiet)
            )
        return RecorderState("recording", "RECORDING")
