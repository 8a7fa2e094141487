"""The serial ports of this machine, with USB ids; what a sensors file takes as `port`."""

from __future__ import annotations

import argparse

from logger.errors import one_line


def add_arguments(parser: argparse.ArgumentParser) -> None:
    del parser  # it takes none


def run(args: argparse.Namespace) -> int:
    from logger.ports import list_ports

    del args
    found = list_ports()
    for port in found:
        print(one_line(str(port)))
    if not found:
        print(f"no serial port found; plug the device in, and look again ({_usual()})")
    return 0


def _usual() -> str:
    import sys

    return {"win32": "usually COM3 or higher", "darwin": "usually /dev/cu.usbserial-*"}.get(
        sys.platform, "usually /dev/ttyUSB0 or /dev/ttyACM0"
    )
