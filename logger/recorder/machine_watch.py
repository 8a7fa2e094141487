"""The machine that records: disk left against what is expected, power, sleep.

Looked at from the recorder's main thread, so that a slow answer of the system delays no reading.
"""

from __future__ import annotations

import math
import shutil
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from logger.recorder.keep_awake import HELD, TRYING, SleepInhibitor
from logger.recorder.power_supply import PowerState, power

DISK_S, POWER_S = 2.0, 5.0  # between two looks; chosen by us: neither changes faster
RATE_FROM_S = 5.0  # chosen by us: before that a rate is only the noise of the start
RATE_OVER_S = 60.0  # chosen by us: long against the pauses of a haul
# EARLY_*, LATE_*: short of disk, nearly full.  EARLY_S, EARLY_BYTES: chosen by us: others write on a disk too.
# LATE_S, LATE_BYTES: chosen by us: time enough to make room or to end the recording
EARLY_S, EARLY_BYTES = 2 * 3600.0, 100e6
LATE_S, LATE_BYTES = 600.0, 10e6
IN_HAND = 1.2  # of what a recording of a stated length still needs; chosen by us
LOW_PERCENT = (20.0, 10.0)  # of a battery; common practice, no source
_MOST_LOOKS = 200  # memory only


@dataclass(frozen=True)
class Notice:
    """One line for the person who records.  kind: of the row in events.csv, "disk" or "power"; ""
    where it is no event; value: bytes left, or percent of the battery."""

    text: str
    kind: str = ""
    value: float | None = None


@dataclass(frozen=True)
class DiskLeft:
    """free: bytes that may be written; per_s: bytes a second that the recording takes, or None
    while that is not known; remains_s: how long it is still to go on, or None."""

    free: float
    per_s: float | None = None
    remains_s: float | None = None

    @property
    def lasts_s(self) -> float:
        """How long the disk lasts at this rate."""
        return self.free / self.per_s if self.per_s else math.inf

    def level(self) -> int:
        """0 enough, 1 short of what is expected, 2 nearly full."""
        needed_s = EARLY_S if self.remains_s is None else IN_HAND * self.remains_s
        if self.free < LATE_BYTES or self.lasts_s < min(LATE_S, needed_s):
            return 2
        return 1 if self.free < EARLY_BYTES or self.lasts_s < needed_s else 0

    def text(self) -> str:
        if not self.per_s:
            return f"{size_text(self.free)} left"
        return (
            f"{size_text(self.free)} left, enough for {time_text(self.lasts_s)} at "
            f"{size_text(3600 * self.per_s)} an hour"
        )


def size_text(count: float) -> str:
    """Bytes with a decimal prefix (SI), two significant figures at the least."""
    for unit, size in (("TB", 1e12), ("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if count >= size:
            return f"{count / size:.{0 if count >= 10 * size else 1}f} {unit}"
    return f"{count:.0f} bytes"


def time_text(seconds: float) -> str:
    if seconds >= 48 * 3600:
        return f"{min(seconds, 1e9) / 86400:.0f} days"
    return f"{seconds / 3600:.1f} h" if seconds >= 3600 else f"{seconds / 60:.0f} min"


def disk_free(folder: Path) -> int | None:
    """Bytes that this user may still write there; None where the system does not say."""
    try:
        return shutil.disk_usage(folder).free
    except (OSError, ValueError):
        return None


def written(folder: Path) -> int:
    """Bytes of the session's tables so far."""
    total = 0
    for name in ("readings.csv", "events.csv", "clock.csv", "rejects.csv"):
        try:
            total += (folder / name).stat().st_size
        except OSError:
            continue
    return total


@dataclass
class MachineWatch:
    """Tells once of what is at the start, and later of what becomes worse.

    folder: the session; for_s: how long it is to last, or None.  free_bytes, power: what is asked.
    """

    folder: Path
    for_s: float | None = None
    free_bytes: Callable[[Path], int | None] = disk_free
    power: Callable[[], PowerState] = power
    awake: SleepInhibitor = field(default_factory=SleepInhibitor)
    _looks: deque[tuple[float, int]] = field(default_factory=lambda: deque(maxlen=_MOST_LOOKS))
    _next: dict[str, float] = field(default_factory=dict)
    _disk: int = -1
    _rate_told: bool = False
    _source: Power | None = None
    _slept: str = TRYING

    def start(self) -> None:
        """Ask the system not to sleep."""
        self.awake.hold()

    def stop(self) -> None:
        self.awake.release()

    def look(self, time_s: float) -> list[Notice]:
        """What is new, time_s after the start.  Never raises for what the system answers."""
        found: list[Notice] = []
        if self._due("disk", time_s, DISK_S):
            found += self._look_at_disk(time_s)
        if self._due("power", time_s, POWER_S):
            found += self._look_at_power()
        return found + self._look_at_sleep()

    def _due(self, what: str, now: float, period: float) -> bool:
        if now < self._next.get(what, -math.inf):
            return False
        self._next[what] = now + period
        return True

    def _look_at_disk(self, time_s: float) -> list[Notice]:
        free = self.free_bytes(self.folder)
        if free is None:
            first, self._disk = self._disk < 0, max(self._disk, 0)
            return [Notice("disk left: not known")] if first else []
        self._looks.append((time_s, written(self.folder)))
        while time_s - self._looks[0][0] > RATE_OVER_S:
            self._looks.popleft()
        remains = None if self.for_s is None else max(0.0, self.for_s - time_s)
        left = DiskLeft(free, self._rate(), remains)
        level, before = left.level(), self._disk
        self._disk = max(level, 0)
        if level > max(before, 0):
            word = "nearly full" if level == 2 else "short"
            return [Notice(f"disk {word}: {left.text()}", "disk", float(free))]
        rate_is_new = bool(left.per_s) and not self._rate_told
        self._rate_told |= rate_is_new
        # level < before: room was made, and it is to be told anew if it gets short again
        return [Notice(f"disk: {left.text()}")] if rate_is_new or level != before else []

    def _rate(self) -> float | None:
        (from_s, before), (to_s, now) = self._looks[0], self._looks[-1]
        if to_s - from_s < RATE_FROM_S or now <= before:
            return None
        return (now - before) / (to_s - from_s)

    def _look_at_power(self) -> list[Notice]:
        before, now = self._source, self.power()
        self._source = now
        if now.source != "battery":
            said = f"power: {now.text()}"
            return [Notice(said)] if before is None or before.source == "battery" else []
        was = 101.0 if before is None or before.percent is None else before.percent
        fell = now.percent is not None and any(now.percent <= low < was for low in LOW_PERCENT)
        if before is None or before.source != "battery" or fell:
            return [Notice(now.text(), "power", now.percent)]
        return []

    def _look_at_sleep(self) -> list[Notice]:
        before, self._slept = self._slept, self.awake.state()
        if self._slept == before or self._slept == TRYING:
            return []
        if self._slept == HELD:
            return [Notice("sleep: held off while this records; keep the lid open")]
        return [Notice("this machine may fall asleep: set it not to")]
