"""Writes, replaces and syncs files; every system call that a disk can refuse is in `FileOps`."""

from __future__ import annotations

import contextlib
import io
import os
import stat
import sys
import time
from pathlib import Path


class FileOps:
    """The system calls that change a disk.

    The writing side of a session uses no others, so that a test can replace them by a disk that
    refuses, fills up or loses what was not synced.  Each method raises OSError.
    """

    def open(self, path: Path, flags: int, mode: int = 0o644) -> int:
        """Open a file, in binary mode on Windows; returns its descriptor."""
        return os.open(path, flags | getattr(os, "O_BINARY", 0), mode)

    def write(self, fd: int, data: bytes | memoryview) -> int:
        """Write some or all of `data`; returns how many bytes."""
        return os.write(fd, data)

    def fsync(self, fd: int) -> None:
        """Make what was written to the file durable."""
        os.fsync(fd)

    def truncate(self, fd: int, size: int) -> None:
        """Cut the file to `size` bytes."""
        os.ftruncate(fd, size)

    def replace(self, source: Path, target: Path) -> None:
        """Rename `source` to `target`, in place of any file of that name."""
        source.replace(target)

    def unlink(self, path: Path) -> None:
        """Remove a file."""
        path.unlink()

    def mkdir(self, path: Path) -> None:
        """Make a folder, unless it is there."""
        path.mkdir(exist_ok=True)


ops = FileOps()


def sync_folder(folder: Path) -> None:
    """Make new and removed names in a folder durable; Windows has no such call and needs none."""
    if sys.platform == "win32":
        return
    fd = ops.open(folder, os.O_RDONLY)
    try:
        ops.fsync(fd)
    finally:
        os.close(fd)


def make_folder(folder: Path) -> None:
    """Make a folder and its missing parents, and make their names durable.

    Raises OSError, after removing those that it made.
    """
    missing = []
    while not folder.exists():
        missing.append(folder)
        folder = folder.parent
    made: list[Path] = []
    try:
        for path in reversed(missing):
            ops.mkdir(path)
            made.append(path)
            # without this a power cut may take the whole folder, even if its files are synced
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
    """Write a file in one step (write, fsync, rename): a reader sees the old file or the new one.

    Raises OSError, after removing the temporary file.
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
    """Open a plain file for reading; raises OSError.

    A pipe or a device raises at once, because the reader of a foreign folder must not wait for
    bytes that never come.
    """
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    fd = os.open(path, flags)
    try:
        kind = os.fstat(fd).st_mode
        if stat.S_ISDIR(kind):
            raise OSError(0, "it is a folder", str(path))
        if not stat.S_ISREG(kind):
            raise OSError(0, "it is not a plain file", str(path))
        return os.fdopen(fd, "rb")
    except BaseException:
        os.close(fd)
        raise


def read_plain(path: Path, most: int) -> bytes:
    """All bytes of a plain file; raises OSError, also for a file of more than `most` bytes."""
    with open_plain(path) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise OSError(0, f"it is larger than {most / 1e6:.0f} MB", str(path))
    return data


def _replace(source: Path, target: Path) -> None:
    # on Windows a rename fails while a reader has the target open
    for left in range(9, -1, -1):
        try:
            ops.replace(source, target)
            return
        except PermissionError:
            if sys.platform != "win32" or not left:
                raise
            time.sleep(0.02)
