"""The index of a folder of sessions: an SQLite file in the user's cache folder, which may be deleted.

It holds no record of its own: every row follows from a session, and is made again when the session's files
or the program change.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sqlite3
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from analysis.sessions.batch import answers
from analysis.sessions.session_row import COLUMNS, exists, session_row
from logger.errors import CallFault, SessionFault, one_line
from logger.filesystem import open_plain
from logger.session.descriptor import SUMS

DEEPEST = 8  # levels of folders that are searched; speed only: the search must end
AT_ONCE = 50  # rows in one transaction; speed only: an interruption loses no more
MOST_OF_SEAL = 65536  # bytes of SHA256SUMS in the mark of a session; speed only: some 600 files
AGAIN = ("growing",)  # states of sessions that are always read again

Progress = Callable[[int, int], None]  # called with (sessions done, sessions to do)


@dataclass(frozen=True)
class Update:
    """What an update of the index did."""

    sessions: int  # number of sessions in the folder
    reviewed: int  # number of sessions that were new or changed
    removed: int  # number of rows whose session is gone
    warning: str = ""  # why the index could not be stored; "" where it was


def cache_folder() -> Path:
    """The folder of this program's caches for this user."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
        return base / "haul" / "cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "haul"
    # XDG Base Directory Specification: XDG_CACHE_HOME, which must be absolute, or ~/.cache
    given = Path(os.environ.get("XDG_CACHE_HOME") or "")
    return (given if given.is_absolute() else Path.home() / ".cache") / "haul"


class Index:
    """The rows of one folder of sessions, as a context manager; a broken cache file is replaced.

    folder: that holds the sessions.
    file: the SQLite file.
    warning: why the index is not stored; "" where it is.
    """

    def __init__(self, folder: Path, cache: Path | None = None) -> None:
        """Open the index of `folder`, stored in `cache`; raises CallFault where it is no folder."""
        if not folder.is_dir():
            what = "is a file" if folder.exists() else "there is no such folder"
            raise CallFault(folder, what, "give a folder that holds sessions")
        self.folder = folder.resolve()
        name = hashlib.sha256(str(self.folder).encode("utf-8", "backslashreplace")).hexdigest()[:16]
        self.file = (cache or cache_folder()) / f"library-{name}.sqlite"
        self.warning = ""
        self._db = self._opened()

    def __enter__(self) -> Index:
        return self

    def __exit__(self, *what: object) -> None:
        self._db.close()

    def update(
        self, executor: Callable[[int], contextlib.AbstractContextManager[Executor | None]] | None = None,
        progress: Progress | None = None, rebuild: bool = False,
    ) -> Update:  # fmt: skip
        """Bring the rows up to date; only sessions that are new or changed are read.

        executor: returns, for a number of sessions, the executor that reviews them; None: this process.
        progress: called after each session.  rebuild: delete all rows first.
        """
        if rebuild:
            self._db.executescript("DELETE FROM session; DELETE FROM gear;")
        kept = {
            path: was for path, was, state in self._db.execute("SELECT path, mark, state FROM session")
            if state not in AGAIN
        }  # fmt: skip
        every = {row[0] for row in self._db.execute("SELECT path FROM session")}
        where = {_storable(name): self.folder / name for name in sessions_below(self.folder)}
        marks = {name: mark(path) for name, path in where.items()}
        gone = sorted(every - set(marks))
        for name in gone:
            self._forget(name)
        todo = sorted(name for name, now in marks.items() if kept.get(name) != now)
        self._db.commit()
        here = {str(where[name]): name for name in todo}
        with executor(len(todo)) if executor and todo else contextlib.nullcontext() as pool:
            for done, (path, answer) in enumerate(answers(session_row, list(here), pool), 1):
                self._keep(here[path], marks[here[path]], answer)
                if done % AT_ONCE == 0:
                    self._db.commit()
                if progress is not None:
                    progress(done, len(todo))
        self._db.commit()
        return Update(len(marks), len(todo), len(gone), self.warning)

    def rows(
        self, *, title: str = "", state: str = "", since: str = "", until: str = "", rig: str = ""
    ) -> list[dict[str, Any]]:
        """The rows that match all filters, as mappings, in order of time.

        title: text in the title, in upper or lower case; state: of the session; since, until: UTC dates or
        times, both included (a day up to its end); rig: key of a rig.
        """
        where: list[str] = ["1"]
        values: list[object] = []
        if title:
            where.append("instr(lower(title), lower(?)) > 0")
            values.append(title)
        for column, value in (("state", state), ("rig", rig)):
            if value:
                where.append(f"{column} = ?")
                values.append(value)
        if since:
            where.append("started_at >= ?")
            values.append(since)
        if until:
            where.append("substr(started_at, 1, ?) <= ?")
            values += [len(until), until]
        names = ", ".join(COLUMNS)
        # the column names are constants; all values are bound
        matches = self._db.execute(
            f"SELECT {names} FROM session WHERE {' AND '.join(where)} ORDER BY started_at, path",
            values,
        )
        return [dict(zip(COLUMNS, row, strict=True)) for row in matches]

    def gear(self) -> Iterator[tuple[str, str, Mapping[str, Any]]]:
        """Yield (session, its start in UTC, an item's use) of every session, in order of time."""
        query = (
            "SELECT g.path, s.started_at, g.use FROM gear g JOIN session s ON s.path = g.path "
            "ORDER BY s.started_at, g.path, g.rowid"
        )
        for path, started_at, text in self._db.execute(query):
            yield path, started_at, json.loads(text)

    def insert(self, rows: Sequence[Mapping[str, Any]]) -> None:
        """Insert rows without a session (the benchmark lists many rows)."""
        names = ", ".join(("mark", *COLUMNS))
        marks = ", ".join("?" for _ in range(len(COLUMNS) + 1))
        self._db.executemany(
            f"INSERT OR REPLACE INTO session ({names}) VALUES ({marks})",
            [("", *(row[c] for c in COLUMNS)) for row in rows],
        )
        self._db.commit()

    def _keep(self, name: str, now: str, answer: dict[str, Any] | None) -> None:
        """Store the row and gear of session `name` with its mark `now`; answer None: the review crashed."""
        if answer is None:
            answer = {"row": dict.fromkeys(COLUMNS), "gear": []}
            answer["row"] |= {"title": "", "rig": "", "started_at": "", "state": "", "method": "",
                              "fault": "every process that reviewed it died: run `haul review` on it alone"}  # fmt: skip
        row = {**answer["row"], "path": name}
        self._forget(name)
        names = ", ".join(("mark", *COLUMNS))
        marks = ", ".join("?" for _ in range(len(COLUMNS) + 1))
        self._db.execute(
            f"INSERT INTO session ({names}) VALUES ({marks})", (now, *(row[c] for c in COLUMNS))
        )
        self._db.executemany(
            "INSERT INTO gear (path, use) VALUES (?, ?)",
            [(name, json.dumps(use, allow_nan=False)) for use in answer["gear"]],
        )

    def _forget(self, name: str) -> None:
        self._db.execute("DELETE FROM session WHERE path = ?", (name,))
        self._db.execute("DELETE FROM gear WHERE path = ?", (name,))

    def _opened(self) -> sqlite3.Connection:
        """Open the SQLite file, replacing a broken one; in memory, with a warning, where it cannot be used."""
        try:
            self.file.parent.mkdir(parents=True, exist_ok=True)
            try:
                return self._checked(self.file)
            except sqlite3.DatabaseError as error:
                if isinstance(error, sqlite3.OperationalError) and "locked" in str(error):
                    raise
                self.file.unlink(missing_ok=True)
                return self._checked(self.file)
        except (OSError, sqlite3.Error) as error:
            why = one_line(str(error), 100)
            self.warning = (
                f"the index is not stored: the cache file {self.file} cannot be used ({why})"
            )
            return self._checked(None)

    def _checked(self, file: Path | None) -> sqlite3.Connection:
        """Connect to a file (None: in memory); drop tables made by another version of the program."""
        db = sqlite3.connect(":memory:" if file is None else file, timeout=10.0)
        try:
            db.execute("PRAGMA synchronous = OFF")  # a cache: lost rows are made again
            db.execute("CREATE TABLE IF NOT EXISTS made (program TEXT)")
            made = db.execute("SELECT program FROM made").fetchall()
            if made != [(program_mark(),)]:
                db.executescript(
                    "DROP TABLE IF EXISTS session; DROP TABLE IF EXISTS gear; DELETE FROM made;"
                )
                db.execute("INSERT INTO made VALUES (?)", (program_mark(),))
            db.execute(
                f"CREATE TABLE IF NOT EXISTS session (mark TEXT, {', '.join(COLUMNS)}, PRIMARY KEY (path))"
            )
            db.execute("CREATE TABLE IF NOT EXISTS gear (path TEXT, use TEXT)")
            db.execute("CREATE INDEX IF NOT EXISTS gear_path ON gear (path)")
            db.commit()
        except BaseException:
            db.close()
            raise
        return db


