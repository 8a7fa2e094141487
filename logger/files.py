"""The few ways in which files are written: whole by rename, the folder's entry made durable."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from pathlib import Path


def sync_folder(folder: Path) -> None:
    """Make new names in a folder durable; Windows has no such call and needs none."""
    if sys.platform == "win32":
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def write_all(fd: int, data: bytes) -> None:
    """Write every byte; raises OSError."""
    view = memoryview(data)
    while view:
        view = view[os.write(fd, view) :]


def write_atomic(path: Path, data: bytes) -> None:
    """Write, fsync, rename: a reader sees the old file or the new one, never a part.

    Raises OSError and leaves no half file behind.
    """
    other = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    flags = os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0)
    try:
        fd = os.open(other, flags, 0o644)
        try:
            write_all(fd, data)
            os.fsync(fd)
        finally:
            os.close(fd)
        _replace(other, path)
    except OSError:
        with contextlib.suppress(OSError):
            other.unlink()
        raise
    sync_folder(path.parent)


def _replace(source: Path, target: Path) -> None:
    # on Windows a reader that has the target open makes the first tries fail
    for left in range(9, -1, -1):
        try:
            source.replace(target)
            return
        except PermissionError:
            if sys.platform != "win32" or not left:
                raise
            time.sleep(0.02)
