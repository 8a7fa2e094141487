"""A serial port that another program has open says so; pseudo-terminals, opened by another process."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.systems import pseudo_terminals

from logger.errors import PortFault
from logger.recorder.recorder import record
from logger.transports.base import error_text
from logger.transports.serial import open_port

HOLDS = """
import sys, serial
port = serial.Serial(sys.argv[1], exclusive=True)
print("open", flush=True)
sys.stdin.read()
"""
SENSORS = """[[channel]]
name = "pull"
quantity = "force"
at = "haul"
port = "{port}"
baud = 9600
format = "xdr"
id = "HAUL"
"""
BUSY = "another program has it open: close it"


@pytest.fixture
def busy() -> Iterator[str]:
    """The path of a pseudo-terminal that another process has open for itself."""
    import os
    import pty

    mine, other = pty.openpty()
    path = os.ttyname(other)
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDS, path],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert holder.stdout is not None and holder.stdout.readline() == "open\n"
    try:
        yield path
    finally:
        holder.communicate()
        os.close(mine)
        os.close(other)


@pseudo_terminals
def test_a_port_that_another_program_holds_says_so(busy: str) -> None:
    with pytest.raises(OSError) as found:
        open_port(busy, 9600)
    assert error_text(found.value) == BUSY


def test_a_port_that_is_not_there_says_something_else(tmp_path: Path) -> None:
    with pytest.raises(OSError) as found:
        open_port(str(tmp_path / "ttyUSB9"), 9600)
    assert BUSY not in error_text(found.value)


@pseudo_terminals
def test_a_recording_names_the_port_and_what_to_do(busy: str, tmp_path: Path) -> None:
    sensors = tmp_path / "sensors.toml"
    sensors.write_text(SENSORS.format(port=busy), encoding="utf-8")
    (tmp_path / "rig.toml").write_text("", encoding="utf-8")
    with pytest.raises(PortFault) as found:
        record(tmp_path / "rig.toml", sensors, tmp_path / "out")
    assert found.value.file == busy
    assert found.value.fault == f"no port opens: {BUSY}"
    assert not (tmp_path / "out").exists()


@pseudo_terminals
def test_each_port_that_does_not_open_says_why(busy: str, tmp_path: Path) -> None:
    sensors = tmp_path / "sensors.toml"
    text = SENSORS.format(port=busy) + SENSORS.format(port=tmp_path / "ttyUSB9")
    sensors.write_text(text.replace('"pull"', '"other"', 1), encoding="utf-8")
    (tmp_path / "rig.toml").write_text("", encoding="utf-8")
    with pytest.raises(PortFault) as found:
        record(tmp_path / "rig.toml", sensors, tmp_path / "out")
    assert f"{BUSY}; {tmp_path / 'ttyUSB9'}: " in found.value.fault
