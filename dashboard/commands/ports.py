"""Lists the serial ports of this machine, with their USB ids.

Write the first column into the sensors file as `port`. Better write the usb: port beside it, or the
by-id path: each finds the same device again if its name changes when it is plugged in anew.
"""

from __future__ import annotations

import argparse

from dashboard.text.console import table
from logger.errors import one_line


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul ports`."""
    del parser  # there are none


def run(args: argparse.Namespace) -> int:
    """Run `haul ports` and return the exit status."""
    from logger.transports.serial import list_ports

    del args
    serial_ports = list_ports()
    rows = [
        [
            one_line(cell)
            for cell in (port.device, port.usb or "-", port.by_id or "-", port.description)
        ]
        for port in serial_ports
    ]
    if rows:
        print("\n".join(table(rows, left=4, indent="")))
    else:
        print(f"no serial port found; plug the device in and try again ({_usual()})")
    return 0


def _usual() -> str:
    """The usual names of serial ports on this system."""
    import sys

    return {"win32": "usually COM3 or higher", "darwin": "usually /dev/cu.usbserial-*"}.get(
        sys.platform, "usually /dev/ttyUSB0 or /dev/ttyACM0"
    )
