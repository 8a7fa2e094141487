"""The advantage and the worst share of a limit of the folder's sessions, worked out by a process beside the server.

A review takes seconds, and a long session more: the process of the pages must not stand still meanwhile.
"""

from __future__ import annotations

import json
import subprocess
import threading
from pathlib import Path
from typing import Any

from dashboard.child_processes import start
from dashboard.live.session_hub import sessions_in
from logger.session.lock import is_held

WITHIN_S = 600.0  # for a folder of many sessions, the first time; afterwards only new ones are read


class LastSessions:
    """The rows of `haul library` for a folder, brought up to date in the background."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._rows: dict[str, dict[str, Any]] = {}
        self._seen: tuple[str, ...] | None = None
        self._busy = False
        self._idle = threading.Condition(self._lock)

    def row(self, name: str) -> dict[str, Any] | None:
        """The row of a session; None where it isn't known yet."""
        with self._lock:
            return self._rows.get(name)

    def wait(self, within_s: float) -> bool:
        """Wait until nothing is being brought up to date; whether that came within_s."""
        with self._idle:
            return self._idle.wait_for(lambda: not self._busy, within_s)

    def look(self) -> None:
        """Begin to bring the rows up to date where a session is new or over."""
        names = tuple(n for n in sessions_in(self._folder) if not is_held(self._folder / n))
        with self._lock:
            if self._busy or names == self._seen:
                return
            self._busy, self._seen = True, names
        threading.Thread(target=self._update, name="last-sessions", daemon=True).start()

    def _update(self) -> None:
        rows: dict[str, dict[str, Any]] = {}
        try:
            process = start(["library", str(self._folder), "--json"], stdout=subprocess.PIPE)
            try:
                text, _ = process.communicate(timeout=WITHIN_S)
            except subprocess.TimeoutExpired:
                process.kill()
                text, _ = process.communicate()
            answer = json.loads(text)["sessions"] if process.returncode == 0 else []
            rows = {str(row["path"]): row for row in answer}
        except (OSError, ValueError, KeyError, TypeError):
            pass  # the list shows the sessions without these figures
        with self._lock:
            self._rows.update(rows)
            self._busy = False
            self._idle.notify_all()
