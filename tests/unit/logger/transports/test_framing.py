"""Serial lines with a framing of their own, on pseudo-terminals."""

from __future__ import annotations

import os
import pty
import termios
import tty
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from support.channels import channel
from support.serial_wire import with_parity
from support.systems import pseudo_terminals
from support.waiting import until
from support.yard import Yard, recording, serve_pty, serve_tcp, silent_wire

from logger.channels.sensors_file import parse_sensors
from logger.errors import SensorsFault
from logger.transports.serial import SerialTransport

pytestmark = pseudo_terminals
SPEEDS = {9600: termios.B9600, 19200: termios.B19200}
LINE = b"12.5\r\n"


def cell(port: str, framing: str, baud: int = 9600, name: str = "force") -> str:
    return channel(
        name, "force", format="columns", column=1, unit="kg", port=port, baud=baud, framing=framing
    )


@pytest.fixture
def line() -> Iterator[tuple[int, int, str]]:
    """Master and slave of a pseudo-terminal, and the slave's path."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    yield master, slave, os.ttyname(slave)
    os.close(master)
    os.close(slave)


@pytest.mark.parametrize("baud", SPEEDS)
@pytest.mark.parametrize(
    ("framing", "size", "flags"),
    [("8N1", termios.CS8, 0), ("8N2", termios.CS8, termios.CSTOPB),
     ("7E1", termios.CS7, termios.PARENB), ("7N2", termios.CS7, termios.CSTOPB),
     ("7O2", termios.CS7, termios.PARENB | termios.PARODD | termios.CSTOPB),
     ("8O1", termios.CS8, termios.PARENB | termios.PARODD)],
)  # fmt: skip
def test_the_line_is_set_to_baud_and_framing(
    line: tuple[int, int, str],
    monkeypatch: pytest.MonkeyPatch,
    framing: str,
    size: int,
    flags: int,
    baud: int,
) -> None:
    """The system's own record shows it.  A pseudo-terminal of Linux always has eight data bits and no
    parity, so these two are read from what the terminal is asked for."""
    asked: list[int] = []
    real = termios.tcsetattr

    def set_attributes(fd: int, when: int, attributes: list[Any]) -> None:
        asked.append(attributes[2])
        real(fd, when, attributes)

    monkeypatch.setattr(termios, "tcsetattr", set_attributes)
    _, slave, path = line
    transport = SerialTransport(path, parse_sensors(cell(path, framing, baud), "s").channels)
    transport.open()
    try:
        record = termios.tcgetattr(slave)
    finally:
        transport.close()
    kept = termios.CSTOPB | termios.PARODD
    assert record[4] == record[5] == SPEEDS[baud]
    assert record[2] & kept == flags & kept
    assert asked[-1] & (kept | termios.PARENB | termios.CSIZE) == size | flags


@pytest.mark.parametrize("framing", ["7E1", "7O1"])
def test_a_device_of_seven_bits_is_read_without_its_parity(tmp_path: Path, framing: str) -> None:
    device = serve_pty()
    yard = Yard(tmp_path, cell(device.url, framing))
    with recording(yard) as running:
        silent_wire()
        device.send(with_parity(LINE * 3, odd=framing == "7O1"))
        until(lambda: yard.values() == [12.5] * 3)
        outcome = running.end()
    device.close()
    assert outcome.drops == {"force": 0}


def test_a_line_server_that_passes_the_parity_on_is_read_by_the_framing(tmp_path: Path) -> None:
    device = serve_tcp()
    yard = Yard(tmp_path, cell(device.url, "7E1"))
    with recording(yard) as running:
        until(lambda: device.wait_client(0.1))
        silent_wire()
        device.send(with_parity(LINE))
        until(lambda: yard.values() == [12.5])
        running.end()
    device.close()


def test_the_top_bit_stays_where_the_framing_says_eight_bits(tmp_path: Path) -> None:
    """Parity that nobody stated is noise, and no number comes of it."""
    device = serve_pty()
    yard = Yard(tmp_path, cell(device.url, "8N1"))
    with recording(yard) as running:
        silent_wire()
        device.send(with_parity(LINE))
        device.send(LINE)
        until(lambda: running.statuses and running.statuses[-1][1].drops["force"] >= 1)
        outcome = running.end()
    device.close()
    assert outcome.drops["force"] == 1


@pytest.mark.parametrize("framing", ["", "8N", "9N1", "8X1", "8n1", "6N1", "8N3", "8N1 ", "8N11"])
def test_a_framing_that_no_line_has_is_refused(framing: str) -> None:
    with pytest.raises(SensorsFault, match="is no framing"):
        parse_sensors(cell("/dev/ttyUSB0", framing), "s")


def test_channels_of_one_port_have_one_framing() -> None:
    one, two = cell("/dev/ttyUSB0", "7E1"), cell("/dev/ttyUSB0", "8N1", name="other")
    with pytest.raises(SensorsFault, match="framing differs from channel force's"):
        parse_sensors(one + two.replace("column = 1", "column = 2"), "s")
