"""Wait for a condition or for a value at rest, with a limit; tests poll here and nowhere else.

Limits are those of a quiet machine. On a busy one they grow with the number of programs that share a
processor, so that no test depends on what else the machine does.
"""

from __future__ import annotations

import os
import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

T = TypeVar("T")

FIRST_PAUSE_S = 0.005  # so that what happens at once costs nothing
LONGEST_PAUSE_S = (
    0.03  # so that a condition that asks a browser or reads a file loads the machine little
)
GROWTH = 1.2  # of each pause over the last; common practice, no source
REST_S = 0.15  # a value that is the same after this time is at rest: longer than a page takes for a frame

# moment of time.monotonic, s, and what `patience` was then; enough for a wait of some minutes
_looks: deque[tuple[float, float]] = deque(maxlen=20_000)
_looking = threading.Lock()


def patience(since: float | None = None) -> float:
    """How many times longer than on a quiet machine something may take now; 1 on a quiet one.

    since: a moment of time.monotonic, s; then it is the highest value at any look from that moment on, for
    whoever waited through a busy time may look at the clock when it is over. `until` looks at each try.

    From the programs that want to run, now or in the mean of the last minute (getloadavg; Linux: proc(5),
    loadavg), for each processor. Twice their number, because a program that waits for another waits for its
    turn and for the other's.
    """
    now = _patience_now()
    with _looking:
        _looks.append((time.monotonic(), now))
        if since is None:
            return now
        earlier = [value for moment, value in _looks if moment >= since]
    return max(earlier, default=now)


def _patience_now() -> float:
    """See `patience`, at this moment."""
    try:
        wanting = os.getloadavg()[0]
    except (AttributeError, OSError):  # Windows has none
        return 1.0
    try:
        said = Path("/proc/loadavg").read_text("ascii")
    except OSError:
        said = "0 0 0 0/0 0"
    wanting = max(wanting, float(said.split()[3].split("/")[0]))
    return max(1.0, 2.0 * wanting / (os.cpu_count() or 1) - 1.0)


MOST_LONGER = 10.0  # a test that chose its own length by a higher load would never end


def long_enough(quiet_s: float) -> float:
    """How long, in s, a recording or a silence must be here to hold what it holds in quiet_s on a quiet machine."""
    return round(quiet_s * min(patience(), MOST_LONGER), 2)


class Limit:
    """A time in s that is to be kept on a quiet machine, from now on.

    over: whether it is over on this one, as busy as it was at its busiest meanwhile.
    """

    def __init__(self, within_s: float) -> None:
        self.within_s = within_s
        self.began = time.monotonic()
        self._patience = 1.0

    def __repr__(self) -> str:
        return f"{self.passed_s():.2f} s passed of {self.within_s} s x {self._patience:.1f}"

    def passed_s(self) -> float:
        """Time since it began, s."""
        return time.monotonic() - self.began

    def over(self) -> bool:
        passed_s = self.passed_s()
        if passed_s < self.within_s * self._patience:
            patience()  # a look, for whoever asks what the highest value was
            return False
        self._patience = max(self._patience, patience(self.began))
        return passed_s >= self.within_s * self._patience


def until(condition: Callable[[], T], within_s: float = 10.0, what: str = "the condition") -> T:
    """Call `condition` until it returns a true value, and return that value.

    within_s: the longest wait in s on a quiet machine.
    what: the awaited fact, for the text of the failure.
    Raises AssertionError when the time is up.
    """
    limit = Limit(within_s)
    pause = FIRST_PAUSE_S
    while True:
        value = condition()
        if value:
            return value
        if limit.over():
            raise AssertionError(f"not within {within_s} s ({limit.passed_s():.1f} s here): {what}")
        time.sleep(pause)
        pause = min(pause * GROWTH, LONGEST_PAUSE_S)


def joined(thread: threading.Thread, within_s: float = 60.0) -> None:
    """Wait for a thread's end.

    within_s: the longest wait in s on a quiet machine.
    Raises AssertionError when the time is up.
    """
    until(lambda: not thread.is_alive(), within_s, f"the end of {thread.name}")


def until_steady(read: Callable[[], T], within_s: float = 10.0, what: str = "a steady value") -> T:
    """Call `read` every REST_S until two values in a row are equal, and return the last one.

    within_s: the longest wait in s on a quiet machine.
    what: what is read, for the text of the failure.
    Raises AssertionError when the time is up.
    """
    limit = Limit(within_s)
    before = read()
    while not limit.over():
        time.sleep(REST_S)
        value = read()
        if value == before:
            return value
        before = value
    raise AssertionError(f"not at rest within {within_s} s: {what}")
