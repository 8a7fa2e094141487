"""Appends to one growing file of a session; syncs and hashes it, and resumes after a disk fault."""

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
    """One file that is only appended to, unbuffered, with a running SHA-256.

    After an OSError the unwritten bytes are kept, and the next `write` or `flush` continues with
    the first of them, so that no row is written twice or in part.  Bytes that a failed fsync may
    have lost are written again at their place before the next fsync.

    resume: size in bytes and running SHA-256 of an existing file, which is made durable at once;
        None: a new file
    announce: called before each write with the file's coming size in bytes and its SHA-256 in hex;
        if it raises OSError, the bytes are kept for later
    path: the file
    size: bytes written so far
    pending: bytes that a failure left to be written
    """

    def __init__(
        self,
        path: Path,
        resume: tuple[int, Any] | None = None,
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
        # one thread writes and another may sync; _book guards size and _unsynced
        self._book = threading.Lock()
        self._syncing = threading.Lock()
        self._announce = announce
        if resume:
            # what a killed process wrote may only be in the system's memory
            try:
                files.ops.fsync(self._fd)
            except OSError:
                os.close(self._fd)
                raise

    def write(self, data: bytes) -> None:
        """Append `data`; raises OSError and keeps the unwritten rest for later."""
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
        """Write what earlier failures left; raises OSError."""
        while self.pending:
            del self.pending[: self._put(bytes(self.pending))]

    def _put(self, view: bytes | memoryview) -> int:
        done = files.ops.write(self._fd, view)
        with self._book:
            self._unsynced += view[:done]
            self.size += done
        return done

    def sync(self) -> None:
        """Write what earlier failures left and make everything durable; raises OSError."""
        self.flush()
        self.sync_written()

    def sync_written(self) -> None:
        """Make durable what was written up to now; raises OSError.

        Another thread than the writing one may call it; it does not delay the writes.
        """
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
            # Linux marks pages as clean that it could not write, so a second fsync alone would
            # succeed wrongly (fsync(2); reported by PostgreSQL in 2018)
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
        """Whether the path still leads to the open file."""
        if sys.platform == "win32":
            return True  # an open file can be neither removed nor moved there
        try:
            seen, own = self.path.stat(), os.fstat(self._fd)
        except OSError:
            return False
        return (seen.st_dev, seen.st_ino) == (own.st_dev, own.st_ino)

    def foreign_bytes(self) -> int:
        """By how many bytes another program made the file longer (+) or shorter (-).

        Only the writing thread may call it; raises OSError.
        """
        return os.fstat(self._fd).st_size - self.size

    def removed(self) -> bool:
        """Whether the open file has no name left in any folder."""
        return os.fstat(self._fd).st_nlink == 0

    def put_back(self) -> None:
        """Write a removed file again under its path, from its first byte; raises OSError."""
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
        """Cut the file to 0 bytes; raises OSError."""
        files.ops.truncate(self._fd, 0)

    def unwritten(self) -> bytes:
        """The complete rows that the disk has not taken, including one that it took in part."""
        if not self.pending:
            return b""
        begun = b""
        with contextlib.suppress(OSError), self.path.open("rb") as file:
            file.seek(max(0, self.size - 4096))
            begun = file.read().rpartition(b"\n")[2]
        return begun + bytes(self.pending)

    def digest(self) -> tuple[str, int]:
        """SHA-256 (hex) and size in bytes of the file; valid right after `sync` only."""
        return self._hash.hexdigest(), self.size

    def close(self) -> None:
        """Close the file; leave it open if a sync on another thread does not end within 1 s."""
        if self._syncing.acquire(timeout=1.0):
            if self._fd >= 0:
                os.close(self._fd)
            self._fd = -1
            self._syncing.release()
