"""Says whether the recorder of a session lives, and what time it is in the recording."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from analysis.messages.message import Message, message
from logger.session.reader import session_state
from logger.session.records import Block, Event

STALLED_S = 1.0  # without a clock row; derived: four of the 0.25 s of interface section 4
LOOK_S = 0.2  # the folder's state is asked for no more often; speed only


@dataclass(frozen=True)
class Alive:
    """The recorder's state.

    code: recording, stalled, sealed, cut, changed.
    words, detail: for people.
    """

    code: str
    words: str
    detail: Message | None = None

    @property
    def over(self) -> bool:
        """Whether nothing is recorded any more."""
        return self.code in ("sealed", "changed", "cut")


class Recording:
    """The recorder's signs of life, fed with blocks and this process's clock (mono_s).

    path: the session's folder.
    state: of the folder, as `session_state` has it.
    time_s: the latest time that a row of the session holds.
    began_s: the first.
    stop: the row that ended the recording.
    drops: channel -> lines dropped so far.
    malformed: torn or unreadable rows so far.
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
        """New rows, read at mono_s."""
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
        """Ask the folder for its state, now and then; raises SessionFault."""
        if self._looked is None or mono_s - self._looked >= LOOK_S:
            self._looked = mono_s
            if self._row_mono is None:
                self._row_mono = mono_s
            self.state = session_state(self.path)

    def now_s(self, mono_s: float) -> float:
        """Seconds since the recording started, running on between its rows while it grows."""
        if self.state != "growing" or self._row_mono is None:
            return self.time_s
        return max(self.time_s, self._row_s + mono_s - self._row_mono)

    def quiet_s(self, mono_s: float) -> float:
        """Seconds since the recorder's last sign of life."""
        return 0.0 if self._row_mono is None else mono_s - self._row_mono

    def alive(self, mono_s: float) -> Alive:
        """The recorder in words."""
        if self.state == "sealed":
            why = "" if self.stop is None else self.stop.text
            said = message("sealed_after", after_s=self.time_s)
            if why:
                said = message("sealed_after_why", sealed=said, why=why)
            return Alive("sealed", "RECORDING STOPPED", said)
        if self.state == "changed":
            return Alive("changed", "FILES WERE CHANGED", message("files_changed"))
        if self.state == "cut short":
            return Alive("cut", "RECORDING CUT SHORT", message("recorder_gone", since_s=self.time_s))
        quiet = self.quiet_s(mono_s)
        if quiet > STALLED_S:
            return Alive("stalled", "RECORDER STALLED", message("recorder_stalled", quiet_s=quiet))
        return Alive("recording", "RECORDING")
