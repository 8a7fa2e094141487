"""Records ports into a session, with one reader thread a port and one writer thread.

It waits for no viewer.

Imports neither numpy nor pandas, so that a recording starts at once.
"""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from logger import clock
from logger.channels.sensors_file import for_recording, load_sensors
from logger.errors import PortFault, RigFault, SensorsFault
from logger.machine.machine_thread import MachineThread
from logger.machine.machine_watch import MachineWatch
from logger.recorder.alarms import AlarmRow
from logger.recorder.bounded_queue import BoundedQueue
from logger.recorder.disk_retry import EventRow
from logger.recorder.writer_thread import OpenRecording, WriterThread
from logger.session.writer import SessionWriter, check_out
from logger.toml_tables import read_text
from logger.transports.reader_thread import PortReader

STATUS_S = 0.1  # period of the status, so an alarm's delay; chosen by us: a tenth is not felt
JOIN_S = 0.3  # longest wait for a reader at the end; chosen by us: a port that hangs must not delay the seal

HANGUP = (
    "the terminal was closed (SIGHUP), and the recording continues; end it with End on the page of "
    "`haul watch`, or with kill {pid}"
)
OPENING = "opening"  # of a port, in RecorderStatus.ports: it was not yet tried

RigCheck = Callable[[str, str], object]  # see check_rig of `record`


@dataclass(frozen=True)
class RecorderStatus:
    """The state of a recording at one moment."""

    time_s: float  # s since the recording started
    readings: dict[str, int]  # readings so far, by channel
    drops: dict[str, int]  # lost readings so far, by channel
    latest: dict[str, str]  # last reading as sent, by channel; "" before the first
    ports: dict[str, str]  # by port, why nothing of it is recorded; "" if all is well
    disk: str  # why nothing can be written; "" if all is well
    news: tuple[str, ...] = ()  # lines about the machine and the ports since the last status
    alarms: tuple[EventRow, ...] = ()  # `alarm` and `ack` rows since the last status


@dataclass(frozen=True)
class Outcome:
    """The result of a recording."""

    path: Path  # the session folder
    state: str  # "sealed", or "cut short" if the disk refused to the end
    reason: str  # what ended it: "time", "end" or the name of a signal
    duration_s: float  # length of the recording, s
    readings: dict[str, int]  # readings written, by channel
    drops: dict[str, int]  # lost readings, by channel
    digest: str | None = None  # of the seal, SHA-256 in hex; None without a seal
    disk: str = ""  # why the disk refused at the end; "" if it did not


def record(
    rig_path: str | os.PathLike[str],
    sensors_path: str | os.PathLike[str],
    out: str | os.PathLike[str],
    for_s: float | None = None,
    wait: bool = False,
    alarms: Sequence[AlarmRow] = (),
    simulation_true: Mapping[str, Any] | None = None,
    status: Callable[[RecorderStatus], None] | None = None,
    check_rig: RigCheck | None = None,
    machine: MachineWatch | None = None,
    reasons: list[str] | None = None,
    overrides: Sequence[str] = (),
) -> Outcome:
    """Record into the new session folder `out` until for_s, a signal or an `end` request.

    for_s: length of the recording, s; None: no limit.  SIGINT and SIGTERM end it too.  SIGHUP, sent
        when the terminal is closed, does not; it becomes a `hangup` event.
    wait: keep trying if no port opens
    alarms: the alarm table, beside the levels in the sensors file
    simulation_true: true values of a simulation, for the descriptor
    status: called about ten times a second in this thread, which alone ends the recording: it
        must not block
    check_rig: called with the text and the name of the rig file, and of every later one; it raises
        a UserFault or returns the reason as text if the rig has an error.  A tuple of alarm rows
        that it returns for a later rig replaces the alarm table.  Without it the rig file is only
        copied.
    machine: watches disk, power and sleep; its notices become events
    reasons: why the recording is to end, to which the caller's own signal handler may append too
    overrides: what a person overruled before the start, each an `override` event

    Raises PortFault if no port opens, SessionFault if `out` cannot be used, SensorsFault or
    RigFault; it then leaves no session behind.
    """
    began = clock.now()
    sensors = load_sensors(sensors_path)
    for_recording(sensors)
    names = {channel.name for channel in sensors.channels}
    for row in alarms:
        if row.channel not in names:
            raise SensorsFault(
                sensors.file,
                f'an alarm names the channel "{row.channel}", which is not in this file',
            )
    rig_text = read_text(Path(rig_path), RigFault)
    if check_rig is not None:
        reason = check_rig(rig_text, os.fspath(rig_path))
        if isinstance(reason, str) and reason:
            raise RigFault(rig_path, reason, "correct the rig file")
    target = Path(out)
    check_out(target)

    queue = BoundedQueue()
    readers = [PortReader(url, channels, queue.put) for url, channels in sensors.ports().items()]
    done = threading.Event()
    reasons = [] if reasons is None else reasons
    hangups: list[str] = []
    with _signals(reasons, hangups):
        zero_moment = clock.now()
        started_at = clock.utc_text()
        for reader in readers:
            reader.start()
        try:
            _first_port(readers, wait, reasons, None if for_s is None else began + for_s)
            writer = SessionWriter.create(
                target,
                rig_text.encode("utf-8"),
                sensors,
                simulation_true=simulation_true,
                started_at=started_at,
            )
        except BaseException:
            _stop(readers)
            raise
        thread = WriterThread(OpenRecording(
            writer=writer,
            sensors=sensors,
            queue=queue,
            readers=readers,
            zero_moment=zero_moment,
            alarms=alarms,
            check_rig=check_rig,
            done=done,
            reasons=reasons,
        ))  # fmt: skip
        for text in overrides:
            thread.queue_machine_event("override", None, text)
        thread.start()
        until = None if for_s is None else began + for_s
        status = StatusReporter(status, thread, machine, hangups)
        _wait(thread, until, status)
        if not reasons:
            reasons.append("time")
        done.set()
        _stop(readers)
        thread.finish()
        thread.join()
        status.end()
    if thread.own_fault is not None:
        raise thread.own_fault  # the session is sealed all the same; the command line logs the error
    return Outcome(
        path=target,
        state="sealed" if thread.digest else "cut short",
        reason=reasons[0],
        duration_s=thread.ended_s,
        readings=dict(thread.ledger.counts),
        drops=thread.ledger.drops(),
        digest=thread.digest,
        disk=thread.disk.fault,
    )


