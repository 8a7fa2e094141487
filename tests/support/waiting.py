"""Wait for a condition or for a value at rest, with a limit; tests poll here and nowhere else."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")

FIRST_PAUSE_S = 0.005  # so that what happens at once costs nothing
LONGEST_PAUSE_S = (
    0.03  # so that a condition that asks a browser or reads a file loads the machine little
)
GROWTH = 1.2  # of each pause over the last; common practice, no source
REST_S = 0.15  # a value that is the same after this time is at rest: longer than a page takes for a frame


def until(condition: Callable[[], T], within_s: float = 10.0, what: str = "the condition") -> T:
    """Call `condition` until it returns a true value, and return that value.

    within_s: the longest wait in s of real time.
    what: the awaited fact, for the text of the failure.
    Raises AssertionError when the time is up.
    """
    end = time.monotonic() + within_s
    pause = FIRST_PAUSE_S
    while True:
        value = condition()
        if value:
            return value
        if time.monotonic() >= end:
            raise AssertionError(f"not within {within_s} s: {what}")
        time.sleep(pause)
        pause = min(pause * GROWTH, LONGEST_PAUSE_S)


def until_steady(read: Callable[[], T], within_s: float = 10.0, what: str = "a steady value") -> T:
    """Call `read` every REST_S until two values in a row are equal, and return the last one.

    within_s: the longest wait in s of real time.
    what: what is read, for the text of the failure.
    Raises AssertionError when the time is up.
    """
    end = time.monotonic() + within_s
    before = read()
    while time.monotonic() < end:
        time.sleep(REST_S)
        value = read()
        if value == before:
            return value
        before = value
    raise AssertionError(f"not at rest within {within_s} s: {what}")
