"""Reads a device that sends datagrams, `udp://ADDRESS:PORT`; ADDRESS is one of this machine.

A datagram is one or more whole lines, so the last of them needs no end.
"""

from __future__ import annotations

import socket
from collections.abc import Sequence

from logger.channels.channel import Channel
from logger.channels.port_schemes import local_address
from logger.formats.line_ends import ETX, STX
from logger.transports.base import Chunk, Transport
from logger.transports.stream import Stream, gather_s

MOST_DATAGRAM = 65536  # no datagram is longer (RFC 768: its length has 16 bits)
BUFFER_BYTES = 1 << 20  # asked of the system, so that a held-up recorder loses less


class UdpTransport(Transport):
    """A UDP socket that takes the datagrams of every sender."""

    def __init__(self, port: str, channels: Sequence[Channel]) -> None:
        super().__init__(port, channels)
        self._socket: socket.socket | None = None
        self._stream: Stream | None = None

    def open(self) -> None:
        """See `Transport.open`."""
        address = local_address(self.port)
        check_own(address)
        self._socket = opened = socket.socket(family_of(address), socket.SOCK_DGRAM)
        try:
            opened.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER_BYTES)
            opened.bind(address)
            opened.setblocking(False)
        except OSError:
            self.close()
            raise
        end = line_end(self.channels)
        self._stream = Stream(opened, lambda most: whole_lines(opened.recv(MOST_DATAGRAM), end))
        self._stream.gather_s = gather_s(self.channels)

    def read(self) -> Chunk:
        """See `Transport.read`."""
        if self._stream is None:
            raise OSError("the socket is not open")
        return self._stream.read()

    def close(self) -> None:
        """See `Transport.close`."""
        opened, self._socket, self._stream = self._socket, None, None
        if opened is not None:
            opened.close()

    def first_line_torn(self, opened_s: float, silent_to_s: float) -> bool:
        """False: a datagram begins with a line."""
        return False


def line_end(channels: Sequence[Channel]) -> bytes:
    """What ends a line of these channels' port."""
    ends = channels[0].ends if channels else None
    named = {None: b"\n", "lf": b"\n", "cr": b"\r", "crlf": b"\r\n", "etx": ETX}
    return named.get(ends) or (ends or "").encode("ascii")


def whole_lines(datagram: bytes, end: bytes) -> bytes:
    """The lines of a datagram, each with its end; where that is ETX, with an STX before the first."""
    if end == ETX and STX not in datagram:
        datagram = STX + datagram
    return datagram if datagram.endswith(end) else datagram + end


def family_of(address: tuple[str, int]) -> socket.AddressFamily:
    """The family of an address with an IP literal: IPv6 if it holds a colon."""
    return socket.AF_INET6 if ":" in address[0] else socket.AF_INET


def check_own(address: tuple[str, int]) -> None:
    """Raise OSError if no interface of this machine has the address.

    TCP is asked, because a UDP socket may also take an address that many machines share.
    """
    with socket.socket(family_of(address), socket.SOCK_STREAM) as probe:
        try:
            probe.bind((address[0], 0))
        except OSError:
            raise OSError(
                f"{address[0]} is no address of this machine: write one that it has, such as "
                "127.0.0.1"
            ) from None
