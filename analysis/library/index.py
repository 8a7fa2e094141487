"""The index of a folder of sessions: SQLite in the user's cache folder, thrown away at will.

Nothing in it is a record: every row follows from a session and is made anew where the session's
files, or the program, have changed.
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
from pathlib import Path
from typing import Any

from analysis.library.batch import answers
from analysis.library.session_row import COLUMNS, exists, session_row
from logger.errors import CallFault, SessionFault, one_line

DEEPEST = 8  # folders below the library's; speed only: no search runs for ever
AT_ONCE = 50  # rows in one transaction; speed only: an interruption loses no more
AGAIN = ("growing",)  # states that change although no file does

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Update:
    """What an update did.  sessions: found; reviewed: new or changed ones; removed: rows of
    sessions that are gone; warning: why nothing is kept, or ""."""

    sessions: int
    reviewed: int
    removed: int
    warning: str = ""


def cache_folder() -> Path:
    """Where this user's caches of this program lie."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
        return base / "haul" / "cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "haul"
    # XDG Base Directory Specification: XDG_CACHE_HOME, which must be absolute, or ~/.cache
    given = Path(os.environ.get("XDG_CACHE_HOME") or "")
    return (given if given.is_absolute() else Path.home() / ".cache") / "haul"


class Index:
    """The rows of one folder.  A context manager; a broken cache file is replaced by a new one."""

    def __init__(self, folder: Path, cache: Path | None = None) -> None:
        """Raises CallFault where `folder` is no folder."""
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
        """Make the rows follow the folder: only sessions that are new or changed are read.

        executor: gives, for a number of sessions, where they are reviewed; None: in this process.
        progress(done, of) is called after each.  rebuild: forget everything first.
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
        """Rows as mappings, in order of time.  title: a part of it, in any case; since, until: UTC
        dates or times, both included (a day to its end); rig: a rig's key."""
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
        # the column names are this module's own; everything else is bound
        found = self._db.execute(
            f"SELECT {names} FROM session WHERE {' AND '.join(where)} ORDER BY started_at, path",
            values,
        )
        return [dict(zip(COLUMNS, row, strict=True)) for row in found]

    def gear(self) -> Iterator[tuple[str, str, Mapping[str, Any]]]:
        """(session, its start, an item's use) of every session, in order of time."""
        query = (
            "SELECT g.path, s.started_at, g.use FROM gear g JOIN session s ON s.path = g.path "
            "ORDER BY s.started_at, g.path, g.rowid"
        )
        for path, started_at, text in self._db.execute(query):
            yield path, started_at, json.loads(text)

    def insert(self, rows: Sequence[Mapping[str, Any]]) -> None:
        """Rows as they are (for measuring how fast many are listed)."""
        names = ", ".join(("mark", *COLUMNS))
        marks = ", ".join("?" for _ in range(len(COLUMNS) + 1))
        self._db.executemany(
            f"INSERT OR REPLACE INTO session ({names}) VALUES ({marks})",
            [("", *(row[c] for c in COLUMNS)) for row in rows],
        )
        self._db.commit()

    def _keep(self, name: str, now: str, answer: dict[str, Any] | None) -> None:
        if answer is None:
            answer = {"row": dict.fromkeys(COLUMNS), "gear": []}
            answer["row"] |= {"title": "", "rig": "", "started_at": "", "state": "", "method": "",
                              "fault": "every process that reviewed it died: look at it alone"}  # fmt: skip
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
            self.warning = f"nothing is kept: the cache {self.file} cannot be used ({one_line(str(error), 100)})"
            return self._checked(None)

    def _checked(self, file: Path | None) -> sqlite3.Connection:
        """A connection whose tables are this program's own; others' are dropped."""
        db = sqlite3.connect(":memory:" if file is None else file, timeout=10.0)
        try:
            db.execute("PRAGMA synchronous = OFF")  # a cache: what is lost is made anew
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
    """A path as text that a database takes, whatever bytes it holds."""
    return name.encode("utf-8", "backslashreplace").decode("utf-8")


def program_mark() -> str:
    """What the rows depend on besides the sessions: the sources of analysis and logger."""
    import logger

    digest = hashlib.sha256()
    for folder in (Path(__file__).parents[1], Path(logger.__file__).parent):
        for source in sorted(folder.rglob("*.py")):
            digest.update(source.read_bytes())
    return digest.hexdigest()


def sessions_below(folder: Path) -> list[str]:
    """Relative paths of the sessions in a folder and below, "." for itself; links are not followed.

    Raises SessionFault where the folder cannot be read.
    """
    found: list[str] = []
    stack = [(folder, 0)]
    while stack:
        here, deep = stack.pop()
        if exists(here):
            found.append(here.relative_to(folder).as_posix())
            continue
        if deep >= DEEPEST:
            continue
        try:
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
    return sorted(found)


def mark(session: Path) -> str:
    """Changes whenever a file of the session does: names, sizes and times; with the seal's digest,
    so that two sessions are never taken for each other."""
    digest = hashlib.sha256()
    try:
        with os.scandir(session) as entries:
            for entry in sorted(entries, key=lambda e: e.name):
                found = entry.stat(follow_symlinks=False)
                digest.update(
                    f"{entry.name}\0{found.st_size}\0{found.st_mtime_ns}\n".encode(
                        "utf-8", "backslashreplace"
                    )
                )
        with contextlib.suppress(FileNotFoundError):
            digest.update((session / "SHA256SUMS").read_bytes()[:65536])
    except OSError as error:
        return f"unreadable: {error.strerror}"
    return digest.hexdigest()
