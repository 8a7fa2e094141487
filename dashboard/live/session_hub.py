"""Opens the sessions that a server shows: one, or those of a folder when a page asks for them."""

from __future__ import annotations

import secrets
import stat
import threading
from collections.abc import Callable, Sequence
from pathlib import Path

from dashboard.live.watcher import Watch
from dashboard.text.units import METRIC, Units
from logger.errors import CallFault
from logger.session.descriptor import DESCRIPTOR

MOST_OPEN = 4  # sessions that are followed at once


def sessions_in(folder: Path) -> list[str]:
    """Names of the sessions in a folder, the newest first; links are not followed.

    A folder that this user may not enter counts as a session, because it may be one; it comes last.
    """
    sessions: list[tuple[float, str]] = []
    try:
        entries = list(folder.iterdir())
    except OSError:
        return []
    for entry in entries:
        try:
            if stat.S_ISDIR(entry.lstat().st_mode):
                sessions.append(((entry / DESCRIPTOR).lstat().st_mtime, entry.name))
        except FileNotFoundError:  # no session, or gone by now
            continue
        except OSError:
            sessions.append((0.0, entry.name))
    return [name for _, name in sorted(sessions, reverse=True)]


class Hub:
    """The sessions of one server, each followed while it is open.

    folder: folder of the session, or of several sessions.
    log: takes an exception of our own.
    rigs: rig files that the review page offers as what-ifs.
    shown: units of the live pages, and of a review page when it opens.
    run: name of this run of the server; a page that reads another name starts anew.
    many: whether `folder` holds several sessions.
    empty: the folder may have no session yet.
    Raises UserFault where the path is neither a session nor a folder with one.
    """

    def __init__(
        self, path: Path, log: Callable[[Exception], None], rigs: Sequence[Path] = (),
        shown: Units = METRIC, empty: bool = False,
    ) -> None:  # fmt: skip
        self.folder, self.log, self.rigs, self.shown = path, log, tuple(rigs), shown
        self.run = secrets.token_hex(4)
        try:
            self.many = not (path / DESCRIPTOR).exists()
        except OSError as error:
            raise CallFault(
                path,
                f"cannot be entered ({error.strerror})",
                "give a folder that this user may read",
            ) from None
        self._lock = threading.Lock()
        self._open: dict[str, Watch] = {}
        if not self.many:
            self._open[""] = Watch(path, self.run, log, shown=shown)
            self._open[""].start()
        elif not path.is_dir() or not (empty or sessions_in(path)):
            raise CallFault(
                path,
                "is no session, and no folder with sessions",
                "give the folder that `haul record --out` made, or the folder around it",
            )

    def get(self, name: str) -> Watch | None:
        """The session of this name ("" for the only one), opened if needed; None if there is none.

        Raises UserFault where it cannot be opened.
        """
        with self._lock:
            if name in self._open:
                self._open[name] = self._open.pop(
                    name
                )  # moved to the end: the session that was used longest ago is closed first
                return self._open[name]
            if not self.many or name not in sessions_in(self.folder):
                return None
            watch = Watch(self.folder / name, self.run, self.log, shown=self.shown)
            watch.start()
            self._open[name] = watch
            while len(self._open) > MOST_OPEN:
                self._open.pop(next(iter(self._open))).stop()
            return watch

    def close(self) -> None:
        """Stop following all sessions."""
        with self._lock:
            for watch in self._open.values():
                watch.stop()
            self._open.clear()