class StatusReporter:
    """Adds news and alarms to each RecorderStatus and passes it to `status`.

    If `status` raises OSError, because its terminal is gone, it is not called again; the machine is
    still watched and its events are still written.
    """

    def __init__(
        self,
        status: Callable[[RecorderStatus], None] | None,
        thread: WriterThread,
        machine: MachineWatch | None,
        hangups: list[str],
    ) -> None:
        self._status, self._thread, self._hangups = status, thread, hangups
        self._machine = None if machine is None else MachineThread(machine, thread.time_s)
        if self._machine is not None:
            self._machine.start()

    def __call__(self, status: RecorderStatus) -> None:
        waiting = (self._thread.ports.notices, self._thread.disk.notices)
        news = [notices.popleft() for notices in waiting for _ in range(len(notices))]
        if self._hangups:
            self._hangups.clear()
            text = HANGUP.format(pid=os.getpid())
            news.append(text)
            self._thread.queue_machine_event("hangup", None, text)
        for notice in [] if self._machine is None else self._machine.notices():
            news.append(notice.text)
            if notice.kind:
                self._thread.queue_machine_event(notice.kind, notice.value, notice.text)
        shown = self._thread.alarms.shown
        alarms = tuple(shown.popleft() for _ in range(len(shown)))
        if self._status is not None:
            try:
                self._status(replace(status, news=tuple(news), alarms=alarms))
            except OSError:
                self._status = None

    def end(self) -> None:
        """Stop watching the machine."""
        if self._machine is not None:
            self._machine.stop()


def _first_port(
    readers: Sequence[PortReader], wait: bool, reasons: Sequence[str], until: float | None
) -> None:
    """Wait until a port is open; raises PortFault if none can be opened.  wait: return at once."""
    if wait:
        return
    while not reasons:
        if any(reader.opened for reader in readers):
            return
        if all(reader.tried.is_set() for reader in readers):
            break
        if until is not None and clock.now() > until:
            break
        time.sleep(0.002)
    if any(reader.opened for reader in readers):
        return
    if reasons:
        raise PortFault(readers[0].url, "stopped before a port was open", "start again")
    first = readers[0]
    others = "".join(f"; {r.url}: {r.fault or 'no answer'}" for r in readers[1:])
    raise PortFault(
        first.url,
        f"no port opens: {first.fault or 'no answer'}{others}",
        "connect the device, correct `port` in the sensors file (`haul ports` lists the ports), "
        "or add --wait",
    )


def _wait(
    thread: WriterThread, until: float | None, status: Callable[[RecorderStatus], None] | None
) -> None:
    """Wait until the recording is to end; meanwhile pass its state to `status`.

    until: `clock.now` at which it is to end, s; None: no limit.
    """
    recording = thread.recording
    while True:
        left = STATUS_S if until is None else min(STATUS_S, until - clock.now())
        if left <= 0 or recording.reasons or recording.done.wait(left) or not thread.is_alive():
            return
        if status is not None:
            try:
                status(_status(thread))
            except OSError:
                status = None  # the terminal is gone; the recording continues


def _status(thread: WriterThread) -> RecorderStatus:
    newest = thread.recording.queue.newest
    return RecorderStatus(
        time_s=thread.time_s(),
        readings=dict(thread.ledger.counts),
        drops=thread.ledger.drops(),
        latest={
            c.name: newest.get(c.name, b"").decode("ascii")
            for c in thread.recording.sensors.channels
        },
        ports={
            r.url: thread.ports.why_nothing(r.url) if r.opened else r.fault or OPENING
            for r in thread.recording.readers
        },
        disk=thread.disk.fault or thread.no_answer(),
    )


def _stop(readers: Sequence[PortReader]) -> None:
    for reader in readers:
        reader.stop()
    until = time.monotonic() + JOIN_S
    for reader in readers:
        # a reader that is still opening its port holds no reading, so it need not have ended
        reader.quiet.wait(max(0.0, until - time.monotonic()))


@contextmanager
def _signals(reasons: list[str], hangups: list[str]) -> Iterator[None]:
    """In this context, SIGINT and SIGTERM append their name to `reasons`, SIGHUP to `hangups`.

    The handler runs in the main thread, which may hold the lock of any event at that moment and
    would wait for itself for ever; so the handler sets no event and takes no lock.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def handle(number: int, frame: object) -> None:
        """Append the signal's name to its list."""
        name = signal.Signals(number).name
        (hangups if name == "SIGHUP" else reasons).append(name)

    names = [getattr(signal, n) for n in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, n)]
    before = {}
    for number in names:
        # nohup has a process ignore SIGHUP, which stays so
        if signal.getsignal(number) is not signal.SIG_IGN or number != getattr(signal, "SIGHUP", 0):
            before[number] = signal.signal(number, handle)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
