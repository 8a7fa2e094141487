"""The sessions that a server watches: one, or those of a folder, opened when they are asked for."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable, Sequence
from pathlib import Path

from dashboard.live.watcher import Watch
from dashboard.text.units import METRIC, Units
from logger.errors import CallFault
from logger.session.descriptor import DESCRIPTOR

MOST_OPEN = 4


def sessions_in(folder: Path) -> list[str]:
    """Names of the sessions that lie in a folder, the newest first; links are not followed."""
    found = []
    try:
        for entry in folder.iterdir():
            if entry.is_symlink() or not entry.is_dir():
                continue
            descriptor = entry / DESCRIPTOR
            if descriptor.is_file():
                found.append((descriptor.stat().st_mtime, entry.name))
    except OSError:
        return []
    return [name for _, name in sorted(found, reverse=True)]


class Hub:
    """path: a session, or a folder of sessions (many); rigs: files that a what-if may take; shown: the
    units of the live pages, and those in which a review page begins.

    Raises UserFault where it is neither.
    """

    def __init__(
        self, path: Path, log: Callable[[Exception], None], rigs: Sequence[Path] = (),
        shown: Units = METRIC,
    ) -> None:  # fmt: skip
        self.folder, self.log, self.rigs, self.shown = path, log, tuple(rigs), shown
        self.run = secrets.token_hex(4)
        self.many = not (path / DESCRIPTOR).exists()
        self._lock = threading.Lock()
        self._open: dict[str, Watch] = {}
        if not self.many:
            self._open[""] = Watch(path, self.run, log, shown=shown)
            self._open[""].start()
        elif not path.is_dir() or not sessions_in(path):
            raise CallFault(
                path, "is no session, nor a folder that holds one",
                "give the folder that `haul record --out` made, or the one around it",
            )

    def get(self, name: str) -> Watch | None:
        """The session of that name ("" where there is one only), None if there is none.

        Raises UserFault where it cannot be opened.
        """
        with self._lock:
            if name in self._open:
                self._open[name] = self._open.pop(name)  # the last asked for is closed last
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
        """End every follower."""
        with self._lock:
            for watch in self._open.values():
                watch.stop()
            self._open.clear()
