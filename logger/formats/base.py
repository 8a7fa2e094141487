"""Decodes bytes from a port into readings, chunk by chunk; never raises and never holds over 4 kB.

The readings and counts do not depend on where the bytes are cut into chunks.  One regular
expression matches a block of good lines; a block with any other line is decoded line by line.
Readings stay text, as the device sent them.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from logger.channels.channel import Channel
from logger.formats.line_ends import STX, LineEnds

MOST_LINE = 4096
SAMPLE = 120  # bytes kept of a dropped line
MOST_SAMPLES = 50  # dropped lines kept of one chunk
FIRST_LINE = "first line after connecting"
OTHER = "not for a channel here"
OVERFLOW = "across an overflow of the system's buffer"
FLOOD = "in a flood, not looked at"
HEAD = 256  # bytes kept of what a device sends first
NOT_DROPPED = (FIRST_LINE, OTHER)  # causes that count as no loss of a reading
# possessive quantifiers (++, ?+), so that matching a block never backtracks
NUMBER = rb"[-+]?+(?:[0-9]{1,40}+(?:\.[0-9]{0,40}+)?+|\.[0-9]{1,40}+)(?:[eE][-+]?+[0-9]{1,2}+)?+"
A_NUMBER = re.compile(NUMBER)


def number_text(value: float) -> str:
    """`value` (any unit) as a device sends it: at most six decimals, no exponent."""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


@dataclass
class Decoded:
    """What one chunk held.

    readings: the numbers as sent, in order, by channel
    samples: (cause, first 120 bytes) of each dropped line, the first 50 of the chunk
    times: for each reading of a channel that has it, the device's own time in its numbers, NaN for none
    overloads: for each line that tells an overload, how many readings of the chunk came before it, by channel
    """

    readings: dict[str, list[bytes]] = field(default_factory=dict)
    samples: list[tuple[str, bytes]] = field(default_factory=list)
    times: dict[str, list[float]] = field(default_factory=dict)
    overloads: dict[str, list[int]] = field(default_factory=dict)

    def add(self, later: Decoded) -> None:
        """Add what came behind it."""
        if later.readings or later.samples or later.overloads:
            for name, counts in later.overloads.items():
                before = len(self.readings.get(name, ()))
                self.overloads.setdefault(name, []).extend(before + count for count in counts)
            for name, texts in later.readings.items():
                self.readings.setdefault(name, []).extend(texts)
            for name, times in later.times.items():
                self.times.setdefault(name, []).extend(times)
            self.samples.extend(later.samples[: MOST_SAMPLES - len(self.samples)])


@dataclass(frozen=True)
class Failure:
    """Why a device with registers in place of lines gave no number."""

    names: tuple[str, ...]  # channels that were asked for
    cause: str  # as rejects.csv tells it
    sent: bytes  # what came, or else the question
    lost: bool = True  # whether something came, so that readings count as lost
    silent: bool = False  # whether no whole answer came in time
    sampled: bool = True  # whether it is kept as a sample


class Decoder(ABC):
    """Splits a port's bytes into lines, decodes them, and counts drops; base of all formats.

    channels: the channels of the port
    names: their names
    causes: dropped lines so far, by cause
    drops: lost readings so far, by channel; a dropped line counts for every channel that it may
        have been for
    lines: complete lines so far that were not blank, without a torn first one
    understood: lines so far that gave a reading
    head: the first bytes since connecting, as sent
    column_change: numbers in a line before and since the last change that was learned; None: none
    foreign_line: beginning of the latest line for no channel of this port; b"" if there was none
    unclear_line: beginning of the first ambiguous line, which the sensors file lets be read in two
        ways; b"" if there was none
    """

    block_takes_crlf = False  # whether `_block` takes lines that end with CRLF, and no other CR
    asks = False  # whether the device answers only when it is asked
    detects_torn_lines = True  # whether the format shows that a line lacks its beginning

    def __init__(self, channels: Sequence[Channel]) -> None:
        self.channels = tuple(channels)
        self.names = tuple(channel.name for channel in channels)
        self.causes: Counter[str] = Counter()
        self.drops: dict[str, int] = dict.fromkeys(self.names, 0)
        self.lines = 0
        self.understood = 0
        self.head = b""
        self.column_change: tuple[int, int] | None = None
        self.foreign_line = b""
        self.unclear_line = b""
        self._timed = frozenset(channel.name for channel in channels if channel.has_time)
        self._ends = LineEnds(channels[0].ends)
        self._tail = b""
        self._skipping = False
        self._first = False
        self._doubtful = False
        self._took = False
        self._out = Decoded()

    def connected(self, torn: bool = True) -> None:
        """Start anew on an opened port: drop an incomplete line.

        torn: whether the next line may lack its beginning.
        """
        if self._tail or self._skipping:
            self._out = Decoded()
            self._drop("cut off by a disconnection", self._tail)
        self._tail, self._skipping, self._first = b"", False, torn
        self._ends.start()
        self._doubtful, self.head = False, b""

    def forget(self) -> None:
        """Leave an incomplete line, without counting it."""
        self._tail, self._skipping = b"", False
        self._ends.start()

    @property
    def incomplete(self) -> bool:
        """Whether a line is begun and not ended."""
        return bool(self._tail) or self._skipping

    def feed(self, chunk: bytes) -> Decoded:
        """Decode all lines that this chunk completes; keep its last, incomplete line."""
        if len(self.head) < HEAD:
            self.head += chunk[: HEAD - len(self.head)]
        if self.block_takes_crlf and self._fed_at_once(chunk):
            return self._out
        return self._feed(self._ends.normal(chunk))

    def _fed_at_once(self, chunk: bytes) -> bool:
        """Decode a chunk whose complete lines are all good as it is, without rewriting its line ends;
        False, with nothing taken, where that cannot be."""
        end = chunk.rfind(b"\n") + 1
        if not end or self._first or self._doubtful or self._skipping or not self._ends.between:
            return False
        block, rest = self._tail + chunk[:end], chunk[end:]
        out = self._out = Decoded()
        if not self._block(block):
            return False
        count = block.count(b"\n")
        self.lines += count
        self.understood += count
        self._tail = b""
        self._ends.at_line()
        if rest:
            out.add(self._feed(self._ends.normal(rest)))
            self._out = out
        return True

    def pause(self) -> Decoded:
        """Decode the line that a silence of `line_ends.PAUSE_S` ends."""
        return self._feed(self._ends.pause())

    def _feed(self, chunk: bytes) -> Decoded:
        """Decode a chunk in which LF ends each line."""
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
            torn, stx, whole = line.rpartition(STX)
            if stx and len(line) <= MOST_LINE:
                line, block = torn, whole + b"\n" + block
            self._first_line(line)
        if self._doubtful and block:
            self._doubtful = False
            line, _, block = block.partition(b"\n")
            self._distrust(line)
        if block and STX not in block and self._block(block):
            count = block.count(b"\n")
            self.lines += count
            self.understood += count
        elif block:
            for line in block[:-1].split(b"\n"):
                self._any_line(line)
        if end + 1 < len(chunk):
            self._hold(chunk[end + 1 :])
        return out

    def feed_doubtful(self, chunk: bytes) -> Decoded:
        """Drop all lines that this chunk completes, and the next one: somewhere in the chunk bytes
        are missing, so that two lines are joined and may look like one good line."""
        out = self._out = Decoded()
        block = self._tail + self._ends.normal(chunk)
        self._tail, self._first, self._doubtful = b"", False, True
        *lines, rest = block.split(b"\n")
        if self._skipping and lines:
            self._skipping = False
            del lines[0]
        for line in lines:
            self._distrust(line)
        self._hold(rest)
        return out

    def skip(self, chunk: bytes) -> int:
        """Count the lines of a chunk of a flood as dropped, without a look; returns how many."""
        self._out = Decoded()
        chunk = self._ends.normal(chunk)
        count = chunk.count(b"\n")
        if chunk:
            self._tail, self._skipping = b"", not chunk.endswith(b"\n")
        self._first = self._doubtful = False
        if count:
            self.lines += count
            self.causes[FLOOD] += count
            for name in self.names:
                self.drops[name] += count
        return count

    def _distrust(self, line: bytes) -> None:
        if line:
            self.lines += 1
            self._drop(OVERFLOW, line)

    def silent_devices(self) -> Mapping[str, tuple[tuple[str, ...], int]]:
        """By question, as text: the channels that it is for, and how many in a row had no answer."""
        return {}

    def refused_channels(self) -> Mapping[str, tuple[str, int]]:
        """By channel: why its last numbers were refused, and how many in a row; none where the last was a
        reading."""
        return {}

    def registers(self, numbers: Mapping[str, bytes], failures: Sequence[Failure] = ()) -> Decoded:
        """Decode numbers (text, by channel) of a device with registers in place of lines.

        failures: why other channels have none.
        """
        out = self._out = Decoded()
        for failure in failures:
            self._fail(failure)
        for name, text in numbers.items():
            if A_NUMBER.fullmatch(text):
                self._take(name, text)
            else:
                self._drop("not a number", text, name)
        if numbers:
            self.head = self.head or next(iter(numbers.values()))[:HEAD]
            self.lines += 1
            self.understood += bool(out.readings)
        return out

    def _fail(self, failure: Failure) -> None:
        """Count a failure; without an answer no reading is lost."""
        if failure.lost:
            self.lines += 1
            self.head = self.head or failure.sent[:HEAD]
        self.causes[failure.cause] += 1
        for name in failure.names if failure.lost else ():
            self.drops[name] += 1
        if failure.sampled and len(self._out.samples) < MOST_SAMPLES:
            self._out.samples.append((failure.cause, failure.sent[:SAMPLE]))

    def _hold(self, piece: bytes) -> None:
        if self._skipping:
            return
        self._tail += piece
        if len(self._tail) > MOST_LINE:
            self._first = self._doubtful = False
            self.lines += 1
            self._drop("longer than 4 kB", self._tail)
            self._tail, self._skipping = b"", True

    def _any_line(self, line: bytes) -> None:
        self._took = False
        if not line:
            return
        self.lines += 1
        if len(line) > MOST_LINE:
            self._drop("longer than 4 kB", line)
            return
        if STX in line:
            torn, _, line = line.rpartition(STX)
            self._drop("torn off by the STX of the next line", torn)
        if not line.isascii():
            line = self._ascii_part(line)
            if not line:
                return
        self._line(line)
        self.understood += self._took

    def _ascii_part(self, line: bytes) -> bytes:
        """The usable rest of a line with non-ASCII bytes; b"" after dropping the line."""
        self._drop("not ASCII", line)
        return b""

    def _first_line(self, line: bytes) -> None:
        """Take a line whose beginning may be missing; drop it if the format cannot detect that."""
        if len(line) > MOST_LINE:
            self.lines += 1
            self._drop("longer than 4 kB", line)
        elif not self.detects_torn_lines:
            self._drop(FIRST_LINE, line)
        else:
            self._perhaps_torn(line)

    def _perhaps_torn(self, line: bytes) -> None:
        before, causes, drops = len(self._out.samples), self.causes.copy(), dict(self.drops)
        lines = self.lines
        self._any_line(line)
        if self.causes != causes:
            # every opening may bring a torn first line, which is no fault of the device
            self.causes, self.drops = causes, drops
            self.lines = lines + self._took
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
        """Number of complete lines so far that were for no channel of this port."""
        return self.causes[OTHER]

    def _take(self, name: str, text: bytes, time: bytes = b"") -> None:
        """Take a reading; time: the device's own time as a number, b"" for none."""
        self._took = True
        self._out.readings.setdefault(name, []).append(text)
        if self._timed and name in self._timed:
            self._out.times.setdefault(name, []).append(float(time or b"nan"))

    def _block(self, block: bytes) -> bool:
        """Take a block of complete lines at once; False, with nothing taken, if it cannot."""
        return False

    @staticmethod
    @abstractmethod
    def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
        """One line, with its line end, as a device would send it.

        values: numbers by channel name, each in its channel's unit; at least one channel has one.
        """

    @abstractmethod
    def _line(self, line: bytes) -> None:
        """Take the readings of one complete line, or drop it."""
