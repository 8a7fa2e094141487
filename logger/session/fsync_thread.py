"""Makes written rows durable in a thread of its own.

The fsync of a slow disk takes longer than a row may wait to be written, and a crash meanwhile would
lose the rows that wait.
"""

from __future__ import annotations

import threading
from collections.abc import Callable

from logger import clock


class Syncer(threading.Thread):
    """Calls `sync` in its own thread after each `ask`; keeps the last error for `fault`."""

    def __init__(self, sync: Callable[[], None]) -> None:
        super().__init__(name="syncer", daemon=True)
        self._sync = sync
        self._asked = threading.Event()
        self._halt = threading.Event()
        self._fault: Exception | None = None
        self._since: float | None = None

    def ask(self) -> None:
        """Request a sync; returns at once."""
        self._asked.set()

    def fault(self) -> Exception | None:
        """The last error since the last call; None if there was none."""
        fault, self._fault = self._fault, None
        return fault

    def busy_s(self) -> float:
        """How long the sync under way has taken so far, s; 0 if there is none."""
        since = self._since
        return 0.0 if since is None else clock.awake() - since

    def stop(self) -> None:
        """End after the sync under way; returns at once."""
        self._halt.set()
        self._asked.set()

    def run(self) -> None:
        """The thread: sync after each request, until `stop`."""
        while self._asked.wait() and not self._halt.is_set():
            self._asked.clear()
            self._since = clock.awake()
            try:
                self._sync()
            except Exception as error:
                self._fault = error
            self._since = None
