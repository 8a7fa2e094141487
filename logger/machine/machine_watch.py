"""Watches the recording machine: free disk space against the expected need, power supply, sleep.

Runs in a thread of its own (`machine_thread`), because the system may answer late or never.
"""

from __future__ import annotations

import math
import shutil
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from logger.machine.keep_awake import HELD, TRYING, SleepInhibitor
from logger.machine.power_supply import PowerState, read_power

DISK_S, POWER_S = 2.0, 5.0  # period of the checks; chosen by us: neither changes faster
RATE_FROM_S = 5.0  # least time for a rate; chosen by us: before, the start distorts it
RATE_OVER_S = 60.0  # time for a rate; chosen by us: long against the pauses of a haul
# EARLY_*: disk short; LATE_*: disk nearly full.  EARLY_S, EARLY_BYTES: chosen by us: other programs
# write on the disk too.  LATE_S, LATE_BYTES: chosen by us: time enough to make room or to end the
# recording
EARLY_S, EARLY_BYTES = 2 * 3600.0, 100e6
LATE_S, LATE_BYTES = 600.0, 10e6
IN_HAND = 1.2  # share of the remaining need that must be free; chosen by us
LOW_PERCENT = (20.0, 10.0)  # battery charge at which to warn; common practice, no source
_MOST_SIZES = 200  # memory only


@dataclass(frozen=True)
class Notice:
    """One line for the person who records."""

    text: str  # one line
    kind: str = ""  # kind of the event to write, "disk" or "power"; "" for no event
    value: float | None = None  # bytes free, or battery charge in %; None: unknown


@dataclass(frozen=True)
class DiskLeft:
    """Free disk space against what the recording needs."""

    free: float  # bytes that this user may still write
    per_s: float | None = None  # bytes per second that the recording takes; None: not yet known
    remains_s: float | None = None  # time until the recording is to end, s; None: no limit

    @property
    def lasts_s(self) -> float:
        """Time until the disk is full at this rate, s; infinite if the rate is unknown."""
        return self.free / self.per_s if self.per_s else math.inf

    def level(self) -> int:
        """0: enough; 1: short; 2: nearly full."""
        needed_s = EARLY_S if self.remains_s is None else IN_HAND * self.remains_s
        if self.free < LATE_BYTES or self.lasts_s < min(LATE_S, needed_s):
            return 2
        return 1 if self.free < EARLY_BYTES or self.lasts_s < needed_s else 0

    def text(self) -> str:
        """Free space, time it lasts and rate, in words."""
        if not self.per_s:
            return f"{size_text(self.free)} left"
        return (
            f"{size_text(self.free)} left, enough for {time_text(self.lasts_s)} at "
            f"{size_text(3600 * self.per_s)} an hour"
        )


