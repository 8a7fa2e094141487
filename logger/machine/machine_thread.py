"""Checks the machine in a thread of its own, so that a system that does not answer holds up nothing.

The free space of a dead network drive and the charge of some batteries are questions that the
system may never answer.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable

from logger.machine.machine_watch import MachineWatch, Notice

CHECK_S = 0.5  # period of the checks; chosen by us: none is urgent
NO_ANSWER_S = 10.0  # chosen by us: a drive that spins up answers within it


class MachineThread:
    """Runs the checks of a MachineWatch, from `start` until `stop`; no method waits for a check."""

    def __init__(self, watch: MachineWatch, time_s: Callable[[], float]) -> None:
        """time_s: returns s since the recording started; called in the thread."""
        self._watch, self._time_s = watch, time_s
        self._notices: deque[Notice] = deque()
        self._began: float | None = None  # when the check that goes on began; None between checks
        self._reported = False  # whether that check was reported to go on for long
        self._halt = threading.Event()

    def start(self) -> None:
        """Ask the system not to sleep, and begin to check."""
        self._watch.start()
        threading.Thread(target=self._run, name="machine", daemon=True).start()

    def stop(self) -> None:
        """Allow the system to sleep again, and check no more; a check that goes on is left alone."""
        self._halt.set()
        self._watch.stop()

    def notices(self) -> list[Notice]:
        """What the checks found since the last call, and once that a check gets no answer."""
        news = [self._notices.popleft() for _ in range(len(self._notices))]
        began = self._began
        silent = began is not None and time.monotonic() - began > NO_ANSWER_S
        if silent and not self._reported:
            news.append(Notice(
                f"disk and power: the system has not answered for {NO_ANSWER_S:.0f} s, so "
                "they are not watched now"
            ))  # fmt: skip
        elif self._reported and not silent:
            news.append(Notice("disk and power: the system answers again"))
        self._reported = silent
        return news

    def _run(self) -> None:
        """The thread: check until `stop`."""
        while not self._halt.is_set():
            self._began = time.monotonic()
            self._notices.extend(self._watch.check(self._time_s()))
            self._began = None
            self._halt.wait(CHECK_S)
