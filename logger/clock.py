"""Reads the recorder's clock, which never steps, and runs on in sleep if the system has such a one."""

from __future__ import annotations

import time
from datetime import UTC, datetime

BOOTTIME: int | None = getattr(time, "CLOCK_BOOTTIME", None)


def now() -> float:
    """Seconds since a fixed moment, by CLOCK_BOOTTIME if there is one, else time.monotonic."""
    if BOOTTIME is None:
        return time.monotonic()
    return time.clock_gettime(BOOTTIME)


def slept() -> float:
    """Seconds that this machine has slept since its start; 0 without CLOCK_BOOTTIME."""
    # The two clocks are read one after the other.  A thread that is held up in between would
    # measure a sleep that never happened, so the closest pair of five readings counts.
    slept_s, width = 0.0, float("inf")
    for _ in range(5):
        before = awake()
        moment = now()
        after = awake()
        if after - before < width:
            slept_s, width = moment - (before + after) / 2, after - before
        if width < 0.001:
            break
    return slept_s


def awake() -> float:
    """Seconds since a fixed moment, not counting the time that the machine slept."""
    return time.monotonic()


def utc_text(when: datetime | None = None) -> str:
    """`when` (default: now) as RFC 3339 text in UTC with milliseconds."""
    moment = datetime.now(UTC) if when is None else when.astimezone(UTC)
    return moment.strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond // 1000:03d}Z"
