"""Writes the marks of a session that grows.  A piece is not written before its mark, so no table is
ever longer than its marks; but readings go first, and marks that the disk alone refuses are given up."""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Mapping
from pathlib import Path

from logger import filesystem as files
from logger.errors import one_line
from logger.filesystem import sync_folder, write_all, write_atomic
from logger.session import write_journal as marks
from logger.session.append_file import Appender
from logger.session.descriptor import MARKS

MOST_TRIES = 2  # chosen by us: readings go first, see DEVELOPERS.md, The marks


class MarkWriter:
    """The marks' file.  unmarked: "" or why there are no marks any more."""

    def __init__(self, folder: Path) -> None:
        self.unmarked = ""
        self._path = folder / MARKS
        self._file: Appender | None = None
        self._tries = 0
        self._missing = self._gone = self._sealing = False
        self._last: dict[str, bytes] = {}  # each table's last mark
        self._since = 0  # bytes since all of them were written

    def begin(self) -> None:
        """For a new session; raises OSError."""
        self._file = Appender(self._path)
        self._file.write(marks.header(marks.boot_id()))

    def begin_again(self, tables: Mapping[str, tuple[str, int]]) -> bool:
        """For the repair of a session: what its tables (name to SHA-256 and bytes) hold by now is
        durable, and good as it stands, whatever older marks say.  Goes on without where a folder
        stands in the way; whether the file stands."""
        data = marks.header(marks.boot_id()) + b"".join(
            marks.line(name, size, digest) for name, (digest, size) in tables.items() if size
        )
        self.close()
        self._file = None
        try:
            write_atomic(self._path, data)
        except OSError:
            return False
        with contextlib.suppress(OSError):
            self._file = Appender(self._path, (len(data), hashlib.sha256(data)))
        return True

    def begin_sealing(self, tables: Mapping[str, tuple[str, int]]) -> None:
        """From now on the file stands until `remove`: while SHA256SUMS is not written, it tells a
        sealing that was interrupted from a seal that was taken away.  No row is added any more, so
        marks that were given up, or end early, are made anew from the tables, which are durable."""
        if self._sealing and os.path.lexists(self._path):
            return
        self._sealing = False
        file = self._writing()
        if file is not None and file.in_place():
            with contextlib.suppress(OSError):
                file.flush()
                file.sync_written()
                self._sealing = True
        self._sealing = self._sealing or self.begin_again(tables)

    def _writing(self) -> Appender | None:
        return None if self.unmarked else self._file

    def mark(self, name: str, size: int, digest: str) -> None:
        """The table will have that many bytes, of that SHA-256 (hex); before they are written.
        Raises OSError and keeps the mark for later."""
        file = self._writing()
        if file is None:
            return
        data = self._last[name] = marks.line(name, size, digest)
        self._since += len(data)
        if self._since > marks.AGAIN:
            # a reader looks at the end alone, and must find there the table that grew long ago
            data, self._since = b"".join(self._last.values()), 0
        file.write(data)

    def flush(self) -> None:
        """Write what an earlier failure left; raises OSError."""
        if (file := self._writing()) is not None:
            file.flush()

    def sync(self) -> None:
        """Make durable what was written up to now; raises OSError.  Also for another thread than
        the one that writes.  Before the tables: what is durable of them is then proved at once."""
        if (file := self._writing()) is not None:
            file.sync_written()
        elif self._gone:  # a power cut must not bring them back
            with contextlib.suppress(OSError):
                sync_folder(self._path.parent)
                self._gone = False

    def mend(self) -> None:
        """After a failure: write what it left; or give the marks up, where the disk refuses them and
        takes another file.  Raises OSError where it refuses that too."""
        try:
            self.flush()
            self.sync()
        except OSError as error:
            self._try_another_file()
            self._tries += 1
            if self._tries < MOST_TRIES:
                raise
            self._give_up(error)
        else:
            self._tries = 0

    def _try_another_file(self) -> None:
        other = self._path.with_name(f"{MARKS}.{os.getpid()}.tmp")
        fd = files.ops.open(other, os.O_WRONLY | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0))
        try:
            write_all(fd, bytes(4096))  # a block, as the marks may need one
            files.ops.fsync(fd)
        finally:
            os.close(fd)
            with contextlib.suppress(OSError):
                files.ops.unlink(other)

    def look(self) -> None:
        """Mend the file where it is not in its place, the tables being in theirs."""
        if self._file is None or self._sealing:
            return
        if self.unmarked:
            self._take_away()
        elif self._file.in_place():
            self._missing = False
        elif self._missing:
            self.put_back()
        else:
            self._missing = True  # perhaps the whole folder is just being removed

    def put_back(self) -> None:
        """Write a file that was removed anew, or give it up."""
        file = self._writing()
        if file is None or file.in_place():
            return
        try:
            file.put_back()
            self._missing = False
        except OSError as error:
            self._give_up(error)

    def _give_up(self, error: OSError) -> None:
        self.unmarked = one_line(error.strerror or str(error), 100)
        self._take_away()

    def _take_away(self) -> None:
        # marks that end early would have a repair move all rows behind them away; without any,
        # rows are judged by their shape
        if self._file is not None and not self._sealing and self._file.in_place():
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
