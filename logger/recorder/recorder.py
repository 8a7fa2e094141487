"""Ports to a session: one reader thread a port, one writer thread, nothing that waits for a viewer.

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
from logger.recorder.alarms import AlarmRow
from logger.recorder.bounded_queue import BoundedQueue
from logger.recorder.disk_retry import EventRow
from logger.recorder.machine_watch import MachineWatch
from logger.recorder.writer_thread import OpenRecording, WriterThread
from logger.session.writer import SessionWriter, check_out
from logger.toml_tables import read_text
from logger.transports.reader_thread import PortReader

STATUS_S = 0.1  # an alarm is told within it; chosen by us: one more tenth is not felt
MACHINE_S = 0.5  # between two looks at the machine; chosen by us: none of them is urgent
JOIN_S = 0.3  # that the end waits for a reader; chosen by us: a port that hangs must not hold up the seal

RigCheck = Callable[[str, str], object]


@dataclass(frozen=True)
class RecorderStatus:
    """How the recording stands.  latest: last reading of each channel as sent; ports: "" or why
    a port is not open or brings nothing for its channels; disk: "" or why nothing can be written;
    news: lines about the machine and about what the sensors file leaves open, and alarms: what
    became of them, since the last status."""

    time_s: float
    readings: dict[str, int]
    drops: dict[str, int]
    latest: dict[str, str]
    ports: dict[str, str]
    disk: str
    news: tuple[str, ...] = ()
    alarms: tuple[EventRow, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """How a recording ended.  state: sealed, or cut short where the disk refused to the end;
    reason: what ended it; digest: of the seal."""

    path: Path
    state: str
    reason: str
    duration_s: float
    readings: dict[str, int]
    drops: dict[str, int]
    digest: str | None = None
    disk: str = ""


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
) -> Outcome:
    """Record until for_s seconds from now, SIGINT, SIGTERM or an `end` from the inbox.

    The rig file is copied, not looked into; check_rig(text, name) is asked about it and about a
    changed one: it raises a UserFault, or returns a reason as text, where the rig is wrong; a tuple of
    alarm rows takes the place of `alarms` from then on.
    status is called about ten times a second from this thread.  machine: the machine is looked at, and
    kept awake; what it is short of becomes an event.

    Raises PortFault if no port opens (wait: keeps trying), SessionFault if `out` cannot be used,
    SensorsFault, RigFault; nothing is left behind then.
    """
    began = clock.now()
    sensors = load_sensors(sensors_path)
    for_recording(sensors)
    known = {channel.name for channel in sensors.channels}
    for row in alarms:
        if row.channel not in known:
            raise SensorsFault(sensors.file, f'an alarm is about "{row.channel}", no channel here')
    rig_text = read_text(Path(rig_path), RigFault)
    if check_rig is not None:
        reason = check_rig(rig_text, os.fspath(rig_path))
        if isinstance(reason, str) and reason:
            raise RigFault(rig_path, reason, "mend the rig file")
    target = Path(out)
    check_out(target)

    queue = BoundedQueue()
    readers = [
        PortReader(url, channels, queue.put)
        for url, channels in sensors.ports().items()
    ]
    done = threading.Event()
    reasons: list[str] = []
    with _signals(reasons):
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
        thread.start()
        until = None if for_s is None else began + for_s
        status = StatusReporter(status, thread, machine)
        _wait(thread, until, status)
        if not reasons:
            reasons.append("time")
        done.set()
        _stop(readers)
        thread.finish()
        thread.join()
        status.end()
    if thread.own_fault is not None:
        raise thread.own_fault  # sealed all the same; the command line logs it and says where
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
    """Completes each RecorderStatus with what is new, and hands it on.  A reader of it that is gone ends
    nothing: the machine is still looked at, and its events are still written."""

    def __init__(
        self, status: Callable[[RecorderStatus], None] | None, thread: WriterThread, machine: MachineWatch | None
    ) -> None:
        self._status, self._thread, self._machine = status, thread, machine
        self._next = 0.0
        if machine is not None:
            machine.start()

    def __call__(self, status: RecorderStatus) -> None:
        notices = self._thread.ports.notices
        news = [notices.popleft() for _ in range(len(notices))]
        if self._machine is not None and status.time_s >= self._next:
            self._next = status.time_s + MACHINE_S
            for notice in self._machine.look(status.time_s):
                news.append(notice.text)
                if notice.kind:
                    self._thread.tell(notice.kind, notice.value, notice.text)
        shown = self._thread.alarms.shown
        alarms = tuple(shown.popleft() for _ in range(len(shown)))
        if self._status is not None:
            try:
                self._status(replace(status, news=tuple(news), alarms=alarms))
            except OSError:
                self._status = None

    def end(self) -> None:
        if self._machine is not None:
            self._machine.stop()


def _first_port(
    readers: Sequence[PortReader], wait: bool, reasons: Sequence[str], until: float | None
) -> None:
    """Return when a port is open; raise PortFault when none can be opened (unless `wait`)."""
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
    other_ports = f" (nor {', '.join(r.url for r in readers[1:])})" if len(readers) > 1 else ""
    raise PortFault(
        first.url,
        f"no port opens: {first.fault or 'no answer'}{other_ports}",
        "connect the device, mend `port` in the sensors file (`haul ports` lists them), "
        "or add --wait",
    )


def _wait(
    thread: WriterThread, until: float | None, status: Callable[[RecorderStatus], None] | None
) -> None:
    """Return when the recording is to end; meanwhile tell how it stands."""
    recording = thread.recording
    while True:
        left = STATUS_S if until is None else min(STATUS_S, until - clock.now())
        if left <= 0 or recording.reasons or recording.done.wait(left) or not thread.is_alive():
            return
        if status is not None:
            try:
                status(_status(thread))
            except OSError:
                status = None  # nobody reads the terminal any more: that ends no recording


def _status(thread: WriterThread) -> RecorderStatus:
    newest, foreign_lines = thread.recording.queue.newest, thread.ports.foreign_lines
    return RecorderStatus(
        time_s=thread.time_s(),
        readings=dict(thread.ledger.counts),
        drops=thread.ledger.drops(),
        latest={
            c.name: newest.get(c.name, b"").decode("ascii")
            for c in thread.recording.sensors.channels
        },
        ports={
            r.url: foreign_lines.get(r.url, "") if r.opened else r.fault or "opening"
            for r in thread.recording.readers
        },
        disk=thread.disk.fault or thread.no_answer(),
    )


def _stop(readers: Sequence[PortReader]) -> None:
    for reader in readers:
        reader.stop()
    until = time.monotonic() + JOIN_S
    for reader in readers:
        # one that is still opening is let go; it holds nothing that could be lost
        reader.quiet.wait(max(0.0, until - time.monotonic()))


@contextmanager
def _signals(reasons: list[str]) -> Iterator[None]:
    """SIGINT, SIGTERM and SIGHUP end the recording in order while this lasts.

    The handler takes no lock, so it sets no event: it runs in the main thread, which may just hold the
    event's lock and would then wait for itself for ever.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def handle(number: int, frame: object) -> None:
        reasons.append(signal.Signals(number).name)

    names = [getattr(signal, n) for n in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, n)]
    before = {}
    for number in names:
        # a process started with nohup stays deaf to the terminal's end
        if signal.getsignal(number) is not signal.SIG_IGN or number != getattr(signal, "SIGHUP", 0):
            before[number] = signal.signal(number, handle)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
