"""Makes what was written durable, beside the thread that writes: the fsync of a slow disk takes
longer than a row may wait, and a crash meanwhile would cost what had not been written."""

from __future__ import annotations

import threading
from collections.abc import Callable

from logger import clock


class Syncer(threading.Thread):
    """Calls `sync` whenever it is asked to; what the disk refused is kept for `fault`."""

    def __init__(self, sync: Callable[[], None]) -> None:
        super().__init__(name="syncer", daemon=True)
        self._sync = sync
        self._asked = threading.Event()
        self._halt = threading.Event()
        self._fault: Exception | None = None
        self._since: float | None = None

    def ask(self) -> None:
        """Sync soon; returns at once."""
        self._asked.set()

    def fault(self) -> Exception | None:
        """What went wrong since the last call, or None."""
        found, self._fault = self._fault, None
        return found

    def busy_s(self) -> float:
        """How long the disk has not answered."""
        since = self._since
        return 0.0 if since is None else clock.awake() - since

    def stop(self) -> None:
        """End after what is under way; does not wait for it."""
        self._halt.set()
        self._asked.set()

    def run(self) -> None:
        while self._asked.wait() and not self._halt.is_set():
            self._asked.clear()
            self._since = clock.awake()
            try:
                self._sync()
            except Exception as error:
                self._fault = error
            self._since = None
