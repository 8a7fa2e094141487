"""One growing file of a session: appended to, synced, hashed on the way, and never in part."""

from __future__ import annotations

import contextlib
import hashlib
import os
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from logger import filesystem as files

NO_ANSWER_S = 5.0  # chosen by us: a disk that takes longer is treated as one that refuses


class Appender:
    """One file that is only appended to, unbuffered, and hashed on the way.

    After an OSError what was not written is kept, and the next `write` or `flush` goes on at the
    very byte: a row is never written twice nor in part.  What a failed fsync may have lost is
    written once more, in its place, before the next one counts.

    resume: bytes and running SHA-256 of what the file holds already; it is made durable at once.
    announce: told before a piece is written how many bytes there will then be, and their SHA-256
    in hex; where it raises OSError, the piece is kept for later.
    """

    def __init__(
        self, path: Path, resume: tuple[int, Any] | None = None,
        announce: Callable[[int, str], None] | None = None,
    ) -> None:
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_NOFOLLOW", 0)
        self._fd = files.ops.open(path, flags | (0 if resume else os.O_EXCL))
        self.path = path
        self.size = resume[0] if resume else 0
        self._hash: Any = resume[1] if resume else hashlib.sha256()
        self.pending = bytearray()
        self._unsynced = bytearray()
        self._doubtful = False
        # one thread writes and another may sync: what was written, and what of it is durable
        self._book = threading.Lock()
        self._syncing = threading.Lock()
        self._announce = announce
        if resume:
            # what a killed process wrote may be in the system's memory alone
            try:
                files.ops.fsync(self._fd)
            except OSError:
                os.close(self._fd)
                raise

    def write(self, data: bytes) -> None:
        """Append; raises OSError and keeps the rest for later."""
        self._hash.update(data)
        if self._announce is not None:
            try:
                will_be = self.size + len(self.pending) + len(data)
                self._announce(will_be, self._hash.hexdigest())
            except OSError:
                self.pending += data
                raise
        if self.pending:
            self.pending += data
            self.flush()
            return
        view = memoryview(data)
        try:
            while view:
                view = view[self._put(view) :]
        except OSError:
            self.pending += view
            raise

    def flush(self) -> None:
        """Write what an earlier failure left; raises OSError."""
        while self.pending:
            del self.pending[: self._put(bytes(self.pending))]

    def _put(self, view: bytes | memoryview) -> int:
        done = files.ops.write(self._fd, view)
        with self._book:
            self._unsynced += view[:done]
            self.size += done
        return done

    def sync(self) -> None:
        """Write what is left and make all durable; raises OSError."""
        self.flush()
        self.sync_written()

    def sync_written(self) -> None:
        """Make durable what was written up to now; raises OSError.  Also for another thread than
        the one that writes, which it does not hold up."""
        if not self._syncing.acquire(timeout=NO_ANSWER_S):
            raise TimeoutError(110, "the disk does not answer")
        try:
            self._sync_held()
        finally:
            self._syncing.release()

    def _sync_held(self) -> None:
        with self._book:
            count, size = len(self._unsynced), self.size
        if not count or self._fd < 0:
            return
        if self._doubtful:
            self._write_again(size - count, bytes(self._unsynced[:count]))
        try:
            files.ops.fsync(self._fd)
        except OSError:
            # Linux calls the pages clean that it could not write: a second fsync alone says
            # "good" and is wrong (fsync(2), PostgreSQL's finding of 2018)
            self._doubtful = True
            raise
        self._doubtful = False
        with self._book:
            del self._unsynced[:count]

    def _write_again(self, at: int, data: bytes) -> None:
        fd = files.ops.open(self.path, os.O_WRONLY)
        try:
            if os.fstat(fd).st_ino != os.fstat(self._fd).st_ino:
                raise FileNotFoundError(2, f"{self.path.name} was replaced")
            os.lseek(fd, at, os.SEEK_SET)
            files.write_all(fd, data)
        finally:
            os.close(fd)

    def in_place(self) -> bool:
        """Whether the path still leads to the file that is written."""
        if sys.platform == "win32":
            return True  # an open file can be neither removed nor moved there
        try:
            seen, own = self.path.stat(), os.fstat(self._fd)
        except OSError:
            return False
        return (seen.st_dev, seen.st_ino) == (own.st_dev, own.st_ino)

    def removed(self) -> bool:
        """Whether the file has no name any more, anywhere."""
        return os.fstat(self._fd).st_nlink == 0

    def put_back(self) -> None:
        """Write a removed file anew, from its first byte; raises OSError."""
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_EXCL
        fd = files.ops.open(self.path, flags)
        try:
            at = 0
            while piece := os.pread(self._fd, 1 << 20, at):
                files.write_all(fd, piece)
                at += len(piece)
            files.ops.fsync(fd)
        except OSError:
            os.close(fd)
            with contextlib.suppress(OSError):
                self.path.unlink()
            raise
        with self._syncing:
            os.close(self._fd)
            self._fd = fd
            self._unsynced.clear()
            self._doubtful = False

    def empty(self) -> None:
        """Take back all that was written; raises OSError."""
        files.ops.truncate(self._fd, 0)

    def unwritten(self) -> bytes:
        """Whole rows that the disk has not taken, the one that it has in part among them."""
        if not self.pending:
            return b""
        begun = b""
        with contextlib.suppress(OSError), self.path.open("rb") as file:
            file.seek(max(0, self.size - 4096))
            begun = file.read().rpartition(b"\n")[2]
        return begun + bytes(self.pending)

    def digest(self) -> tuple[str, int]:
        """SHA-256 (hex) and bytes of what was written; behind a `sync` alone."""
        return self._hash.hexdigest(), self.size

    def close(self) -> None:
        """Close the file; one whose disk has not answered a sync for a second is let go."""
        if self._syncing.acquire(timeout=1.0):
            if self._fd >= 0:
                os.close(self._fd)
            self._fd = -1
            self._syncing.release()
