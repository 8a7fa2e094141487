"""The recorder's clock: one that never steps and, where there is such a one, runs on in sleep."""

from __future__ import annotations

import time
from datetime import UTC, datetime

BOOTTIME: int | None = getattr(time, "CLOCK_BOOTTIME", None)


def now() -> float:
    """Seconds from some fixed moment (CLOCK_BOOTTIME where there is one, else monotonic)."""
    if BOOTTIME is None:
        return time.monotonic()
    return time.clock_gettime(BOOTTIME)


def slept() -> float:
    """Seconds that this machine has slept since its start; 0 where that cannot be told."""
    # the two clocks are read one after the other: a thread that is held up in between would see
    # a sleep that never was, so the tightest of a few readings counts
    found, width = 0.0, float("inf")
    for _ in range(5):
        before = awake()
        moment = now()
        after = awake()
        if after - before < width:
            found, width = moment - (before + after) / 2, after - before
        if width < 0.001:
            break
    return found


def awake() -> float:
    """Seconds from some fixed moment, without those that the machine slept."""
    return time.monotonic()


def utc_text(when: datetime | None = None) -> str:
    """A moment as RFC 3339 in UTC with milliseconds; now by default."""
    moment = datetime.now(UTC) if when is None else when.astimezone(UTC)
    return moment.strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond // 1000:03d}Z"
