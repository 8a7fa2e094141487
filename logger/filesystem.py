"""The few ways in which files are changed: every call that a disk can refuse is in `FileOps`."""

from __future__ import annotations

import contextlib
import io
import os
import stat
import sys
import time
from pathlib import Path


class FileOps:
    """The system's calls that change a disk.  The writing side of a session uses no other, so a
    test can put a disk in between that refuses, fills up or loses what was not synced."""

    def open(self, path: Path, flags: int, mode: int = 0o644) -> int:
        return os.open(path, flags | getattr(os, "O_BINARY", 0), mode)

    def write(self, fd: int, data: bytes | memoryview) -> int:
        return os.write(fd, data)

    def fsync(self, fd: int) -> None:
        os.fsync(fd)

    def truncate(self, fd: int, size: int) -> None:
        os.ftruncate(fd, size)

    def replace(self, source: Path, target: Path) -> None:
        source.replace(target)

    def unlink(self, path: Path) -> None:
        path.unlink()

    def mkdir(self, path: Path) -> None:
        path.mkdir(exist_ok=True)


ops = FileOps()


def sync_folder(folder: Path) -> None:
    """Make new names in a folder durable; Windows has no such call and needs none."""
    if sys.platform == "win32":
        return
    fd = ops.open(folder, os.O_RDONLY)
    try:
        ops.fsync(fd)
    finally:
        os.close(fd)


def make_folder(folder: Path) -> None:
    """The folder and what it lies in, their names made durable; raises OSError and leaves none
    of them behind."""
    missing = []
    while not folder.exists():
        missing.append(folder)
        folder = folder.parent
    made: list[Path] = []
    try:
        for path in reversed(missing):
            ops.mkdir(path)
            made.append(path)
            # without it a power cut may take the whole folder, however well its files are synced
            with contextlib.suppress(PermissionError):
                sync_folder(path.parent)
    except OSError:
        for path in reversed(made):
            with contextlib.suppress(OSError):
                path.rmdir()
        raise


def write_all(fd: int, data: bytes) -> None:
    """Write every byte; raises OSError."""
    view = memoryview(data)
    while view:
        view = view[ops.write(fd, view) :]


def write_atomic(path: Path, data: bytes) -> None:
    """Write, fsync, rename: a reader sees the old file or the new one, never a part.

    Raises OSError and leaves no half file behind.
    """
    other = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        flags = os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_NOFOLLOW", 0)
        fd = ops.open(other, flags)
        try:
            write_all(fd, data)
            ops.fsync(fd)
        finally:
            os.close(fd)
        _replace(other, path)
    except OSError:
        with contextlib.suppress(OSError):
            other.unlink()
        raise
    sync_folder(path.parent)


def open_plain(path: Path) -> io.BufferedReader:
    """A plain file opened for reading; raises OSError, at once, for a pipe or a device: the
    reader of a foreign folder must not wait for what never comes."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    fd = os.open(path, flags)
    try:
        kind = os.fstat(fd).st_mode
        if stat.S_ISDIR(kind):
            raise OSError(0, "it is a folder")
        if not stat.S_ISREG(kind):
            raise OSError(0, "it is not a plain file")
        return os.fdopen(fd, "rb")
    except BaseException:
        os.close(fd)
        raise


def _replace(source: Path, target: Path) -> None:
    # on Windows a reader that has the target open makes the first tries fail
    for left in range(9, -1, -1):
        try:
            ops.replace(source, target)
            return
        except PermissionError:
            if sys.platform != "win32" or not left:
                raise
            time.sleep(0.02)
