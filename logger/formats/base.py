"""Bytes from a port to readings: pure, incremental, never raising, never holding more than 4 kB.

A decoder takes chunks cut anywhere and gives the same readings and the same counts.  A block of
good lines goes through one regular expression; only a block that holds something else is looked
at line by line.  Readings stay text, as the device sent them.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from logger.channels.channel import Channel

MOST_LINE = 4096
SAMPLE = 120  # bytes of a dropped line that are kept
MOST_SAMPLES = 50  # of one chunk
FIRST_LINE = "first line after connecting"
OTHER = "not for a channel here"
NOT_DROPPED = (FIRST_LINE, OTHER)  # causes that are no loss of a reading
# possessive: what is a number's is never given back, and a block is matched in one go
NUMBER = (
    rb"[-+]?+(?:[0-9]{1,40}+(?:\.[0-9]{0,40}+)?+|\.[0-9]{1,40}+)(?:[eE][-+]?+[0-9]{1,2}+)?+"
)
A_NUMBER = re.compile(NUMBER)


def number_text(value: float) -> str:
    """A number as a device sends it: at most six decimals, no exponent."""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


@dataclass
class Decoded:
    """What one chunk held.  readings: the numbers as sent, in order, by channel; samples: cause
    and beginning of dropped lines (the first 50 of a chunk)."""

    readings: dict[str, list[bytes]] = field(default_factory=dict)
    samples: list[tuple[str, bytes]] = field(default_factory=list)


class Decoder(ABC):
    """The line splitter that the formats share; counts what is dropped.

    causes: dropped lines by cause so far; drops: losses by channel so far (a dropped line counts
    for every channel that it could have been for); unclear_line: the first that the sensors file
    leaves two ways to read, b"" where there was none.
    """

    detects_torn_lines = True  # whether the format shows that a line lacks its beginning

    def __init__(self, channels: Sequence[Channel]) -> None:
        self.channels = tuple(channels)
        self.names = tuple(channel.name for channel in channels)
        self.causes: Counter[str] = Counter()
        self.drops: dict[str, int] = dict.fromkeys(self.names, 0)
        self.foreign_line = b""
        self.unclear_line = b""
        self._tail = b""
        self._skipping = False
        self._first = False
        self._out = Decoded()

    def connected(self, torn: bool = True) -> None:
        """A port was opened: what was held is gone; torn: the next line may lack its beginning."""
        if self._tail or self._skipping:
            self._out = Decoded()
            self._drop("cut off by a disconnection", self._tail)
        self._tail, self._skipping, self._first = b"", False, torn

    def feed(self, chunk: bytes) -> Decoded:
        """The readings of all lines that this chunk completes."""
        out = self._out = Decoded()
        end = chunk.rfind(b"\n")
        if end < 0:
            self._hold(chunk)
            return out
        block = self._tail + chunk[: end + 1]
        self._tail = b""
        if self._skipping:
            self._skipping = False
            block = block[block.index(b"\n") + 1 :]
        if self._first and block:
            self._first = False
            line, _, block = block.partition(b"\n")
            self._first_line(line)
        if block and not self._block(block):
            for line in block[:-1].split(b"\n"):
                self._any_line(line)
        if end + 1 < len(chunk):
            self._hold(chunk[end + 1 :])
        return out

    def registers(self, numbers: Mapping[str, bytes]) -> Decoded:
        """The readings of a device that has registers in the place of lines: numbers by channel."""
        out = self._out = Decoded()
        for name, text in numbers.items():
            if A_NUMBER.fullmatch(text):
                self._take(name, text)
            else:
                self._drop("not a number", text, name)
        return out

    def _hold(self, piece: bytes) -> None:
        if self._skipping:
            return
        self._tail += piece
        if len(self._tail) > MOST_LINE:
            self._first = False
            self._drop("longer than 4 kB", self._tail)
            self._tail, self._skipping = b"", True

    def _any_line(self, line: bytes) -> None:
        if len(line) > MOST_LINE:
            self._drop("longer than 4 kB", line)
            return
        line = line.removesuffix(b"\r")
        if not line:
            return
        if not line.isascii():
            line = self._ascii_part(line)
            if not line:
                return
        self._line(line)

    def _ascii_part(self, line: bytes) -> bytes:
        """What can still be read of a line with foreign bytes; drops the line where nothing can."""
        self._drop("not ASCII", line)
        return b""

    def _first_line(self, line: bytes) -> None:
        """A line whose beginning may be missing: used where the format can tell, else set aside."""
        if len(line) > MOST_LINE:
            self._drop("longer than 4 kB", line)
        elif not self.detects_torn_lines:
            self._drop(FIRST_LINE, line)
        else:
            self._perhaps_torn(line)

    def _perhaps_torn(self, line: bytes) -> None:
        before, causes, drops = len(self._out.samples), self.causes.copy(), dict(self.drops)
        self._any_line(line)
        if self.causes != causes:
            # a torn first line is what every opening brings, and no fault of the device
            self.causes, self.drops = causes, drops
            del self._out.samples[before:]
            self._drop(FIRST_LINE, line)

    def _drop(self, cause: str, line: bytes, name: str | None = None) -> None:
        self.causes[cause] += 1
        if cause == OTHER:
            self.foreign_line = line[:SAMPLE]
        if cause not in NOT_DROPPED:
            for lost in self.names if name is None else (name,):
                self.drops[lost] += 1
        if len(self._out.samples) < MOST_SAMPLES and cause != OTHER:
            self._out.samples.append((cause, line[:SAMPLE]))

    @property
    def foreign_lines(self) -> int:
        """Whole lines so far that were for no channel here."""
        return self.causes[OTHER]

    def _take(self, name: str, text: bytes) -> None:
        self._out.readings.setdefault(name, []).append(text)

    def _block(self, block: bytes) -> bool:
        """Take a block of whole lines at once; False, with nothing taken, where it cannot."""
        return False

    @staticmethod
    @abstractmethod
    def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
        """One line of a port with its end, as its device would send it, that holds the values (in each
        channel's unit, by its name); at least one channel has one."""

    @abstractmethod
    def _line(self, line: bytes) -> None:
        """Take one whole line, or drop it."""
