"""Defines Transport, the interface to a device: it delivers timed chunks of bytes, or of numbers.

A new kind of connection is one subclass of Transport in a module of its own and one line in SCHEMES
of `logger/channels/port_schemes.py`.  The reader thread adds back-off, decoding and events.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from logger import clock
from logger.channels.channel import Channel
from logger.errors import one_line
from logger.formats.base import Failure

CYCLE_S = 0.02  # the longest that `Transport.read` waits for a device that sends by itself
WHOLE_AFTER_S = 0.05  # after so long a silence at the start, the next line is complete
_SLEPT_S = 0.1
_LOW_BITS = bytes(value & 0x7F for value in range(256))
# the reader is held up if it looks at its device again only after so long; chosen by us: 25 cycles,
# more than a busy machine keeps a thread waiting
STALL_S = 0.5


@dataclass(frozen=True)
class Chunk:
    """What a device sent between two moments.

    content: bytes of the stream, cut anywhere (b"" for nothing); or, for a device with registers in
        the place of lines, numbers by channel name, as text or as the format's decoder takes them
    """

    from_s: float  # `clock.now` at the first byte, s
    to_s: float  # `clock.now` at the last byte, s; see `chunk_end`
    content: bytes | Mapping[str, bytes]
    lost: str | None = None  # why the device is gone; None while it is connected
    more: bool = False  # whether further bytes were waiting when the chunk was cut
    doubt_from: int | None = None  # place in content behind which bytes may be missing
    failures: tuple[Failure, ...] = ()  # why registers gave no number


class Transport(ABC):
    """The connection to one device.

    The reader thread calls open, then read repeatedly, then close; after a loss it starts again
    with open.  No two calls run at the same time.
    """

    def __init__(self, port: str, channels: Sequence[Channel]) -> None:
        """port: as in the sensors file; channels: all channels of this port."""
        self.port, self.channels = port, tuple(channels)

    @abstractmethod
    def open(self) -> None:
        """Connect.  If it raises, it leaves nothing open; the reader reports why and retries."""

    @abstractmethod
    def read(self) -> Chunk:
        """What has arrived since the last call; returns within about CYCLE_S.

        An exception means that the device is lost; so does Chunk.lost, together with the last
        bytes.
        """

    def send(self, question: bytes) -> None:
        """Send a question to the device, for channels with `ask`; raises OSError."""
        raise OSError("nothing can be asked on this kind of port")

    @abstractmethod
    def close(self) -> None:
        """Disconnect, whether the device is lost or not.  The caller ignores exceptions."""

    def first_line_torn(self, opened_s: float, silent_to_s: float) -> bool:
        """Whether the first line may lack its beginning.

        opened_s: `clock.now` when the port was opened, s
        silent_to_s: until when it is known to have been silent, s.  The moment at which its first
            bytes are read does not tell: they may have waited for a reader that was held up.
        """
        return silent_to_s - opened_s < WHOLE_AFTER_S

    def present(self) -> bool:
        """Whether the device may be plugged in; the back-off ends early when this turns true."""
        return True


def seven_bits(chunk: Chunk) -> Chunk:
    """The chunk without the top bit of each byte, which a line of 7 data bits uses for its parity.

    Not every driver takes the parity bit off: a line server passes it on, and so does a
    pseudo-terminal.
    """
    if not isinstance(chunk.content, bytes):
        return chunk
    return replace(chunk, content=chunk.content.translate(_LOW_BITS))


def chunk_end(began_s: float, awake_s: float) -> float:
    """The end of a chunk that is complete now, in seconds of `clock.now`.

    began_s, awake_s: `clock.now` and `clock.awake` at its first byte.  If the machine slept since,
    the sleep is left out: the lines came before it and must not be spread over it.
    """
    passed, awake_for = clock.now() - began_s, clock.awake() - awake_s
    return began_s + (awake_for if passed - awake_for > _SLEPT_S else passed)


def error_text(error: BaseException) -> str:
    """The message of a driver's exception, as one line."""
    return one_line(str(getattr(error, "strerror", None) or error or type(error).__name__), 160)
