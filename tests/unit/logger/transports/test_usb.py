"""A serial device that is found again by its USB numbers; the system's list of ports is replaced, because
no test can plug a device in."""

from __future__ import annotations

from pathlib import Path

import pytest
from serial.tools.list_ports_common import ListPortInfo
from support.systems import pseudo_terminals
from support.waiting import until
from support.yard import Yard, force, in_order, recording, serve_pty

from dashboard.cli import main
from logger.channels.sensors_file import for_recording, parse_sensors
from logger.errors import PortFault, SensorsFault
from logger.recorder.recorder import record
from logger.transports import serial
from logger.transports.serial import list_ports

VID, PID = 0x0403, 0x6001


class Sockets:
    """The USB sockets of a machine; plugged: device path -> serial number."""

    def __init__(self) -> None:
        self.plugged: dict[str, str | None] = {}

    def __call__(self) -> list[ListPortInfo]:
        """The list as pyserial gives it."""
        listed = []
        for path, number in self.plugged.items():
            port = ListPortInfo(path)
            port.vid, port.pid, port.serial_number, port.description = VID, PID, number, "a cell"
            listed.append(port)
        return [*listed, ListPortInfo("/dev/ttyS0")]


@pytest.fixture
def sockets(monkeypatch: pytest.MonkeyPatch) -> Sockets:
    made = Sockets()
    monkeypatch.setattr("serial.tools.list_ports.comports", made)
    return made


@pseudo_terminals
@pytest.mark.parametrize("port", ["usb:0403:6001", "usb:0403:6001:A7"])
def test_a_device_in_another_socket_is_the_same_device(
    tmp_path: Path, sockets: Sockets, port: str
) -> None:
    first = serve_pty()
    sockets.plugged[first.url] = "A7"
    yard = Yard(tmp_path, force(port))
    with recording(yard) as running:
        first.send(yard.lines(0, 10))
        until(lambda: len(yard.values()) == 10)
        first.close()
        sockets.plugged.clear()
        until(lambda: "disconnect" in yard.kinds())
        second = serve_pty()
        sockets.plugged[second.url] = "A7"
        until(lambda: yard.kinds().count("connect") == 2, 1.0)
        second.send(yard.lines(10, 10))
        until(lambda: len(yard.values()) == 20)
        running.end()
    second.close()
    assert in_order(yard.values())


@pseudo_terminals
def test_the_serial_number_tells_two_of_a_kind_apart(tmp_path: Path, sockets: Sockets) -> None:
    one, two = serve_pty(), serve_pty()
    sockets.plugged = {one.url: "A7", two.url: "B9"}
    yard = Yard(tmp_path, force("usb:0403:6001:B9"))
    with recording(yard) as running:
        one.send(yard.lines(5, 1))
        two.send(yard.lines(0, 1))
        until(lambda: yard.values() == [0.0])
        running.end()
    one.close()
    two.close()


def test_two_of_a_kind_without_a_serial_number_are_not_guessed(
    tmp_path: Path, sockets: Sockets
) -> None:
    sockets.plugged = {"/dev/ttyUSB0": "A7", "/dev/ttyUSB1": None}
    yard = Yard(tmp_path, force("usb:0403:6001"))
    with pytest.raises(
        PortFault, match="2 such devices are plugged in, /dev/ttyUSB0 and /dev/ttyUSB1"
    ):
        record(yard.rig, yard.sensors_file, yard.out, for_s=60.0)


def test_a_device_that_is_not_plugged_in_is_said(tmp_path: Path, sockets: Sockets) -> None:
    yard = Yard(tmp_path, force("usb:0403:6002"))
    with pytest.raises(PortFault, match="no such device is plugged in"):
        record(yard.rig, yard.sensors_file, yard.out, for_s=60.0)


@pytest.mark.parametrize(
    "port", ["usb:", "usb:0403", "usb:403:6001", "usb:0403:6001:", "usb:04G3:6001"]
)
def test_a_port_without_two_usb_numbers_is_refused(port: str) -> None:
    with pytest.raises(SensorsFault, match="usb:0403:6001"):
        parse_sensors(force(port), "s")


def test_it_needs_a_baud_rate_like_any_serial_port() -> None:
    text = force("usb:0403:6001")
    for_recording(parse_sensors(text, "s"))
    with pytest.raises(SensorsFault, match="baud is missing"):
        for_recording(parse_sensors(text.replace("baud = 115200\n", ""), "s"))


@pseudo_terminals
def test_the_ports_are_listed_with_what_finds_them_again(
    tmp_path: Path,
    sockets: Sockets,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What `haul ports` proposes opens the device that stands beside it."""
    device = tmp_path / "ttyUSB0"
    device.touch()
    links = tmp_path / "by-id"
    links.mkdir()
    link = links / "usb-Maker_Cell_A7-if00-port0"
    link.symlink_to("../ttyUSB0")
    monkeypatch.setattr(serial, "BY_ID", links)
    sockets.plugged[str(device)] = "A7"
    found, plain = sorted(list_ports(), key=lambda port: port.vid is None)
    assert (found.usb, found.by_id) == ("usb:0403:6001:A7", str(link))
    assert (plain.usb, plain.by_id) == (None, None)
    assert main(["ports"]) == 0
    row = next(r for r in capsys.readouterr().out.splitlines() if r.startswith(str(device)))
    assert row.split()[:3] == [str(device), "usb:0403:6001:A7", str(link)]
    parse_sensors(force("usb:0403:6001:A7"), "s")
