"""Serves simulated devices on a pseudo-terminal or over TCP (tests, demo, `haul simulate`).

The recorder reads them like real devices.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import sys
import threading
import time
from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

from logger.channels.channel import Channel
from logger.errors import PortFault
from logger.formats.registry import encode

Row = tuple[float, Mapping[str, float]]  # time in s, values by channel, each in its channel's unit


class Device(Protocol):
    """A simulated device; url: the port under which a recorder opens it."""

    url: str

    def send(self, data: bytes, timeout_s: float = 0.0) -> int:
        """Send `data`; returns how many bytes were taken.

        What the reader does not take within timeout_s is lost, as on a real line.
        """

    def close(self) -> None:
        """Disconnect the device, as if it were unplugged."""


class PtyDevice:
    """A device on a pseudo-terminal in raw mode; url: its device file."""

    def __init__(self) -> None:
        if sys.platform == "win32":
            raise PortFault("pty", "this system has no pseudo-terminals", "serve the device on TCP")
        import pty
        import tty

        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.url = os.ttyname(self._slave)
        self._lock = threading.Lock()

    def send(self, data: bytes, timeout_s: float = 0.0) -> int:
        """See `Device.send`."""
        until = time.monotonic() + timeout_s
        view = memoryview(data)
        while view:
            with self._lock:
                if self._master < 0:
                    break
                try:
                    view = view[os.write(self._master, view[:4096]) :]
                    continue
                except BlockingIOError:
                    pass
                except OSError:
                    break
                fd = self._master
            left = until - time.monotonic()
            if left <= 0 or not _writable(fd, min(left, 0.1)):
                if left <= 0:
                    break
                continue
        return len(data) - len(view)

    def close(self) -> None:
        """See `Device.close`."""
        with self._lock:
            for fd in (self._master, self._slave):
                if fd >= 0:
                    os.close(fd)
            self._master = self._slave = -1


class TcpDevice:
    """A device behind a TCP server on 127.0.0.1; every client gets what is sent.

    port: TCP port (0: a free one); url: its socket:// URL
    """

    def __init__(self, port: int = 0) -> None:
        if not 0 <= port <= 65535:
            raise OverflowError("a TCP port is a number from 0 to 65535")
        self._server = socket.create_server(("127.0.0.1", port))
        self.port = int(self._server.getsockname()[1])
        self.url = f"socket://127.0.0.1:{self.port}"
        self._clients: list[socket.socket] = []
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._accept, daemon=True, name=self.url)
        self._thread.start()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._server.accept()
            except OSError:
                return
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with self._lock:
                self._clients.append(client)

    def wait_client(self, timeout_s: float = 5.0) -> bool:
        """Wait up to timeout_s for a client; returns whether one is connected."""
        until = time.monotonic() + timeout_s
        while time.monotonic() < until:
            with self._lock:
                if self._clients:
                    return True
            time.sleep(0.005)
        return False

    def send(self, data: bytes, timeout_s: float = 0.0) -> int:
        """See `Device.send`; a client that does not take it within 0.5 s or more is dropped."""
        with self._lock:
            clients = list(self._clients)
        taken = 0
        for client in clients:
            client.settimeout(max(timeout_s, 0.5))
            try:
                client.sendall(data)
                taken = len(data)
            except OSError:
                self._drop(client)
        return taken

    def _drop(self, client: socket.socket) -> None:
        with self._lock:
            if client in self._clients:
                self._clients.remove(client)
        client.close()

    def drop_clients(self) -> None:
        """Close every connection and go on listening."""
        with self._lock:
            clients, self._clients = self._clients, []
        for client in clients:
            with contextlib.suppress(OSError):
                client.shutdown(socket.SHUT_RDWR)
            client.close()

    def close(self) -> None:
        """See `Device.close`."""
        with contextlib.suppress(OSError):
            self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self.drop_clients()
        self._thread.join(1.0)


def serve_pty() -> PtyDevice:
    """A device on a new pseudo-terminal; raises PortFault if the system has none."""
    try:
        return PtyDevice()
    except OSError as error:
        raise PortFault(
            "pty", f"cannot be made ({error.strerror})", "serve the device on TCP"
        ) from None


def serve_tcp(port: int = 0) -> TcpDevice:
    """A device on a TCP port of 127.0.0.1 (0: a free one); raises PortFault."""
    try:
        return TcpDevice(port)
    except (OSError, OverflowError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PortFault(
            f"TCP port {port}",
            f"cannot be served ({reason})",
            "give another port, or 0 for a free one",
        ) from None


class Player:
    """Sends rows through devices at the rows' own pace.

    rows: (time in s, values by channel, each in its channel's unit)
    speed: seconds of the rows per second of the clock; None: as fast as the readers take them
    sent: rows sent so far
    """

    def __init__(
        self,
        devices: Sequence[tuple[Device, Sequence[Channel]]],
        rows: Iterable[Row],
        speed: float | None = 1.0,
    ) -> None:
        self._devices = [(device, tuple(channels)) for device, channels in devices]
        self._rows = rows
        self._speed = speed
        self._halt = threading.Event()
        self._thread = threading.Thread(target=self.run, daemon=True, name="player")
        self.sent = 0

    def start(self) -> Player:
        """Send in a thread of its own; returns the player."""
        self._thread.start()
        return self

    def run(self) -> None:
        """Send in the calling thread until the last row or `stop`."""
        began = time.monotonic()
        first: float | None = None
        for time_s, values in self._rows:
            if first is None:
                first = time_s
            if self._speed is not None:
                wait = (time_s - first) / self._speed - (time.monotonic() - began)
                if wait > 0 and self._halt.wait(wait):
                    return
            if self._halt.is_set():
                return
            for device, channels in self._devices:
                line = encode(channels, values)
                if line:
                    device.send(line, 10.0 if self._speed is None else 0.0)
            self.sent += 1

    def join(self, timeout_s: float | None = None) -> bool:
        """Wait up to timeout_s for the end; returns whether it has come."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def stop(self) -> None:
        """End before the last row."""
        self._halt.set()
        if self._thread.is_alive():
            self._thread.join(2.0)


def _writable(fd: int, timeout_s: float) -> bool:
    try:
        return bool(select.select([], [fd], [], timeout_s)[1])
    except (OSError, ValueError):
        return False
