"""What every device gives, however it is connected: timed chunks of bytes, or numbers of registers.

A new kind of connection is one subclass of Transport in a module of its own and one line in SCHEMES of
`logger/channels/port_schemes.py`. The reader thread does the rest: back-off, decoding, events.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from logger import clock
from logger.channels.channel import Channel
from logger.errors import one_line

CYCLE_S = 0.02  # the longest that `Transport.read` waits for a device that sends by itself
_SLEPT_S = 0.1


@dataclass(frozen=True)
class Chunk:
    """What a device gave between two moments of `clock.now`."""

    from_s: float  # when the first of it was there
    to_s: float  # when the last of it was there; see `ended`
    # a piece of a stream, cut anywhere, b"" for nothing; or numbers as text by channel name, for a
    # device without lines
    content: bytes | Mapping[str, bytes]
    lost: str | None = None  # why the device is gone, None while it is there


class Transport(ABC):
    """One device under its port's name. The methods run in the thread of one reader, in turn: open,
    read again and again, close; then open anew where the device was lost."""

    def __init__(self, port: str, channels: Sequence[Channel]) -> None:
        """port: as in the sensors file; channels: all that stand on it, with their keys."""
        self.port, self.channels = port, tuple(channels)

    @abstractmethod
    def open(self) -> None:
        """Connect. Where it raises, nothing stays open; the reason is told, and it is tried again."""

    @abstractmethod
    def read(self) -> Chunk:
        """What has come since, within about CYCLE_S. An exception means that the device is lost;
        Chunk.lost says so together with the last bytes."""

    @abstractmethod
    def close(self) -> None:
        """Let the device go, lost or not. What it raises is ignored."""

    def present(self) -> bool:
        """Whether the device can be there; a wait for it ends once this turns true."""
        return True


def ended(began: float, awake: float) -> float:
    """The end of a chunk whose first byte came at `clock.now` began, `clock.awake` awake: now; or,
    where the machine slept since, when it would have been without the sleep: the lines of a chunk
    came before it, and must not be spread over it."""
    passed, awake_for = clock.now() - began, clock.awake() - awake
    return began + (awake_for if passed - awake_for > _SLEPT_S else passed)


def reason(error: BaseException) -> str:
    """What an exception of a driver says, as one line."""
    return one_line(str(getattr(error, "strerror", None) or error or type(error).__name__), 160)
