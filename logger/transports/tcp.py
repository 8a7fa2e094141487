"""Reads a device behind a TCP server, `socket://HOST:PORT`.

pyserial's socket is not used: it discards what a device sends while the connection is opened, and
what it has read when the connection ends in the same call.
"""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Sequence
from urllib.parse import urlsplit

from logger.channels.channel import Channel
from logger.errors import PortFault
from logger.transports.base import Chunk, Transport
from logger.transports.stream import Stream, gather_s

CONNECT_S = 5.0  # longest wait for the connection; chosen by us: as long as pyserial waits


class TcpTransport(Transport):
    """A TCP connection to a device that listens."""

    def __init__(self, port: str, channels: Sequence[Channel]) -> None:
        super().__init__(port, channels)
        self._socket: socket.socket | None = None
        self._stream: Stream | None = None

    def open(self) -> None:
        """See `Transport.open`."""
        self._socket = opened = socket.create_connection(address_of(self.port), CONNECT_S)
        opened.setblocking(False)
        self._stream = Stream(opened, opened.recv)
        self._stream.gather_s = gather_s(self.channels)

    def read(self) -> Chunk:
        """See `Transport.read`."""
        if self._stream is None:
            raise OSError("the connection is not open")
        return self._stream.read()

    def send(self, question: bytes) -> None:
        """See `Transport.send`; a device that takes nothing is lost."""
        if self._socket is not None:
            self._socket.sendall(question)

    def close(self) -> None:
        """See `Transport.close`."""
        opened, self._socket, self._stream = self._socket, None, None
        if opened is not None:
            with contextlib.suppress(OSError):
                opened.shutdown(socket.SHUT_RDWR)
            opened.close()


def address_of(url: str) -> tuple[str, int]:
    """Host and TCP port of a URL `socket://HOST:PORT`; raises PortFault if it has none."""
    try:
        parts = urlsplit(url)
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if not host or port is None:
        raise PortFault(url, "names no host and TCP port", "write socket://HOST:PORT")
    return host, port
