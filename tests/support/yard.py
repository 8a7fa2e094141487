"""A yard to record in: a launch on its cradle, its devices on real channels, its recorder in a thread or a
process."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from itertools import pairwise
from pathlib import Path
from typing import Any

from logger.channels.channel import Sensors
from logger.channels.sensors_file import parse_sensors
from logger.errors import SessionFault, UserFault
from logger.formats.registry import encode
from logger.recorder.recorder import Outcome, record
from logger.recorder.request_inbox import ask
from logger.session.csv_import import import_table
from logger.session.reader import Event, read_all
from logger.session.writer import SessionWriter
from logger.transports.base import WHOLE_AFTER_S
from logger.transports.simulated import Device, PtyDevice, TcpDevice, serve_pty, serve_tcp
from support.channels import channel
from support.places import ROOT
from support.processes import ended_at_exit
from support.rigs import STRAIGHT_PULL
from support.waiting import joined, long_enough, until

HAUL_FORCE = channel("haul_force", "force", format="xdr", id="HAUL", capacity=5000.0, u=2.0)
HAUL_TRAVEL = channel("haul_travel", "length", format="xdr", id="ROPE")
RECORD = """
import sys
from logger.recorder.recorder import record
print(record(*sys.argv[1:4]).state)
"""


def xdr_channel(name: str, quantity: str, id: str, port: str) -> str:
    """A channel of a device that sends XDR sentences through a serial port or a socket."""
    return channel(name, quantity, format="xdr", id=id, port=port, baud=115200)


def force(port: str, more: str = "") -> str:
    return xdr_channel("force", "force", "CELL", port) + more


def travel(port: str, more: str = "") -> str:
    return xdr_channel("travel", "length", "ROPE", port) + more


class Yard:
    """A folder with a rig and a sensors file, devices that lines can be sent through, and what is recorded."""

    def __init__(self, folder: Path, sensors: str = "", rig: str = 'title = "slipway"\n') -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self.out = folder, folder / "session"
        self.rig, self.sensors_file = folder / "rig.toml", folder / "sensors.toml"
        self.rig.write_text(rig)
        self.devices: list[PtyDevice | TcpDevice] = []  # closed at the end of the test
        self.untaken: set[int] = set()  # numbers whose line did not go onto the wire whole
        self.sensors: Sensors
        if sensors:
            self.write(sensors)

    def write(self, sensors: str) -> Sensors:
        """Write the sensors file, and return it parsed."""
        self.sensors_file.write_text(sensors)
        self.sensors = parse_sensors(sensors, str(self.sensors_file), self.folder)
        return self.sensors

    def pty(self) -> PtyDevice:
        """A device on a pseudo-terminal."""
        device = serve_pty()
        self.devices.append(device)
        return device

    def tcp(self) -> TcpDevice:
        """A device on a socket."""
        device = serve_tcp()
        self.devices.append(device)
        return device

    def close(self) -> None:
        for device in self.devices:
            device.close()

    def create(self) -> SessionWriter:
        """The writer of a new session of this rig and these sensors."""
        return SessionWriter.create(self.out, self.rig.read_bytes(), self.sensors)

    def table(self, rows: int = 50) -> Path:
        """A table of force and rope that an import takes."""
        path = self.folder / "table.csv"
        lines = [f"{i / 100:.2f},{1000 + i * 0.5:.1f},{i * 0.003:.3f}" for i in range(rows)]
        path.write_text("time_s,haul_force,haul_travel\n" + "\n".join(lines) + "\n")
        return path

    def imported(self, rows: int = 50, name: str = "session") -> Path:
        """A sealed session made of that table."""
        self.write(HAUL_FORCE + HAUL_TRAVEL)
        return import_table(self.table(rows), self.rig, self.sensors_file, self.folder / name)

    def lines(self, first: int, count: int, name: str = "") -> bytes:
        """Lines of a device that counts, for the channel of this name or the first one."""
        name = name or self.sensors.channels[0].name
        which = [c for c in self.sensors.channels if c.name == name]
        return b"".join(encode(which, {name: float(k)}) for k in range(first, first + count))

    def events(self) -> list[Event]:
        """The events of the session; none where there is no session yet."""
        try:
            return list(read_all(self.out).events)
        except SessionFault:
            return []

    def kinds(self) -> list[str]:
        """The kinds of the session's events."""
        return [event.kind for event in self.events()]

    def values(self, name: str = "") -> list[float]:
        """The readings of the channel of this name or the first one; none where there is no session yet."""
        try:
            return (
                read_all(self.out).readings[name or self.sensors.channels[0].name].reading.tolist()
            )
        except SessionFault:
            return []

    def start(self, code: str = RECORD) -> subprocess.Popen[str]:
        """A recorder in a process of its own; code: what the process runs."""
        process = subprocess.Popen(
            [sys.executable, "-c", code, str(self.rig), str(self.sensors_file), str(self.out)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        return ended_at_exit(process)


def begun(folder: Path) -> tuple[Yard, SessionWriter]:
    """A yard with one cell and a rig that can be hauled, and the writer of its new session."""
    yard = Yard(folder, force("x"), STRAIGHT_PULL)
    return yard, yard.create()


def snapshot(folder: Path) -> dict[str, bytes]:
    """The bytes of each file of a folder, by its path in the folder."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def unsealed(yard: Yard, rows: int = 20, name: str = "cut") -> Path:
    """A session as a killed recorder leaves it."""
    folder = yard.imported(rows, name)
    (folder / "SHA256SUMS").unlink()
    descriptor = json.loads((folder / "datapackage.json").read_text())
    for key in ("haul_files", "haul_self", "ended_at"):
        del descriptor[key]
    for resource in descriptor["resources"]:
        del resource["bytes"], resource["hash"]
    (folder / "datapackage.json").write_text(json.dumps(descriptor))
    return folder


@contextmanager
def ended_after_rows(out: Path, rows: int) -> Iterator[None]:
    """End the recording that the block makes at `out`, once its table has so many rows.

    A recording of a fixed time may be over before a busy machine has opened its port.
    """
    table, over = out / "readings.csv", threading.Event()

    def wait() -> None:
        with suppress(AssertionError):  # then it is ended too, and the test sees what is missing
            until(
                lambda: over.is_set() or (table.exists() and table.read_bytes().count(b"\n") > rows)
            )
        with suppress(UserFault):
            ask(out, "end")

    thread = threading.Thread(target=wait, daemon=True, name="the end after rows")
    thread.start()
    yield
    over.set()
    joined(thread)


class Running:
    """A recorder in a thread of this process.

    statuses: moment in s of time.monotonic and the status that the recorder passed on then.
    """

    def __init__(self, yard: Yard, **options: Any) -> None:
        self.yard = yard
        self.outcome: Outcome | None = None
        self.error: BaseException | None = None
        self.statuses: list[tuple[float, Any]] = []
        options.setdefault("status", lambda s: self.statuses.append((time.monotonic(), s)))
        self.thread = threading.Thread(target=self._run, kwargs=options, daemon=True)
        self.thread.start()

    def _run(self, **options: Any) -> None:
        try:
            self.outcome = record(self.yard.rig, self.yard.sensors_file, self.yard.out, **options)
        except BaseException as error:
            self.error = error

    def end(self) -> Outcome:
        if self.thread.is_alive():
            ask(self.yard.out, "end")
        return self.wait()

    def wait(self, within_s: float = 60.0) -> Outcome:
        joined(self.thread, within_s)
        assert isinstance(self.outcome, Outcome), self.error or "still recording"
        return self.outcome


@contextmanager
def recording(yard: Yard, **options: Any) -> Iterator[Running]:
    """A recorder that is connected, or that waits for its port (option `wait`); ended at the end."""
    running = Running(yard, **options)
    try:
        until(
            lambda: (
                (
                    (yard.out / "inbox").is_dir()
                    and ("connect" in yard.kinds() or options.get("wait"))
                )
                or not running.thread.is_alive()
            ),
            what="a recorder that is connected",
        )
        yield running
    except BaseException:
        # a recorder that goes on would open the pseudo-terminals of later tests
        with suppress(UserFault, AssertionError):
            running.end()
        raise
    if running.thread.is_alive():
        running.end()


def silent_wire() -> None:
    """Let a wire be silent after a connection for so long that its next line counts as whole.

    A reader must see it silent, so on a busy machine it is longer.
    """
    time.sleep(WHOLE_AFTER_S + long_enough(WHOLE_AFTER_S))


class Counter:
    """Devices that count, `rate` lines a second each; sent: when each number was sent."""

    def __init__(self, sends: list[Callable[[int], object]], rate: float = 500.0) -> None:
        self.sent: list[float] = []
        self._sends, self._rate = sends, rate
        self._halt = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        began = time.monotonic()
        while not self._halt.wait(0.002):
            while len(self.sent) < (time.monotonic() - began) * self._rate:
                self.sent.append(time.monotonic())
                for send in self._sends:
                    send(len(self.sent) - 1)

    def last_before(self, moment: float) -> int:
        """The last number that was sent before a moment, -1 if none was."""
        return sum(1 for at in self.sent if at <= moment) - 1

    def held_up(self, moment: float) -> float:
        """How long the machine kept this thread waiting in the second before a moment: a recorder
        that it treats alike cannot do better."""
        near = [at for at in self.sent if moment - 1 <= at <= moment + 0.1]
        return max((two - one for one, two in pairwise(near)), default=0.0)

    def stop(self) -> None:
        self._halt.set()
        self._thread.join()


def count_into(
    device: Device, yard: Yard, name: str = "force", within_s: float = 0.0
) -> Callable[[int], object]:
    """Sends the k-th line; within_s: how long a device waits for room on its wire before a line is lost, s."""

    def send(k: int) -> None:
        line = yard.lines(k, 1, name)
        if device.send(line, within_s) != len(line):
            yard.untaken.add(
                k
            )  # the wire was full: a reader that stalls loses it, and no recorder can help

    return send


def all_taken(yard: Yard, values: list[float]) -> bool:
    """Whether they are all numbers that the wire took, from the first to the last, in order."""
    if not values:
        return True
    span = range(int(values[0]), int(values[-1]) + 1)
    return values == [k for k in span if k not in yard.untaken]


def further_rows(yard: Yard, count: int = 100) -> Callable[[], bool]:
    """A condition: `count` more readings are in the session than when this was called."""
    before = len(yard.values())
    return lambda: len(yard.values()) >= before + count


def in_order(values: list[float]) -> bool:
    """Whether they are whole numbers, one after the other: no row is wrong, none is missing."""
    return not values or values == [values[0] + k for k in range(len(values))]
