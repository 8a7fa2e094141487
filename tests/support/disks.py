"""Disks that refuse, lose what was not synced, or end the process: layers between a session's writer and the disk."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import random
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from logger import filesystem as files
from logger.filesystem import FileOps
from logger.session import write_journal as marks
from logger.session.descriptor import MARKS

HOWS = ("drop", "scramble", "zeros", "pages", "part")
EARLIER = "00000000-0000-4000-8000-000000000000"


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


class KillAt(NoSync):
    """Ends the process, as it were, at the n-th call that changes the disk."""

    def __init__(self, n: int) -> None:
        self.left = n

    def _call(self) -> None:
        self.left -= 1
        if self.left < 0:
            raise Killed

    def open(self, path: Path, flags: int, mode: int = 0o644) -> int:
        self._call()
        return super().open(path, flags, mode)

    def write(self, fd: int, data: bytes | memoryview) -> int:
        self._call()
        return super().write(fd, data)

    def fsync(self, fd: int) -> None:
        self._call()

    def truncate(self, fd: int, size: int) -> None:
        self._call()
        super().truncate(fd, size)

    def replace(self, source: Path, target: Path) -> None:
        self._call()
        super().replace(source, target)

    def unlink(self, path: Path) -> None:
        self._call()
        super().unlink(path)


class RefusesMarks(FileOps):
    """A disk that refuses one kind of call (open, write, fsync) on the marks while `on`, and takes all else.

    folder: a session whose marks were opened before.
    times: after so many refusals the disk takes the marks again; None where it never does.
    """

    def __init__(
        self,
        kind: str,
        *,
        on: bool = True,
        folder: Path | None = None,
        times: int | None = None,
    ) -> None:
        self.kind, self.on, self._times = kind, on, times
        self.refused = 0
        self._folder = folder
        self._paths: dict[int, Path] = {}

    def _check(self, kind: str, marks_meant: bool) -> None:
        if self.on and kind == self.kind and marks_meant:
            self.refused += 1
            self.on = self.refused != self._times
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    def _is_marks(self, fd: int) -> bool:
        if fd in self._paths:
            return self._paths[fd].name == MARKS
        opened_before = self._folder and self._folder / MARKS
        return bool(
            opened_before
            and opened_before.exists()
            and os.path.samestat(opened_before.stat(), os.fstat(fd))
        )

    def open(self, path: Path, flags: int, mode: int = 0o644) -> int:
        self._check("open", path.name == MARKS)
        fd = super().open(path, flags, mode)
        self._paths[fd] = path
        return fd

    def write(self, fd: int, data: bytes | memoryview) -> int:
        self._check("write", self._is_marks(fd))
        return super().write(fd, data)

    def fsync(self, fd: int) -> None:
        self._check("fsync", self._is_marks(fd))
        super().fsync(fd)


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
                for name, number in names.items():
                    path = here / name
                    if path.is_dir() or not number:
                        continue
                    data = self._bytes.get(number, b"")
                    extra = b""
                    with contextlib.suppress(FileNotFoundError):
                        if self._ids.get(path.stat().st_ino) == number:
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


def everything(folder: Path) -> dict[str, tuple[object, ...]]:
    """Name, bytes, times and rights of all that lies in a folder, itself included."""
    entries: dict[str, tuple[object, ...]] = {}
    for path in sorted([folder, *folder.rglob("*")]):
        info = path.lstat()
        digest = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
        entries[str(path.relative_to(folder))] = (
            digest,
            info.st_size,
            info.st_mtime_ns,
            info.st_ctime_ns,
            info.st_mode,
            info.st_ino,
        )
    return entries
