"""Serial ports: one thread a port URL that reads timed chunks, decodes them and reconnects."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger import clock
from logger.channels.port_schemes import ALLOWED, normal_port, refusal, split_port
from logger.channels.sensors_file import Channel
from logger.errors import PortFault, one_line
from logger.formats.base import Decoded
from logger.formats.registry import decoder_for

CYCLE_S = 0.02
READ_BYTES = 4096
MOST_CHUNK = 65536
BUSY_BYTES = 8192  # of one cycle: from here on the port is read without a pause
SLEPT_S = 0.1
WHOLE_AFTER_S = 0.05  # silence after opening that shows that the next line is whole
# doubling, but never beyond what leaves the first row within 1 s of a device's return
BACK_OFF_S, MOST_BACK_OFF_S = 0.2, 0.5


@dataclass(frozen=True)
class Arrival:
    """What one chunk held; its lines arrived between from_s and to_s (seconds of `clock.now`)."""

    port: str
    from_s: float
    to_s: float
    decoded: Decoded


@dataclass(frozen=True)
class PortEvent:
    """A port was connected or lost.  kind: connect or disconnect."""

    port: str
    time_s: float
    kind: str
    text: str


@dataclass(frozen=True)
class PortInfo:
    """A serial port that the system lists; hwgrep: a URL that finds it by its USB ids."""

    device: str
    description: str
    vid: int | None
    pid: int | None
    serial_number: str | None
    hwgrep: str | None


def list_ports() -> tuple[PortInfo, ...]:
    """The serial ports of this machine, in order of their names."""
    from serial.tools import list_ports as ports

    found = []
    for port in sorted(ports.comports()):
        grep = None
        if port.vid is not None and port.pid is not None:
            grep = f"hwgrep://{port.vid:04X}:{port.pid:04X}"
            if port.serial_number:
                grep += f".*{port.serial_number}"
        found.append(PortInfo(
            port.device, one_line(port.description or "", 80), port.vid, port.pid,
            port.serial_number, grep,
        ))
    return tuple(found)


def open_port(url: str, baud: int | None) -> Any:
    """The pyserial port; raises PortFault where its scheme is none of `schemes`, else OSError
    (SerialException is one) or ValueError."""
    import serial

    if why := refusal(url):
        raise PortFault("port", why, f"write {ALLOWED}")
    options: dict[str, Any] = {"baudrate": baud or 9600, "timeout": CYCLE_S}
    scheme, _ = split_port(url)
    if scheme.lower() in ("", "hwgrep"):
        options["exclusive"] = True  # a second reader would steal bytes
    return serial.serial_for_url(normal_port(url), **options)


class _Source:
    """Chunks of an open port.  Where the system gives a file number it is read directly:
    pyserial's own read drops what it has when the port goes away, and wakes at every byte."""

    def __init__(self, port: Any) -> None:
        self._port = port
        self._fd = -1
        self._busy = False
        if sys.platform != "win32":
            with contextlib.suppress(Exception):
                self._fd = port.fileno()

    def read(self) -> tuple[bytes, float, float, str | None]:
        """Bytes, when the first was there, when the last was; and why the port is gone, or None.

        Waits CYCLE_S for the first byte, then CYCLE_S for company unless the port is busy.
        """
        if self._fd < 0:
            began, awake = clock.now(), clock.awake()
            try:
                data = bytes(self._port.read(READ_BYTES))
            except Exception as error:  # pyserial lets TypeError and others out on a lost port
                return b"", began, began, _reason(error)
            return data, began, _ended(began, awake), None
        return self._read_fd()

    def _read_fd(self) -> tuple[bytes, float, float, str | None]:
        import select

        parts: list[bytes] = []
        size = 0
        began, awake = clock.now(), clock.awake()
        gone = None
        try:
            if not select.select([self._fd], [], [], CYCLE_S)[0]:
                self._busy = False
                return b"", began, began, None
            began, awake = clock.now(), clock.awake()
            if not self._busy:
                time.sleep(CYCLE_S)
            while size < MOST_CHUNK:
                if parts and not select.select([self._fd], [], [], 0)[0]:
                    break
                data = os.read(self._fd, READ_BYTES)
                if not data:
                    gone = "the other side closed it"
                    break
                parts.append(data)
                size += len(data)
                if self._busy and size >= READ_BYTES:
                    break
        except BlockingIOError:
            pass
        except (OSError, ValueError) as error:
            gone = _reason(error)
        if not self._busy:
            self._busy = size >= BUSY_BYTES
        return b"".join(parts), began, _ended(began, awake), gone


