"""The recorder's one writer thread: its timetable, and the seal at the end.

Only this thread writes in the session's folder, so that rows need no lock and keep their order.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from logger import clock
from logger.channels.channel import Sensors
from logger.recorder.alarm_judge import AlarmJudge
from logger.recorder.alarms import AlarmRow
from logger.recorder.bounded_queue import BoundedQueue
from logger.recorder.disk_retry import DiskRetry, EventRow
from logger.recorder.port_warnings import PortWarnings
from logger.recorder.reading_intake import ReadingIntake
from logger.recorder.reading_ledger import ReadingLedger
from logger.recorder.request_handler import RequestHandler
from logger.session.writer import SessionWriter
from logger.transports.reader_thread import PortReader

# derived from interface section 4: rows within 50 ms, answers within 0.1 s, the clock every 0.25 s, a
# sync within 1 s; RETRY_S chosen by us: a disk that takes rows again is found within a quarter second
TAKE_S, INBOX_S, CLOCK_S, SYNC_S, RETRY_S = 0.02, 0.04, 0.25, 0.8, 0.25
SEAL_S = 1.4  # sealing is tried so long on a disk that refuses; chosen by us: stop within 2 s
SLEEP_S = 0.5  # a shorter sleep of the machine is no event; chosen by us: above what a busy machine loses
NO_ANSWER_S, NO_SYNC_S = 0.9, 3.0  # a slow disk's write and fsync take less; chosen by us


@dataclass(frozen=True)
class OpenRecording:
    """What one recording works with."""

    writer: SessionWriter
    sensors: Sensors
    queue: BoundedQueue
    readers: Sequence[PortReader]
    zero_moment: float  # clock.now() when it started
    alarms: Sequence[AlarmRow]
    check_rig: Callable[[str, str], object] | None  # asked about a rig that a request brings
    done: threading.Event  # set when the recording is to end
    reasons: list[str]  # what ended it, the first counts


class WriterThread(threading.Thread):
    """Writes what the readers deliver.  digest: the seal's, once there is one; ended_s: when the
    recording stopped; own_fault: an error of ours that this thread outlived."""

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
        self._requests = RequestHandler(writer, sensors, recording.check_rig)
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
        self._asked: deque[tuple[str, float | None, str]] = deque()
        self._finish = threading.Event()
        self._turned = clock.awake()
        self._slept = clock.slept()
        self._next = {"inbox": 0.0, "clock": 0.0, "sync": SYNC_S, "retry": 0.0}

    # -- asked by the main thread ---------------------------------------------------------------
    def time_s(self) -> float:
        """Seconds since the recording started."""
        return clock.now() - self.recording.zero_moment

    def tell(self, kind: str, value: float | None, text: str) -> None:
        """Let a row of events.csv say something of the machine."""
        self._asked.append((kind, value, text))

    def finish(self) -> None:
        """The readers have stopped: write what is left, seal, end."""
        self._finish.set()

    def no_answer(self) -> str:
        """That the disk has not answered for a while, or ""."""
        silent, unsynced = clock.awake() - self._turned, self.disk.syncer.busy_s()
        if not self.is_alive() or (silent <= NO_ANSWER_S and unsynced <= NO_SYNC_S):
            return ""
        return f"no answer for {max(silent, unsynced):.0f} s"

    # -- the thread -----------------------------------------------------------------------------
    def run(self) -> None:
        writer, syncer = self.recording.writer, self.disk.syncer
        syncer.start()
        self.disk.attempt(writer.event, 0.0, "start")
        while not self._finish.is_set():
            try:
                self._turn()
            except Exception as error:  # our own fault must not end the recording
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
        self._turned = clock.awake()
        if self.disk.refuses:
            time.sleep(TAKE_S)
        else:
            self._intake.write(self.recording.queue.take(TAKE_S))
        now = self.time_s()
        if self.disk.refuses and self._due("retry", now, RETRY_S):
            self.disk.retry(now)
        if self._due("inbox", now, INBOX_S):
            self._answer(now)
        if self._due("clock", now, CLOCK_S):
            self._look_round(now)
        if self._due("sync", now, SYNC_S):
            self.disk.syncer.ask()
        self.disk.look_at_sync()

    def _due(self, what: str, now: float, period: float) -> bool:
        if now < self._next[what]:
            return False
        self._next[what] = max(self._next[what] + period, now)
        return True

    def _answer(self, now: float) -> None:
        """Do what the inbox asks, unless its answers could not be kept."""
        if self.disk.full:
            return
        for answer in self._requests.answers(now):
            (self.alarms if answer.kind == "ack" else self.disk).event(answer)
            if self._requests.table is not None:
                self.alarms.replace_table(now, self._requests.table)
                self._requests.table = None
            if answer.kind == "end":
                self.recording.reasons.append("end")
                self.recording.done.set()

    def _look_round(self, now: float) -> None:
        """Tell what happened beside the readings, and write the account of them."""
        while self._asked:
            kind, value, text = self._asked.popleft()
            self.disk.event(EventRow(now, kind, value=value, text=text))
        slept = clock.slept()
        away_s, self._slept = slept - self._slept, slept
        if away_s > SLEEP_S:
            text = f"the machine slept {away_s:.1f} s"
            self.disk.event(EventRow(now, "sleep", value=round(away_s, 3), text=text))
        self.ledger.look(now)
        self.ports.look(now)
        self.disk.look(now)
        if not self.disk.refuses:
            self.ledger.clock_row(now)

    # -- the end --------------------------------------------------------------------------------
    def _seal(self) -> None:
        until = time.monotonic() + SEAL_S
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
            if time.monotonic() > until:
                self.ended_s = self.ended_s or now
                self.ledger.write_off()
                self.recording.writer.abandon()
                return
            time.sleep(0.05)

    def _write_last(self) -> float:
        """Write what is left, up to the row that says why it ended; returns when."""
        self._intake.write(self.recording.queue.take(0.0))
        self._answer(self.time_s())
        self.ended_s = now = self.time_s()
        self.ledger.close(now)
        self._look_round(now)
        reasons = self.recording.reasons
        self.disk.event(EventRow(now, "stop", text=reasons[0] if reasons else "time"))
        return now
