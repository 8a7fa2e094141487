"""Writes the journal marks of a growing session.

A piece of a table is written after its mark, so that no table is ever longer than its marks.  If
the disk refuses the marks but takes the tables, the marks are given up, because readings come
first.
"""

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
    """Writes the journal file `.written` of one session.

    unmarked: why the marks were given up; "" while they are written
    """

    def __init__(self, folder: Path) -> None:
        self.unmarked = ""
        self._path = folder / MARKS
        self._file: Appender | None = None
        self._tries = 0
        self._missing = self._gone = self._sealing = False
        self._last: dict[str, bytes] = {}  # each table's last mark
        self._since = 0  # bytes written since the marks of all tables were repeated

    def begin(self) -> None:
        """Begin the journal of a new session; raises OSError."""
        self._file = Appender(self._path)
        self._file.write(marks.header(marks.boot_id()))

    def replace(self, tables: Mapping[str, tuple[str, int]]) -> bool:
        """Replace the journal by one mark for each table, which must be durable; for a repair.

        tables: by name, SHA-256 (hex) and size in bytes.  Returns whether the file was written; if
        not, the session continues without marks.
        """
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
        """Make the journal durable, and keep it until `remove`.

        As long as SHA256SUMS is not written, the journal distinguishes an interrupted sealing from
        a removed seal.  No row is added any more, so a journal that was given up or is incomplete
        is replaced by one made from the tables.

        tables: by name, SHA-256 (hex) and size in bytes; they must be durable.
        """
        if self._sealing and os.path.lexists(self._path):
            return
        self._sealing = False
        file = self._writing()
        if file is not None and file.in_place():
            with contextlib.suppress(OSError):
                file.flush()
                file.sync_written()
                self._sealing = True
        self._sealing = self._sealing or self.replace(tables)

    def _writing(self) -> Appender | None:
        return None if self.unmarked else self._file

    def mark(self, name: str, size: int, digest: str) -> None:
        """Write the mark of a table, before the table grows to `size` bytes with SHA-256 `digest`
        (hex).  Raises OSError and keeps the mark for later."""
        file = self._writing()
        if file is None:
            return
        data = self._last[name] = marks.line(name, size, digest)
        self._since += len(data)
        if self._since > marks.AGAIN:
            # repair reads the end of the journal alone, which must have a mark of every table
            data, self._since = b"".join(self._last.values()), 0
        file.write(data)

    def flush(self) -> None:
        """Write what earlier failures left; raises OSError."""
        if (file := self._writing()) is not None:
            file.flush()

    def sync(self) -> None:
        """Make the marks durable that were written up to now; raises OSError.

        To be called before the tables are synced, so that every durable row has a durable mark.
        Another thread than the writing one may call it.
        """
        if (file := self._writing()) is not None:
            file.sync_written()
        elif self._gone:  # a power cut must not bring the removed file back
            with contextlib.suppress(OSError):
                sync_folder(self._path.parent)
                self._gone = False

    def retry(self) -> None:
        """Retry after a failure; raises OSError while the disk refuses.

        If it refuses the marks MOST_TRIES times but takes another file, give the marks up.
        """
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
            write_all(fd, bytes(4096))  # a block, because the marks may need a new one
            files.ops.fsync(fd)
        finally:
            os.close(fd)
            with contextlib.suppress(OSError):
                files.ops.unlink(other)

    def check_in_place(self) -> None:
        """Restore the journal if its file was removed; to be called if the tables are in place."""
        if self._file is None or self._sealing:
            return
        if self.unmarked:
            self._take_away()
        elif self._file.in_place():
            self._missing = False
        elif self._missing:
            self.put_back()
        else:
            self._missing = (
                True  # the whole folder may just be being removed: wait for the next call
            )

    def put_back(self) -> None:
        """Write a removed journal again; give it up if the disk refuses."""
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
        # with an incomplete journal a repair would move all rows behind its last mark; without a
        # journal it judges rows by their shape
        if self._file is not None and not self._sealing and self._file.in_place():
            try:
                files.ops.unlink(self._path)
                self._gone = True
            except OSError:
                with contextlib.suppress(OSError):
                    self._file.empty()

    def close(self) -> None:
        """Close the file and leave it in the folder."""
        if self._file is not None:
            self._file.close()

    def remove(self) -> None:
        """Delete the file, because the session is sealed."""
        with contextlib.suppress(OSError):
            files.ops.unlink(self._path)
