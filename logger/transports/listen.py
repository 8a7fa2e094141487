"""Reads a device that connects by TCP, `listen://ADDRESS:PORT`; ADDRESS is one of this machine.

One client is served at a time, and the connection of a second one is reset.
"""

from __future__ import annotations

import contextlib
import select
import socket
import struct
import sys
from collections.abc import Sequence

from logger import clock
from logger.channels.channel import Channel
from logger.channels.port_schemes import local_address
from logger.transports.base import CYCLE_S, WHOLE_AFTER_S, Chunk, Transport
from logger.transports.stream import Stream, gather_s
from logger.transports.udp import check_own, family_of

WAITING = 8  # connections that the system holds until they are taken or refused
# a client whose power failed never hangs up and would keep the next one out; chosen by us: it is
# given up after 5 s of silence and 3 unanswered probes, 2 s apart
IDLE_S, PROBE_S, PROBES = 5, 2, 3
_RESET = struct.pack(
    "hh" if sys.platform == "win32" else "ii", 1, 0
)  # SO_LINGER on, 0 s: closing resets the connection


class ListenTransport(Transport):
    """A TCP server; its stream is what its client sends.

    The server stays when its client goes, so that a client that comes back at once is not refused.
    """

    def __init__(self, port: str, channels: Sequence[Channel]) -> None:
        super().__init__(port, channels)
        self._server: socket.socket | None = None
        self._client: socket.socket | None = None
        self._stream: Stream | None = None
        self._accepted_s = 0.0
        self._left = False

    def open(self) -> None:
        """Listen; a client may come later.  See `Transport.open`."""
        if self._server is None:
            address = local_address(self.port)
            check_own(address)
            self._server = socket.create_server(address, family=family_of(address), backlog=WAITING)
            self._server.setblocking(False)

    def read(self) -> Chunk:
        """See `Transport.read`."""
        server = self._server
        if server is None:
            raise OSError("the server is not open")
        if self._stream is None:
            began = clock.now()
            if select.select([server], [], [], CYCLE_S)[0]:
                self._accept(server)
            return Chunk(began, began, b"")
        chunk = self._stream.read()
        self._left = chunk.lost is not None
        if not self._left:  # else those that wait are the next clients
            self._refuse_others(server)
        return chunk

    def send(self, question: bytes) -> None:
        """See `Transport.send`; without a client nobody answers."""
        if self._client is not None:
            self._client.sendall(question)

    def close(self) -> None:
        """Drop the client; stop listening, unless it was the client that left."""
        client, self._client, self._stream = self._client, None, None
        server = None if self._left else self._server
        if not self._left:
            self._server = None
        self._left = False
        for opened in (client, server):
            if opened is not None:
                opened.close()

    def first_line_torn(self, opened_s: float, silent_to_s: float) -> bool:
        """See `Transport.first_line_torn`; the stream begins with its client."""
        return silent_to_s - self._accepted_s < WHOLE_AFTER_S

    def _accept(self, server: socket.socket) -> None:
        with contextlib.suppress(OSError):  # it may be gone again
            client, _ = server.accept()
            client.setblocking(False)
            client.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
            for name, value in (
                ("TCP_KEEPIDLE", IDLE_S),
                ("TCP_KEEPINTVL", PROBE_S),
                ("TCP_KEEPCNT", PROBES),
            ):
                if hasattr(socket, name):
                    client.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
            self._client, self._stream = client, Stream(client, client.recv)
            self._stream.gather_s = gather_s(self.channels)
            self._accepted_s = clock.now()

    def _refuse_others(self, server: socket.socket) -> None:
        """Reset the connections that wait; at most WAITING, so that reading goes on."""
        for _ in range(WAITING):
            try:
                other, _ = server.accept()
            except OSError:
                return
            with contextlib.suppress(OSError):
                other.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, _RESET)
            other.close()
