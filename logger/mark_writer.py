"""Writes the marks of a session that grows.  Readings go first: once a recording has begun, nothing
here raises, and marks that the disk alone refuses are given up."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Mapping
from pathlib import Path

from logger import files, marks
from logger.appender import Appender
from logger.errors import one_line
from logger.files import sync_folder, write_atomic
from logger.package import MARKS

MOST_TRIES = 3  # syncs: some seconds


class MarkWriter:
    """The marks' file.  unmarked: "" or why there are no marks any more."""

    def __init__(self, folder: Path) -> None:
        self.unmarked = ""
        self._path = folder / MARKS
        self._file: Appender | None = None
        self._fault = ""  # what the disk said last, "" where all that it was given is on it
        self._tries = 0
        self._missing = self._gone = False
        self._last: dict[str, bytes] = {}  # each table's last mark
        self._since = 0  # bytes since all of them were written

    def begin(self) -> None:
        """For a new session; raises OSError."""
        self._file = Appender(self._path)
        self._file.write(marks.header(marks.boot_id()))

    def begin_again(self, tables: Mapping[str, tuple[str, int]]) -> None:
        """For the repair of a session: what its tables (name to SHA-256 and bytes) hold by now is
        durable, and good as it stands, whatever older marks say."""
        data = marks.header(marks.boot_id()) + b"".join(
            marks.line(name, size, digest) for name, (digest, size) in tables.items() if size
        )
        try:
            write_atomic(self._path, data)
            self._file = Appender(self._path, (len(data), hashlib.sha256(data)))
        except OSError as error:
            self._refused(error)

    def check(self) -> None:
        """Raises OSError where the disk has not taken all, before there is anything to lose."""
        if self._fault:
            raise OSError(0, self._fault)

    def mark(self, name: str, size: int, digest: str) -> None:
        """The table will have that many bytes, of that SHA-256 (hex); before they are written."""
        if self._file is None or self.unmarked:
            return
        data = self._last[name] = marks.line(name, size, digest)
        self._since += len(data)
        if self._since > marks.AGAIN:
            # a reader looks at the end alone, and must find there the table that grew long ago
            data, self._since = b"".join(self._last.values()), 0
        try:
            self._file.write(data)
        except OSError as error:
            self._refused(error)

    def flush(self) -> None:
        """Write what an earlier failure left."""
        if self._file is None or self.unmarked:
            return
        try:
            self._file.flush()
        except OSError as error:
            self._refused(error)

    def sync(self) -> None:
        """Make durable what was written up to now; also for another thread than the one that
        writes.  Before the tables: what is durable of them then can be proved at once."""
        if self._file is None:
            return
        if self.unmarked:
            if self._gone:  # a power cut must not bring them back
                with contextlib.suppress(OSError):
                    sync_folder(self._path.parent)
                    self._gone = False
            return
        try:
            self._file.sync_written()
        except OSError as error:
            self._refused(error)
        else:
            if not self._file.pending:
                self._fault = ""

    def synced(self) -> None:
        """The tables are durable: a disk that took them and not the marks has one more try less."""
        waits = self._fault or (self._file is not None and self._file.pending)
        self._tries = self._tries + 1 if waits else 0

    def look(self) -> None:
        """Mend the file where it is not in its place, the tables being in theirs; or give it up."""
        if self._file is None:
            return
        if self.unmarked or self._tries >= MOST_TRIES:
            self._give_up()
        elif self._file.in_place():
            self._missing = False
        elif self._missing:
            self.put_back()
        else:
            self._missing = True  # perhaps the whole folder is just being removed

    def put_back(self) -> None:
        """Write a file that was removed anew."""
        if self._file is None or self.unmarked or self._file.in_place():
            return
        try:
            self._file.put_back()
            self._missing = False
        except OSError as error:
            self._refused(error)
            self._give_up()

    def _refused(self, error: OSError) -> None:
        self._fault = one_line(error.strerror or str(error), 100)

    def _give_up(self) -> None:
        # marks that end early would have a repair move all rows behind them away; without any,
        # rows are judged by their shape
        self.unmarked = self.unmarked or self._fault or "no answer"
        if self._file is not None and self._file.in_place():
            try:
                files.ops.unlink(self._path)
                self._gone = True
            except OSError:
                with contextlib.suppress(OSError):
                    self._file.empty()

    def close(self) -> None:
        """Close the file, and leave it."""
        if self._file is not None:
            self._file.close()

    def remove(self) -> None:
        """The session is sealed: what stands under the file's name goes."""
        with contextlib.suppress(OSError):
            files.ops.unlink(self._path)
