"""The session's lock: the system lets it go by itself when its holder dies, however it dies."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from pathlib import Path

from logger import filesystem as files

LOCK_NAME = "recorder.lock"


class SessionLock:
    """Held by the one recorder of a folder; `release` also removes the file."""

    def __init__(self, fd: int, path: Path) -> None:
        self._fd, self._path = fd, path

    def in_place(self) -> bool:
        """Whether the lock's file is still the one that is held."""
        if self._fd < 0 or sys.platform == "win32":
            return self._fd >= 0
        try:
            seen, own = self._path.lstat(), os.fstat(self._fd)
        except OSError:
            return False
        return (seen.st_dev, seen.st_ino) == (own.st_dev, own.st_ino)

    def release(self, remove: bool = True) -> None:
        """Let go; remove: the session is sealed and needs no lock any more."""
        if self._fd < 0:
            return
        if remove and sys.platform != "win32" and self.in_place():
            with contextlib.suppress(OSError):
                self._path.unlink()
        os.close(self._fd)
        self._fd = -1
        if remove and sys.platform == "win32":
            with contextlib.suppress(OSError):
                self._path.unlink()


def acquire(folder: Path) -> SessionLock | None:
    """The lock of a session folder, or None where another process holds it; raises OSError."""
    path = folder / LOCK_NAME
    # O_NOFOLLOW: a link planted under this name must not make us write elsewhere
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0)
    # a viewer that asks whether the lock is held takes it for a moment itself
    for _ in range(20):
        fd = files.ops.open(path, flags)
        found = SessionLock(fd, path)
        # one that its holder removed meanwhile is none: nobody else would see it
        if _try(fd, shared=False) and found.in_place():
            return found
        os.close(fd)
        time.sleep(0.01)
    return None


def is_held(folder: Path) -> bool:
    """Whether a living process records into the folder."""
    flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    if sys.platform == "win32":
        flags = os.O_RDWR
    try:
        fd = os.open(folder / LOCK_NAME, flags)
    except OSError:
        return False
    try:
        return not _try(fd, shared=True)
    finally:
        os.close(fd)


def _try(fd: int, shared: bool) -> bool:
    if sys.platform == "win32":
        import msvcrt

        try:
            os.lseek(fd, 0, os.SEEK_SET)
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        if shared:
            os.lseek(fd, 0, os.SEEK_SET)
            msvcrt.locking(fd, msvcrt.LK_UNLCK, 1)
        return True
    import fcntl

    try:
        fcntl.flock(fd, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return False
    return True