def _storable(name: str) -> str:
    """A path as text that SQLite accepts, whatever bytes it holds."""
    return name.encode("utf-8", "backslashreplace").decode("utf-8")


@cache
def program_mark() -> str:
    """A digest of the sources of analysis and logger, because the rows depend on them too.

    Read once a run: a program that is replaced meanwhile goes on as it began.
    """
    import logger

    digest = hashlib.sha256()
    for folder in (Path(__file__).parents[1], Path(logger.__file__).parent):
        for source in sorted(folder.rglob("*.py")):
            digest.update(source.read_bytes())
    return digest.hexdigest()


def sessions_below(folder: Path) -> list[str]:
    """Relative paths of the sessions in a folder and below, "." for itself; links are not followed.

    A folder below that this user may not enter or read counts as a session, because it may hold one; its
    review says why it cannot be read.  Raises SessionFault where the folder itself cannot be read.
    """
    paths: list[str] = []
    stack = [(folder, 0)]
    while stack:
        here, deep = stack.pop()
        try:
            if exists(here):
                paths.append(here.relative_to(folder).as_posix())
                continue
            if deep >= DEEPEST:
                continue
            with os.scandir(here) as entries:
                stack += [
                    (Path(e.path), deep + 1) for e in entries
                    if not e.name.startswith(".") and e.is_dir(follow_symlinks=False)
                ]  # fmt: skip
        except OSError as error:
            if here == folder:
                raise SessionFault(
                    folder, f"cannot be read ({error.strerror})", "make it readable"
                ) from None
            paths.append(here.relative_to(folder).as_posix())
    return sorted(paths)


def mark(session: Path) -> str:
    """A digest of the names, sizes and times of a session's files and of its seal.

    It changes whenever a file does, and differs between two sessions.
    """
    digest = hashlib.sha256()
    try:
        with os.scandir(session) as entries:
            for entry in sorted(entries, key=lambda e: e.name):
                stat = entry.stat(follow_symlinks=False)
                digest.update(
                    f"{entry.name}\0{stat.st_size}\0{stat.st_mtime_ns}\n".encode(
                        "utf-8", "backslashreplace"
                    )
                )
        try:
            with open_plain(session / SUMS) as sums:
                digest.update(sums.read(MOST_OF_SEAL))
        except OSError as error:  # it is missing, or no file: the review says which
            digest.update(str(error.strerror).encode())
    except OSError as error:
        return f"unreadable: {error.strerror}"
    return digest.hexdigest()
