"""Reads where this machine's power comes from, if the system states it.

Linux: the kernel's /sys/class/power_supply (its ABI is in Documentation/ABI/testing/
sysfs-class-power).  Windows: GetSystemPowerStatus.  macOS: pmset.
"""

from __future__ import annotations

import contextlib
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

SUPPLIES = Path("/sys/class/power_supply")


@dataclass(frozen=True)
class PowerState:
    """The machine's power supply."""

    source: str = ""  # "mains" or "battery"; "" if unknown
    percent: float | None = None  # charge of the battery, %; None: unknown

    def text(self) -> str:
        """Source and charge in words."""
        charge = "" if self.percent is None else f", {self.percent:.0f} %"
        if self.source == "battery":
            return f"on battery{charge}, not charging: connect power"
        return f"mains{charge and ', battery ' + charge[2:]}" if self.source else "not known"


def read_power(supplies: Path = SUPPLIES) -> PowerState:
    """The state of the power supply now; unknown if the system does not state it.  Never raises."""
    try:
        if sys.platform == "win32":
            return _windows()
        if sys.platform == "darwin":
            return _macos()
        return _linux(supplies)
    except (OSError, ValueError, AttributeError, subprocess.SubprocessError):
        return PowerState()


def _linux(folder: Path) -> PowerState:
    levels: list[float] = []
    draining = fed = False
    for supply in sorted(folder.iterdir()):
        kind = _word(supply / "type")
        if _word(supply / "scope") == "Device":  # battery of a mouse or a headset
            continue
        if kind in ("Battery", "UPS"):
            status = _word(supply / "status")
            draining |= status == "Discharging"
            fed |= status in ("Charging", "Full", "Not charging") and kind == "Battery"
            with contextlib.suppress(ValueError):
                level = float(_word(supply / "capacity"))
                if 0 <= level <= 100:
                    levels.append(level)
        elif kind in ("Mains", "USB", "Wireless"):
            fed |= _word(supply / "online") not in ("", "0")
    percent = sum(levels) / len(levels) if levels else None
    if draining:  # even if a charger is connected, because it is too weak
        return PowerState("battery", percent)
    return PowerState("mains" if fed else "", percent)


def _word(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return file.read(64).decode("ascii", "replace").strip()
    except OSError:
        return ""


def _windows() -> PowerState:
    import ctypes

    class SystemPowerStatus(ctypes.Structure):
        _fields_ = (  # SYSTEM_POWER_STATUS
            ("line", ctypes.c_ubyte), ("flag", ctypes.c_ubyte), ("percent", ctypes.c_ubyte),
            ("saver", ctypes.c_ubyte), ("left", ctypes.c_ulong), ("full", ctypes.c_ulong),
        )  # fmt: skip

    status = SystemPowerStatus()
    windll = getattr(ctypes, "windll")  # noqa: B009 - there on Windows alone
    if not windll.kernel32.GetSystemPowerStatus(ctypes.byref(status)):
        return PowerState()
    percent = float(status.percent) if status.percent <= 100 else None
    return PowerState({0: "battery", 1: "mains"}.get(status.line, ""), percent)


def _macos() -> PowerState:
    output = subprocess.run(
        ["pmset", "-g", "batt"], capture_output=True, text=True, timeout=2, check=False
    ).stdout
    source = re.search(r"drawing from '(AC|Battery|UPS) Power'", output)
    percent = re.search(r"\b([0-9]{1,3})%", output)
    return PowerState(
        "" if source is None else "mains" if source[1] == "AC" else "battery",
        None if percent is None else float(percent[1]),
    )