def _ended(began: float, awake: float) -> float:
    """Now; or where the machine slept since, when it would have been without the sleep: the lines
    of a chunk came before it, and must not be spread over it."""
    passed, awake_for = clock.now() - began, clock.awake() - awake
    return began + (awake_for if passed - awake_for > SLEPT_S else passed)


class PortReader(threading.Thread):
    """Reads one port until `stop`; hands Arrival and PortEvent to `deliver`, in order.

    deliver must not block.  tried: set after the first attempt to open; opened: whether the port
    is open now; fault: why it is not; quiet: set when nothing more will be delivered.
    """

    def __init__(
        self, url: str, baud: int | None, channels: Sequence[Channel],
        deliver: Callable[[Arrival | PortEvent], None],
    ) -> None:
        super().__init__(name=f"port {url}", daemon=True)
        self.url, self.baud = url, baud
        self.decoder = decoder_for(channels)
        self.tried = threading.Event()
        self.quiet = threading.Event()
        self.opened = False
        self.fault = ""
        self._deliver = deliver
        self._halt = threading.Event()

    def stop(self) -> None:
        """Ask the thread to end; it does within a cycle where the port is open."""
        self._halt.set()

    def run(self) -> None:
        try:
            while not self._halt.is_set():
                try:
                    self._run()
                except Exception as error:  # our own fault must not end the reading
                    self.opened, self.fault = False, _reason(error)
                    self.tried.set()
                    self._say("disconnect", f"fault in the reader: {self.fault}")
                    self._pause(BACK_OFF_S)
        finally:
            self.quiet.set()

    def _run(self) -> None:
        wait = BACK_OFF_S
        told = False
        while not self._halt.is_set():
            try:
                port = open_port(self.url, self.baud)
            except Exception as error:  # whatever a driver throws must not end the reading
                self.fault = _reason(error)
                self.tried.set()
                if not told:
                    self._say("disconnect", f"cannot be opened: {self.fault}")
                    told = True
                self._pause(wait)
                wait = min(2 * wait, MOST_BACK_OFF_S)
                continue
            self.opened, self.fault = True, ""
            self.tried.set()
            told, wait = True, BACK_OFF_S
            self._say("connect", "")
            try:
                self.fault = self._read_on(_Source(port))
            finally:
                self.opened = False
                if self._halt.is_set():
                    self.quiet.set()  # before closing, which takes pyserial 0.3 s on a socket
                with contextlib.suppress(Exception):
                    port.close()
            if not self._halt.is_set():
                self._say("disconnect", self.fault)
                self._pause(BACK_OFF_S)

    def _read_on(self, source: _Source) -> str:
        """Read until the port is gone, or `stop`; the reason."""
        decoder = self.decoder
        opened_at = clock.now()
        started = False
        decoder.connected()
        while True:
            halting = self._halt.is_set()
            data, from_s, to_s, gone = source.read()
            if data:
                if not started:
                    started = True
                    decoder.connected(torn=from_s - opened_at < WHOLE_AFTER_S)
                decoded = decoder.feed(data)
                if decoded.readings or decoded.samples:
                    self._deliver(Arrival(self.url, from_s, to_s, decoded))
            if gone is not None:
                return gone
            if halting:  # one last read has taken what had arrived by then
                return "stopped"

    def _say(self, kind: str, text: str) -> None:
        self._deliver(PortEvent(self.url, clock.now(), kind, text))

    def _pause(self, wait: float) -> None:
        """Back-off; cut short when a device file that was missing appears."""
        path = Path(self.url) if "://" not in self.url else None
        missing = path is not None and not path.exists()
        until = time.monotonic() + wait
        while (left := until - time.monotonic()) > 0:
            if self._halt.wait(min(left, BACK_OFF_S)):
                return
            if missing and path is not None and path.exists():
                return


def _reason(error: BaseException) -> str:
    strerror = getattr(error, "strerror", None)
    return one_line(str(strerror or error or type(error).__name__), 160)
