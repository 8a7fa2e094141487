"""Reads what another program prints, `stdin:`: the recorder's standard input."""

from __future__ import annotations

import os
import select
import sys
from collections.abc import Sequence

from logger import clock
from logger.channels.channel import Channel
from logger.transports.base import Chunk, Transport
from logger.transports.stream import READ_BYTES, Stream, gather_s

INPUT = 0  # file descriptor of the standard input


class StdinTransport(Transport):
    """The standard input.  After its end it opens again once there is more, as in a named pipe."""

    def __init__(self, port: str, channels: Sequence[Channel]) -> None:
        super().__init__(port, channels)
        self._ended = False
        self._first = b""
        self._stream: Stream | None = None

    def open(self) -> None:
        """See `Transport.open`."""
        if sys.platform == "win32":
            raise OSError("this system cannot wait for standard input: use socket:// or udp://")
        os.fstat(INPUT)  # raises if it is closed
        if self._ended:
            ready = select.select([INPUT], [], [], 0)[0]
            self._first = os.read(INPUT, READ_BYTES) if ready else b""
            if not self._first:
                raise OSError("standard input has ended")
            self._ended = False
        self._stream = Stream(INPUT, lambda most: os.read(INPUT, most))
        self._stream.gather_s = gather_s(self.channels)

    def read(self) -> Chunk:
        """See `Transport.read`."""
        if self._stream is None:
            raise OSError("standard input is not open")
        if self._first:
            now, first = clock.now(), self._first
            self._first = b""
            return Chunk(now, now, first)
        chunk = self._stream.read()
        self._ended = chunk.lost is not None
        return chunk

    def close(self) -> None:
        """See `Transport.close`; the descriptor stays, since the program may use it."""
        self._stream = None

    def first_line_torn(self, opened_s: float, silent_to_s: float) -> bool:
        """False: a program begins with a line."""
        return False
