"""Runs the recorder's only writing thread: its timetable, and the seal at the end.

No other thread writes in the session's folder, so that rows need no lock and keep their order.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from logger import clock
from logger.channels.channel import Sensors
from logger.channels.port_schemes import HAND
from logger.formats.base import Decoded
from logger.recorder.alarm_judge import AlarmJudge
from logger.recorder.alarms import AlarmRow
from logger.recorder.bounded_queue import BoundedQueue
from logger.recorder.disk_retry import DiskRetry, EventRow
from logger.recorder.port_warnings import PortWarnings
from logger.recorder.reading_intake import ReadingIntake
from logger.recorder.reading_ledger import ReadingLedger
from logger.recorder.request_handler import RequestHandler
from logger.session.writer import SessionWriter
from logger.transports.reader_thread import Arrival, PortReader

# periods; derived from interface section 4: rows within 50 ms, answers within 0.1 s, the clock
# every 0.25 s, a sync within 1 s; RETRY_S chosen by us: rows continue 0.25 s after the disk takes
# them again
TAKE_S, INBOX_S, CLOCK_S, SYNC_S, RETRY_S = 0.02, 0.04, 0.25, 0.8, 0.25
SEAL_S = 1.4  # time to retry a refused seal; chosen by us: so that stopping takes less than 2 s
SLEEP_S = 0.5  # shortest sleep that is an event; chosen by us: busy machines lose less
NO_ANSWER_S, NO_SYNC_S = 0.9, 3.0  # a slow disk's write and fsync take less; chosen by us


@dataclass(frozen=True)
class OpenRecording:
    """The objects that the threads of one recording share."""

    writer: SessionWriter  # writes the session
    sensors: Sensors  # channels
    queue: BoundedQueue  # from the readers to the writer thread
    readers: Sequence[PortReader]  # one for each port
    zero_moment: float  # `clock.now` at the start of the recording, s
    alarms: Sequence[AlarmRow]  # alarm table
    check_rig: Callable[[str, str], object] | None  # see `record`; for rigs from requests
    done: threading.Event  # set when the recording is to end
    reasons: list[str]  # why it is to end; the first counts


class WriterThread(threading.Thread):
    """Writes what the readers deliver, answers requests, and seals the session at the end.

    recording: what it works with
    disk, ledger, ports, alarms: its helpers, which the main thread reads
    digest: the seal's SHA-256 in hex; None before the seal
    ended_s: when the recording stopped, s since it started
    own_fault: first defect of the program that was caught in this thread; None if there was none
    """

    def __init__(self, recording: OpenRecording) -> None:
        super().__init__(name="writer", daemon=True)
        self.recording = recording
        writer, sensors, readers = recording.writer, recording.sensors, recording.readers
        channels = {channel.name: channel for channel in sensors.channels}
        self.disk = disk = DiskRetry(writer=writer, time_s=self.time_s)
        self.ledger = ReadingLedger(
            channels=channels, readers=readers, queue=recording.queue, disk=disk
        )
        self.ports = PortWarnings(readers=readers, ledger=self.ledger, disk=disk)
        self._requests = RequestHandler(writer, sensors, recording.check_rig, self._enter)
        self.alarms = AlarmJudge(
            table=recording.alarms, channels=channels, requests=self._requests, disk=disk
        )
        self._intake = ReadingIntake(
            ledger=self.ledger, requests=self._requests, alarms=self.alarms, disk=disk,
            zero_moment=recording.zero_moment,
        )  # fmt: skip
        self.own_fault: Exception | None = None
        self.digest: str | None = None
        self.ended_s = 0.0
        self._machine_events: deque[tuple[str, float | None, str]] = deque()
        self._finish = threading.Event()
        self._turn_began = clock.awake()
        self._slept = clock.slept()
        self._next = {"inbox": 0.0, "clock": 0.0, "sync": SYNC_S, "retry": 0.0}

    # -- called by the main thread --------------------------------------------------------------
    def time_s(self) -> float:
        """Seconds since the recording started."""
        return clock.now() - self.recording.zero_moment

    def queue_machine_event(self, kind: str, value: float | None, text: str) -> None:
        """Queue an event that no reading and no request gives, to be appended to events.csv by this thread.

        kind: "disk", "power", "hangup" or "override"; value: bytes free, or battery charge in %.
        """
        self._machine_events.append((kind, value, text))

    def finish(self) -> None:
        """Request that the thread writes what is left, seals and ends; the readers have stopped."""
        self._finish.set()

    def no_answer(self) -> str:
        """A text with the time for which the disk has not answered; "" if it answers."""
        silent, unsynced = clock.awake() - self._turn_began, self.disk.syncer.busy_s()
        if not self.is_alive() or (silent <= NO_ANSWER_S and unsynced <= NO_SYNC_S):
            return ""
        return f"no answer for {max(silent, unsynced):.0f} s"

    # -- the thread -----------------------------------------------------------------------------
    def run(self) -> None:
        """The thread: write until `finish`, then seal."""
        writer, syncer = self.recording.writer, self.disk.syncer
        syncer.start()
        self.disk.attempt(writer.event, 0.0, "start")
        while not self._finish.is_set():
            try:
                self._turn()
            except Exception as error:  # a defect of the program must not end the recording
                if self.own_fault is None:
                    self.own_fault = error
                time.sleep(TAKE_S)
        syncer.stop()
        try:
            self._seal()
        except Exception as error:
            self.own_fault = self.own_fault or error
            writer.abandon()

    def _turn(self) -> None:
        """One turn of the loop: write what the queue holds, and do what is due."""
        self._turn_began = clock.awake()
        if self.disk.refuses:
            time.sleep(TAKE_S)
        else:
            self._intake.write(self.recording.queue.take(TAKE_S))
        now = self.time_s()
        if self.disk.refuses and self._due("retry", now, RETRY_S):
            self.disk.retry(now)
        inbox = self._due("inbox", now, INBOX_S)
        # a rig whose check has ended is answered in every turn, so that most have theirs within 0.1 s
        self._answer(self._requests.answers(now) if inbox else self._requests.rig_answer(now))
        if self._due("clock", now, CLOCK_S):
            self._write_state(now)
        if self._due("sync", now, SYNC_S):
            self.disk.syncer.ask()
        self.disk.check_sync()

    def _enter(self, name: str, time_s: float, text: str) -> None:
        """Queue a reading that a person entered; time_s: s since the recording started."""
        at_s = self.recording.zero_moment + time_s
        decoded = Decoded(readings={name: [text.encode("ascii")]})
        self.recording.queue.put(Arrival(port=HAND, from_s=at_s, to_s=at_s, decoded=decoded))

    def _due(self, what: str, now_s: float, period_s: float) -> bool:
        if now_s < self._next[what]:
            return False
        self._next[what] = max(self._next[what] + period_s, now_s)
        return True

    def _answer(self, answers: Iterator[EventRow]) -> None:
        """Carry out requests and write their answers, unless these could not be kept."""
        if self.disk.full:
            return
        now = self.time_s()
        for answer in answers:
            (self.alarms if answer.kind == "ack" else self.disk).event(answer)
            if self._requests.table is not None:
                self.alarms.replace_table(now, self._requests.table)
                self._requests.table = None
            if answer.kind == "end":
                self.recording.reasons.append("end")
                self.recording.done.set()

    def _write_state(self, now: float) -> None:
        """Write events about machine, losses, ports and disk, and the counts of clock.csv."""
        while self._machine_events:
            kind, value, text = self._machine_events.popleft()
            self.disk.event(EventRow(now, kind, value=value, text=text))
        slept = clock.slept()
        away_s, self._slept = slept - self._slept, slept
        if away_s > SLEEP_S:
            text = f"the machine slept {away_s:.1f} s"
            self.disk.event(EventRow(now, "sleep", value=round(away_s, 3), text=text))
        self.ledger.report_losses(now)
        self.ports.check(now)
        self.disk.check_files(now)
        if not self.disk.refuses:
            self.ledger.write_counts(now)

    # -- the end --------------------------------------------------------------------------------
    def _seal(self) -> None:
        """Write the last rows and seal; once the disk has refused for SEAL_S, leave the session cut
        short.

        The time counts from the first refusal, because a slow disk may take long for a seal that it
        takes; and what it refuses is tried again at least once after that.
        """
        refused_at: float | None = None
        written = False
        while True:
            now = self.time_s()
            if self.disk.refuses:
                self.disk.retry(now)
            if not written and not self.disk.refuses:
                written = True
                now = self._write_last()
            if written and (digest := self.disk.seal()) is not None:
                self.digest = digest
                return
            if refused_at is None:
                refused_at = time.monotonic()
            elif time.monotonic() - refused_at > SEAL_S:
                self.ended_s = self.ended_s or now
                self.ledger.write_off()
                self.recording.writer.abandon()
                return
            time.sleep(0.05)

    def _write_last(self) -> float:
        """Write what is left, and the `stop` event last; returns its time, s."""
        self._intake.write(self.recording.queue.take(0.0))
        self._answer(self._requests.last_answers(self.time_s()))
        self._intake.write(self.recording.queue.take(0.0))  # numbers that were entered last
        self.ended_s = now = self.time_s()
        self.ledger.close(now)
        self._write_state(now)
        reasons = self.recording.reasons
        self.disk.event(EventRow(now, "stop", text=reasons[0] if reasons else "time"))
        return now