def size_text(count: float) -> str:
    """`count` bytes as text with a decimal prefix (SI), at least two significant figures."""
    for unit, size in (("TB", 1e12), ("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if count >= size:
            return f"{count / size:.{0 if count >= 10 * size else 1}f} {unit}"
    return f"{count:.0f} bytes"


def time_text(seconds: float) -> str:
    """A time in seconds as text in minutes, hours or days."""
    if seconds >= 48 * 3600:
        return f"{min(seconds, 1e9) / 86400:.0f} days"
    return f"{seconds / 3600:.1f} h" if seconds >= 3600 else f"{seconds / 60:.0f} min"


def disk_free(folder: Path) -> int | None:
    """Bytes that this user may still write in `folder`; None if the system does not say."""
    try:
        return shutil.disk_usage(folder).free
    except (OSError, ValueError):
        return None


def tables_size(folder: Path) -> int:
    """Size of the four tables of a session folder, in bytes."""
    total = 0
    for name in ("readings.csv", "events.csv", "clock.csv", "rejects.csv"):
        try:
            total += (folder / name).stat().st_size
        except OSError:
            continue
    return total


@dataclass
class MachineWatch:
    """Reports the state of disk, power and sleep once at the start, and later what becomes worse.

    free_bytes: returns the free space of a folder in bytes, or None if unknown
    sleep_inhibitor: keeps the machine awake
    _sizes: (s since the start, size of the tables in bytes) of the last checks
    """

    folder: Path  # the session folder
    for_s: float | None = None  # length of the recording, s; None: no limit
    free_bytes: Callable[[Path], int | None] = disk_free
    read_power: Callable[[], PowerState] = read_power  # returns the state of the power supply
    sleep_inhibitor: SleepInhibitor = field(default_factory=SleepInhibitor)
    _sizes: deque[tuple[float, int]] = field(default_factory=lambda: deque(maxlen=_MOST_SIZES))
    _next: dict[str, float] = field(default_factory=dict)  # time of the next check by name, s
    _disk_level: int = -1  # last `DiskLeft.level`; -1 before the first check
    _rate_reported: bool = False  # whether a notice has stated the rate
    _power: PowerState | None = None  # last state; None before the first check
    _sleep_state: str = TRYING  # last `SleepInhibitor.state`

    def start(self) -> None:
        """Ask the system not to sleep."""
        self.sleep_inhibitor.hold()

    def stop(self) -> None:
        """Allow the system to sleep again."""
        self.sleep_inhibitor.release()

    def check(self, time_s: float) -> list[Notice]:
        """The new notices; time_s: s since the recording started.  Never raises."""
        notices: list[Notice] = []
        if self._due("disk", time_s, DISK_S):
            notices += self._check_disk(time_s)
        if self._due("power", time_s, POWER_S):
            notices += self._check_power()
        return notices + self._check_sleep()

    def _due(self, what: str, now_s: float, period_s: float) -> bool:
        if now_s < self._next.get(what, -math.inf):
            return False
        self._next[what] = now_s + period_s
        return True

    def _check_disk(self, time_s: float) -> list[Notice]:
        free = self.free_bytes(self.folder)
        if free is None:
            first, self._disk_level = self._disk_level < 0, max(self._disk_level, 0)
            return [Notice("disk left: not known")] if first else []
        self._sizes.append((time_s, tables_size(self.folder)))
        while time_s - self._sizes[0][0] > RATE_OVER_S:
            self._sizes.popleft()
        remains = None if self.for_s is None else max(0.0, self.for_s - time_s)
        left = DiskLeft(free, self._rate(), remains)
        level, before = left.level(), self._disk_level
        self._disk_level = max(level, 0)
        if level > max(before, 0):
            word = "nearly full" if level == 2 else "short"
            return [Notice(f"disk {word}: {left.text()}", "disk", float(free))]
        rate_is_new = bool(left.per_s) and not self._rate_reported
        self._rate_reported |= rate_is_new
        # level < before: room was made; a new notice follows if the disk gets short again
        return [Notice(f"disk: {left.text()}")] if rate_is_new or level != before else []

    def _rate(self) -> float | None:
        """Bytes per second by which the tables grow; None if not yet known."""
        (from_s, before), (to_s, now) = self._sizes[0], self._sizes[-1]
        if to_s - from_s < RATE_FROM_S or now <= before:
            return None
        return (now - before) / (to_s - from_s)

    def _check_power(self) -> list[Notice]:
        before, now = self._power, self.read_power()
        self._power = now
        if now.source != "battery":
            text = f"power: {now.text()}"
            return [Notice(text)] if before is None or before.source == "battery" else []
        was = 101.0 if before is None or before.percent is None else before.percent
        fell = now.percent is not None and any(now.percent <= low < was for low in LOW_PERCENT)
        if before is None or before.source != "battery" or fell:
            return [Notice(now.text(), "power", now.percent)]
        return []

    def _check_sleep(self) -> list[Notice]:
        before, self._sleep_state = self._sleep_state, self.sleep_inhibitor.state()
        if self._sleep_state == before or self._sleep_state == TRYING:
            return []
        if self._sleep_state == HELD:
            return [Notice("sleep: held off while this records; keep the lid open")]
        return [Notice("this machine may fall asleep: turn sleep off in the system's settings")]
