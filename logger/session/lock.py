"""Locks a session folder for one writing process; the system releases the lock when it dies."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from pathlib import Path

from logger import filesystem as files

LOCK_NAME = "recorder.lock"


class SessionLock:
    """The lock that the one writing process of a session folder holds."""

    def __init__(self, fd: int, path: Path) -> None:
        self._fd, self._path = fd, path

    def in_place(self) -> bool:
        """Whether the lock is held and the file under its name is still the locked one."""
        if self._fd < 0 or sys.platform == "win32":
            return self._fd >= 0
        try:
            seen, own = self._path.lstat(), os.fstat(self._fd)
        except OSError:
            return False
        return (seen.st_dev, seen.st_ino) == (own.st_dev, own.st_ino)

    def release(self, remove: bool = True) -> None:
        """Release the lock; remove: delete its file too, because the session is sealed."""
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


def acquire(folder: Path, name: str = LOCK_NAME) -> SessionLock | None:
    """Lock a session folder; None if another process holds the lock.  Raises OSError.

    name: of the lock's file; another one locks a folder for something else than recording.
    """
    path = folder / name
    # O_NOFOLLOW: a link planted under this name must not lead the write elsewhere
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0)
    # `is_held` of a viewer takes the lock for a moment, so one failure proves nothing
    for _ in range(20):
        fd = files.ops.open(path, flags)
        session_lock = SessionLock(fd, path)
        # a lock on a file that was removed meanwhile does not count: other processes do not see it
        if _try(fd, shared=False) and session_lock.in_place():
            return session_lock
        os.close(fd)
        time.sleep(0.01)
    return None


def is_held(folder: Path) -> bool:
    """Whether a running process writes in the folder; raises nothing."""
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
    """Lock the file without waiting; False if another process holds it."""
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
