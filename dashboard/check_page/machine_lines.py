"""Writes the lines of the check about the machine that records: disk, power, sleep."""

from __future__ import annotations

from dashboard.check_page.check_line import CheckLine, CheckState
from logger.machine.keep_awake import HELD, TRYING
from logger.machine.machine_watch import LOW_PERCENT, DiskLeft, time_text
from logger.machine.power_supply import PowerState


def disk_line(free: int | None, per_s: float | None, takes_s: float) -> CheckLine:
    """Whether the disk has room for the time that the haul takes.

    free: bytes; None: not known.  per_s: bytes a second that the recording takes; None: not known.
    """
    key, title = "disk", f"Disk, for {time_text(takes_s)}"
    if free is None:
        return CheckLine(
            key=key,
            title=title,
            state=CheckState.MISSING,
            text="how much is free is not known",
            cure="look at the disk's free space",
            cause="free space is not known",
        )
    left = DiskLeft(float(free), per_s, takes_s)
    if left.level() == 0:
        return CheckLine(key, title, CheckState.GOOD, left.text())
    word = "nearly full" if left.level() == 2 else "short"
    return CheckLine(
        key=key,
        title=title,
        state=CheckState.MISSING,
        text=f"{word}: {left.text()}",
        cure="make room on the disk",
        cause=f"the disk is {word}",
    )


def power_line(power: PowerState) -> CheckLine:
    """Whether the machine's power lasts."""
    key, title = "power", "Power"
    if power.source == "mains":
        return CheckLine(key, title, CheckState.GOOD, power.text())
    if power.source == "battery":
        low = power.percent is not None and power.percent <= LOW_PERCENT[0]
        if power.percent is not None and not low:
            return CheckLine(key, title, CheckState.GOOD, power.text())
        return CheckLine(
            key=key,
            title=title,
            state=CheckState.MISSING,
            text=power.text(),
            cure="connect power",
            cause="the battery is low" if low else "the battery's charge is not known",
        )
    return CheckLine(
        key=key,
        title=title,
        state=CheckState.MISSING,
        text="the system does not say where its power comes from",
        cure="look whether it is connected, or how full its battery is",
        cause="power is not known",
    )


def sleep_line(state: str) -> CheckLine:
    """Whether sleep can be held off; state: of a `SleepInhibitor` that was asked."""
    key, title = "sleep", "Sleep"
    if state == HELD:
        return CheckLine(
            key, title, CheckState.GOOD, "will be held off while it records; keep the lid open"
        )
    if state == TRYING:
        return CheckLine(key, title, CheckState.WAITING, "asking the system")
    return CheckLine(
        key=key,
        title=title,
        state=CheckState.MISSING,
        text="this machine may fall asleep",
        cure="turn sleep off in the system's settings",
        cause="sleep cannot be held off",
    )
