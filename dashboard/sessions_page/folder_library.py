"""The rows of all sessions of the folder, and the record of its gear, kept up to date by a process beside the server."""

from __future__ import annotations

import subprocess
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from analysis.sessions.gear_log import ItemRecord, totals
from analysis.sessions.index import Index
from dashboard.child_processes import end, start
from dashboard.live.session_hub import sessions_in
from logger.session.lock import is_held

WITHIN_S = 600.0  # for a folder of many sessions, the first time; afterwards only new ones are read
END_WITHIN_S = 2.0  # of the process when the desk ends: it then waits for nothing but the disk


class Library:
    """The index of one folder.  Safe for several threads.

    A review takes seconds, so `haul library` brings the index up to date in a process of its own; what stands in it is
    read here.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._idle = threading.Condition(self._lock)
        self._seen: tuple[str, ...] | None = None
        self._busy = self._closed = False
        self._process: subprocess.Popen[str] | None = None
        self._rows: tuple[dict[str, Any], ...] = ()
        self._gear: tuple[ItemRecord, ...] = ()

    def look(self) -> bool:
        """Bring the rows up to date where a session is new or over; whether that goes on now."""
        names = tuple(n for n in sessions_in(self._folder) if not is_held(self._folder / n))
        with self._lock:
            if self._busy or self._closed or names == self._seen:
                return self._busy
            self._seen = names
            if not names and not _has_folders(self._folder):
                self._rows, self._gear = (), ()
                return False
            self._busy = True
        threading.Thread(target=self._update, name="library", daemon=True).start()
        return True

    def wait(self, within_s: float) -> bool:
        """Wait until nothing is being brought up to date; whether that came within_s."""
        with self._idle:
            return self._idle.wait_for(lambda: not self._busy, within_s)

    def close(self) -> None:
        """End what is being read; what the index holds by then is kept, and the next desk reads the rest."""
        with self._lock:
            self._closed, process = True, self._process
        if process is not None:
            end(process, END_WITHIN_S)
        self.wait(END_WITHIN_S)

    def row(self, name: str) -> dict[str, Any] | None:
        """The row of a session of the folder itself; None where it isn't known yet."""
        return next((row for row in self.rows() if row["path"] == name), None)

    def rows(self) -> tuple[dict[str, Any], ...]:
        """The rows of the sessions of the folder itself, the newest first."""
        with self._lock:
            return self._rows

    def gear(self) -> tuple[ItemRecord, ...]:
        """What each marked piece of gear carried."""
        with self._lock:
            return self._gear

    def _update(self) -> None:
        """The thread: let the process read what is new, then read the index."""
        try:
            with self._lock:
                if self._closed:
                    return
                process = self._process = start(
                    ["library", str(self._folder)], stdout=subprocess.DEVNULL
                )
            try:
                process.wait(WITHIN_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
            if process.stdin is not None:
                process.stdin.close()
            with self._lock:
                self._process = None
                if self._closed:
                    return
            with Index(self._folder) as index:
                indexed: list[Mapping[str, Any]] = list(index.rows())
                gear = tuple(totals(index.gear()))
            rows = tuple(dict(row) for row in reversed(indexed) if "/" not in str(row["path"]))
            with self._lock:
                self._rows, self._gear = rows, gear
        except Exception:  # a folder that can't be indexed is shown without these figures
            with self._lock:
                self._rows, self._gear = (), ()
        finally:
            with self._lock:
                self._busy = False
                self._idle.notify_all()


def _has_folders(folder: Path) -> bool:
    """Whether sessions may lie deeper; the desk's own folder begins with a dot."""
    try:
        return any(one.is_dir() and not one.name.startswith(".") for one in folder.iterdir())
    except OSError:
        return False
