"""A yard to attack: a launch on its cradle, its devices on real channels, its recorder in a thread
or a process, and disks that refuse or lose what was not synced."""

from __future__ import annotations

import contextlib
import os
import random
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import Any

from logger import filesystem as files
from logger.channels.channel import Sensors
from logger.channels.sensors_file import parse_sensors
from logger.errors import SessionFault
from logger.filesystem import FileOps
from logger.formats.registry import encode
from logger.recorder.recorder import Outcome, record
from logger.recorder.request_inbox import ask
from logger.session import write_journal as marks
from logger.session.descriptor import MARKS
from logger.session.reader import Event, read_all
from logger.transports.reader_thread import WHOLE_AFTER_S
from logger.transports.simulated import Device, serve_pty, serve_tcp
from support.channels import channel
from support.waiting import until

ROOT = Path(__file__).parents[2]

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
    """A folder with a rig and a sensors file, and what is recorded there."""

    def __init__(self, folder: Path, sensors: str = "") -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self.out = folder, folder / "session"
        self.rig, self.file = folder / "rig.toml", folder / "sensors.toml"
        self.rig.write_text('title = "slipway"\n')
        self.untaken: set[int] = set()  # numbers whose line did not go onto the wire whole
        self.sensors: Sensors
        if sensors:
            self.write(sensors)

    def write(self, sensors: str) -> Sensors:
        self.file.write_text(sensors)
        self.sensors = parse_sensors(sensors, str(self.file), self.folder)
        return self.sensors

    def lines(self, first: int, count: int, name: str = "force") -> bytes:
        """Lines of a device that counts."""
        which = [c for c in self.sensors.channels if c.name == name]
        return b"".join(encode(which, {name: float(k)}) for k in range(first, first + count))

    def events(self) -> list[Event]:
        try:
            return list(read_all(self.out).events)
        except SessionFault:
            return []

    def kinds(self) -> list[str]:
        return [event.kind for event in self.events()]

    def values(self, name: str = "force") -> list[float]:
        try:
            return read_all(self.out).readings[name].reading.tolist()
        except SessionFault:
            return []

    def start(self) -> subprocess.Popen[str]:
        """A recorder in a process of its own."""
        return subprocess.Popen(
            [sys.executable, "-c", RECORD, str(self.rig), str(self.file), str(self.out)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )  # fmt: skip


class Running:
    """A recorder in a thread of this process; told: what its status said, and when."""

    def __init__(self, yard: Yard, **options: Any) -> None:
        self.yard = yard
        self.outcome: Outcome | None = None
        self.error: BaseException | None = None
        self.told: list[tuple[float, Any]] = []
        options.setdefault("status", lambda s: self.told.append((time.monotonic(), s)))
        self.thread = threading.Thread(target=self._run, kwargs=options, daemon=True)
        self.thread.start()

    def _run(self, **options: Any) -> None:
        try:
            self.outcome = record(self.yard.rig, self.yard.file, self.yard.out, **options)
        except BaseException as error:
            self.error = error

    def end(self) -> Outcome:
        if self.thread.is_alive():
            ask(self.yard.out, "end")
        return self.wait()

    def wait(self, within_s: float = 8.0) -> Outcome:
        self.thread.join(within_s)
        assert isinstance(self.outcome, Outcome), self.error or "still recording"
        return self.outcome


@contextmanager
def recording(yard: Yard, **options: Any) -> Iterator[Running]:
    running = Running(yard, **options)
    until(lambda: "connect" in yard.kinds() or not running.thread.is_alive())
    yield running
    if running.thread.is_alive():
        running.end()


def silent_wire() -> None:
    """Let a wire be silent after a connection for so long that its next line counts as whole."""
    time.sleep(2 * WHOLE_AFTER_S)


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


def count_into(device: Device, yard: Yard, name: str = "force") -> Callable[[int], object]:
    def send(k: int) -> None:
        line = yard.lines(k, 1, name)
        if device.send(line) != len(line):
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


class NoSync(FileOps):
    """A disk that need not be waited for, where a test is about something else."""

    def fsync(self, fd: int) -> None:
        pass


@contextmanager
def disk(layer: FileOps) -> Iterator[FileOps]:
    """The layer between the session's writer and the disk, for a while."""
    before, files.ops = files.ops, layer
    try:
        yield layer
    finally:
        files.ops = before


class Killed(BaseException):
    """Ends a process, as it were, in the middle of whatever it does."""


def killed_in(call: Callable[[], object], folder: Path) -> bool:
    """Whether it was `Killed`; the files under `folder` that it had open are closed then, as the
    system does when a process ends."""
    try:
        call()
    except Killed:
        for entry in Path("/proc/self/fd").glob("*"):
            with contextlib.suppress(OSError):
                if entry.readlink().is_relative_to(folder):
                    os.close(int(entry.name))
        return True
    return False


class PowerCut(FileOps):
    """Knows what of a folder is on stable storage: names by fsync of the folder, bytes by fsync
    of the file; `cut` is what a machine finds after its power failed (fsync(2))."""

    def __init__(self) -> None:
        self.lock = threading.RLock()
        self._paths: dict[int, Path] = {}
        self._ids: dict[int, int] = {}
        self._names: dict[Path, dict[str, int]] = {}
        self._bytes: dict[int, bytes] = {}
        self._next = 0
        self.after: Callable[[str], None] = lambda what: None

    def open(self, path: Path, flags: int, mode: int = 0o644) -> int:
        with self.lock:
            fresh = bool(flags & os.O_CREAT) and not path.exists()
            fd = super().open(path, flags, mode)
            self._paths[fd] = path
            if fresh:
                self._next += 1
                self._ids[os.fstat(fd).st_ino] = self._next
            self.after(f"open {path.name}")
            return fd

    def write(self, fd: int, data: bytes | memoryview) -> int:
        with self.lock:
            done = super().write(fd, data)
            self.after("write")
            return done

    def fsync(self, fd: int) -> None:
        with self.lock:
            path = self._paths[fd]
            if path.is_dir():
                self._names[path] = {
                    entry.name: self._ids.get(entry.inode(), 0) for entry in os.scandir(path)
                }
            else:
                self._bytes[self._ids.get(os.fstat(fd).st_ino, 0)] = path.read_bytes()
            self.after(f"fsync {path.name}")

    def replace(self, source: Path, target: Path) -> None:
        with self.lock:
            super().replace(source, target)
            self.after(f"rename {target.name}")

    def hold(self, folder: Path) -> None:
        """All that lies in a folder is durable as it is, its own name too."""
        with self.lock:
            for here in (folder.parent, folder, *(p for p in folder.rglob("*") if p.is_dir())):
                for path in here.iterdir():
                    self._next += 1
                    self._ids[path.stat().st_ino] = self._next
                    if path.is_file():
                        self._bytes[self._next] = path.read_bytes()
                self._names[here] = {p.name: self._ids[p.stat().st_ino] for p in here.iterdir()}

    def cut(
        self, folder: Path, out: Path, how: str, draw: random.Random, restart: bool = True
    ) -> None:
        """What is left of `folder`, laid into `out`.  how: what the disk holds behind the last
        sync of each file: drop, scramble, zeros, pages (their order lost), part; mixed: of each
        file another.  restart: as the machine sees it when it is started again; else as if the
        disk alone had lost its power, under a machine that ran on."""
        with self.lock:
            if folder.name not in self._names.get(folder.parent, {}):
                return  # the folder's own name was never made durable
            for here, names in self._names.items():
                if here != folder and folder not in here.parents:
                    continue
                (out / here.relative_to(folder)).mkdir(parents=True, exist_ok=True)
                for name, known in names.items():
                    path = here / name
                    if path.is_dir() or not known:
                        continue
                    data = self._bytes.get(known, b"")
                    extra = b""
                    with contextlib.suppress(FileNotFoundError):
                        if self._ids.get(path.stat().st_ino) == known:
                            extra = path.read_bytes()[len(data) :]
                    (out / here.relative_to(folder) / name).write_bytes(
                        data + spoil(extra, how, draw)
                    )
            if restart:
                restarted(out)


def restarted(folder: Path) -> None:
    """Let a session be of an earlier run of the machine.  The machine of a test cannot be started
    anew, and its run is told by the first line of the session's marks alone: that is exchanged."""
    path = folder / MARKS
    if path.is_file():
        head, end, rest = path.read_bytes().partition(b"\n")
        if end and marks.parse(head + end, b"") is not None:
            path.write_bytes(marks.header(EARLIER) + rest)


def spoil(data: bytes, how: str, draw: random.Random) -> bytes:
    if how == "mixed":
        how = draw.choice(HOWS)
    if how == "drop" or not data:
        return b""
    if how == "part":
        return data[: draw.randrange(len(data) + 1)]
    if how == "zeros":
        return b"\0" * len(data)
    if how == "scramble":
        return draw.randbytes(len(data))
    pages = [data[i : i + 512] for i in range(0, len(data), 512)]
    draw.shuffle(pages)
    return b"".join(pages)


HOWS = ("drop", "scramble", "zeros", "pages", "part")
EARLIER = "00000000-0000-4000-8000-000000000000"

__all__ = [
    "HOWS", "ROOT", "Counter", "Killed", "NoSync", "PowerCut", "Running", "Yard", "all_taken", "count_into", "disk",
    "force", "further_rows", "in_order", "killed_in", "recording", "restarted", "serve_pty", "serve_tcp", "silent_wire", "spoil", "travel",
]  # fmt: skip
