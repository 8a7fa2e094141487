"""The serial ports of this machine, with USB ids.

What is printed first is what a sensors file takes as `port`. The hwgrep:// URL behind it finds the
same device again when its name has changed after it was plugged in anew.
"""

from __future__ import annotations

import argparse

from dashboard.text.console import table
from logger.errors import one_line


def add_arguments(parser: argparse.ArgumentParser) -> None:
    del parser  # it takes none


def run(args: argparse.Namespace) -> int:
    from logger.transports.serial import list_ports

    del args
    found = list_ports()
    rows = [
        [one_line(cell) for cell in (port.device, port.hwgrep or "-", port.description)]
        for port in found
    ]
    if rows:
        print("\n".join(table(rows, left=3, indent="")))
    else:
        print(f"no serial port found; plug the device in, and look again ({_usual()})")
    return 0


def _usual() -> str:
    import sys

    return {"win32": "usually COM3 or higher", "darwin": "usually /dev/cu.usbserial-*"}.get(
        sys.platform, "usually /dev/ttyUSB0 or /dev/ttyACM0"
    )
