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
    return now() - time.monotonic()


def utc_text(when: datetime | None = None) -> str:
    """A moment as RFC 3339 in UTC with milliseconds; now by default."""
    moment = datetime.now(UTC) if when is None else when.astimezone(UTC)
    return moment.strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond // 1000:03d}Z"
