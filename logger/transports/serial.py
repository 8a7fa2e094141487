"""Reads serial ports, and the URLs that pyserial opens like one."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger import clock
from logger.channels.channel import Channel
from logger.channels.framing import Framing, parse_framing
from logger.channels.port_schemes import normal_port, refusal, scheme_of, split_port
from logger.errors import PortFault, one_line
from logger.transports.base import CYCLE_S, Chunk, Transport, chunk_end
from logger.transports.stream import READ_BYTES, Stream, gather_s, terminal_bytes

PYSERIAL = ("", "hwgrep", "socket", "rfc2217")  # schemes that pyserial opens
# longest wait for a device that takes no question; chosen by us: its port is lost then
WRITE_S = 1.0
ANOTHER_RATE = 600  # any rate that every driver knows
BY_ID = Path("/dev/serial/by-id")  # links of Linux's udev, named after maker and serial number


@dataclass(frozen=True)
class PortInfo:
    """A serial port that the system lists."""

    device: str  # what to write as `port` in a sensors file
    description: str  # one line
    vid: int | None  # USB vendor's number
    pid: int | None  # USB product's number
    serial_number: str | None  # as the device states it
    usb: str | None  # port that finds the device by its USB numbers; None without them
    by_id: str | None  # link under /dev/serial/by-id to the device; None if there is none


def list_ports() -> tuple[PortInfo, ...]:
    """The serial ports of this machine, sorted by name."""
    from serial.tools import list_ports as ports

    listed, links = [], _links()
    for port in sorted(ports.comports()):
        usb = None
        if port.vid is not None and port.pid is not None:
            usb = f"usb:{port.vid:04X}:{port.pid:04X}"
            if port.serial_number:
                usb += f":{port.serial_number}"
        listed.append(
            PortInfo(
                device=port.device,
                description=one_line(port.description or "", 80),
                vid=port.vid,
                pid=port.pid,
                serial_number=port.serial_number,
                usb=usb,
                by_id=links.get(os.path.realpath(port.device)),
            )
        )
    return tuple(listed)


def _links() -> dict[str, str]:
    """Links under BY_ID by the device's path; {} on a system without them."""
    try:
        return {os.path.realpath(link): str(link) for link in sorted(BY_ID.iterdir())}
    except OSError:
        return {}


def open_port(url: str, baud: int | None, framing: Framing | None = None) -> Any:
    """Open a pyserial port; baud: bits per second (None: 9600); framing: None for 8N1.

    Raises PortFault if the scheme is none of PYSERIAL, else OSError (SerialException is one) or
    ValueError.
    """
    if scheme_of(url) is None or split_port(url)[0].lower() not in PYSERIAL:
        raise PortFault("port", *refusal(url))
    options: dict[str, Any] = {"baudrate": baud or 9600, "timeout": CYCLE_S}
    if framing is not None:
        options["bytesize"] = framing.data_bits
        options["parity"], options["stopbits"] = framing.parity, framing.stop_bits
    scheme, _ = split_port(url)
    if scheme.lower() in ("", "hwgrep"):
        options["exclusive"] = True  # a second reader would steal bytes
        options["write_timeout"] = WRITE_S
    try:
        return _opened(normal_port(url), options)
    except OSError as error:
        if held_elsewhere(error):
            raise OSError(errno.EBUSY, "another program has it open: close it") from None
        raise


def _opened(url: str, options: dict[str, Any]) -> Any:
    """Open a pyserial port; raises what pyserial raises.

    A pseudo-terminal takes neither parity nor seven data bits, and the C library reports a call that
    changed nothing as a fault (POSIX, tcsetattr). So where the rate is set already, it is moved first.
    """
    import serial

    try:
        return serial.serial_for_url(url, **options)
    except Exception as error:
        if isinstance(error, OSError | ValueError) or error.args[:1] != (errno.EINVAL,):
            raise
    plain = {**options, "bytesize": 8, "parity": "N", "stopbits": 1}
    other = ANOTHER_RATE if options["baudrate"] != ANOTHER_RATE else 2 * ANOTHER_RATE
    serial.serial_for_url(url, **{**plain, "baudrate": other}).close()
    return serial.serial_for_url(url, **options)


def held_elsewhere(error: OSError) -> bool:
    """Whether a port cannot be opened because another program has it.

    Linux and macOS refuse a port that is locked or open for one program alone (EAGAIN, EBUSY);
    Windows refuses every port that is open, with "access denied", the last argument of pyserial's
    text being the code 5.
    """
    if sys.platform == "win32":
        return "PermissionError" in str(error) or isinstance(error, PermissionError)
    return error.errno in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK)


class SerialTransport(Transport):
    """A port of pyserial; read as a `Stream` if it has a file descriptor."""

    def __init__(self, port: str, channels: Sequence[Channel]) -> None:
        super().__init__(port, channels)
        self._serial: Any = None
        self._stream: Stream | None = None

    def open(self) -> None:
        """See `Transport.open`."""
        baud, framing = self.channels[0].baud, parse_framing(self.channels[0].framing)
        self._serial = open_port(self.device(), baud, framing)
        self._stream = None
        if sys.platform != "win32":
            with contextlib.suppress(Exception):
                self._stream = _stream(self._serial.fileno(), (baud or 0) / framing.bits)
                self._stream.gather_s = gather_s(self.channels)

    def device(self) -> str:
        """What pyserial opens for this port now: a path or a URL; raises OSError."""
        return self.port

    def close(self) -> None:
        """See `Transport.close`."""
        self._serial.close()

    def send(self, question: bytes) -> None:
        """See `Transport.send`."""
        self._serial.write(question)

    def present(self) -> bool:
        """Whether the device's file exists; True for a URL, which has no file."""
        return split_port(self.port)[0] != "" or Path(self.port).exists()

    def read(self) -> Chunk:
        """See `Transport.read`."""
        if self._stream is not None:
            return self._stream.read()
        began, awake = clock.now(), clock.awake()
        data = bytes(self._serial.read(READ_BYTES))
        return Chunk(began, chunk_end(began, awake), data)


def _stream(fd: int, byte_rate: float) -> Stream:
    """The stream of an open port; byte_rate: bytes a second that its line carries at most."""
    return Stream(fd, lambda most: os.read(fd, most), terminal_bytes(fd), byte_rate)
