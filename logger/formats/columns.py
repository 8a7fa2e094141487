"""Decodes lines of numbers with a separator between them.

A torn number looks like any other, so the first line after connecting is dropped if it may be torn,
and so is a line with another count of numbers.  If the sensors file states neither `decimal` nor
`separator`, a line with a comma between two digits is ambiguous and dropped; any other comma is a
separator.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from operator import methodcaller

from logger.channels.channel import Channel
from logger.device_units import is_other_unit, same_unit, unit_from_word
from logger.formats.base import SAMPLE, Decoder, number_text
from logger.formats.number_marks import ANOTHER_UNIT, COMMA, UNCLEAR_COMMA, NumberMarks

_NOT_FINITE = re.compile(rb"[-+]?(?:nan|inf(?:inity)?)[A-Za-z]*", re.IGNORECASE)
# separators of numbers with a decimal comma if none is stated: ";", and blanks before a number.
# Blanks before a unit do not separate: "1,90 kN" must not be read as 1.90 N
_SPACED = re.compile(rb";|(?<![-+,; \t])[ \t]+(?=[-+,0-9])")
RELEARN = 5  # lines in a row with the same new count after which that count is learned


def _stated_separator(channels: Sequence[Channel]) -> str | None:
    """The separator that any channel of a port states, for all of them; None if none does."""
    return next((channel.separator for channel in channels if channel.separator), None)


class ColumnsDecoder(Decoder):
    """Decodes the lines of one port; see `Decoder`."""

    detects_torn_lines = False

    def __init__(self, channels: Sequence[Channel]) -> None:
        super().__init__(channels)
        separator, decimal = _stated_separator(channels), channels[0].decimal
        self._marks = NumberMarks(decimal, channels[0].thousands)
        self._spaced = self._marks.comma and separator is None
        self._unclear = separator is None and not self._marks.settle_comma
        self._separator = (separator or (";" if self._spaced else ",")).encode("ascii")
        number = rb"[-+]?+" + self._marks.number
        self._plain = re.compile(number)
        self._number = re.compile(rb"(%s)[ \t]*([A-Za-z]{0,6})" % number)
        self._learn = channels[0].count is None
        self._count = channels[0].count or 0
        self._needed = max(channel.column or 1 for channel in channels)
        self._other_count = (0, 0)

    @staticmethod
    def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
        """See `Decoder.encode`; a column that `values` lacks is 0."""
        decimal, thousands = channels[0].decimal, channels[0].thousands
        cells = ["0"] * max(c.count or max(c.column or 1, c.time_column or 1) for c in channels)
        for c in channels:
            if c.name in values:
                text = number_text(values[c.name])
                cells[(c.column or 1) - 1] = text.replace(".", ",") if decimal == "," else text
        # if nothing is stated, a blank behind the comma shows that it is no decimal mark
        unstated = ";" if "," in (decimal, thousands) else "," if decimal else ", "
        return ((_stated_separator(channels) or unstated).join(cells) + "\r\n").encode("ascii")

    def split(self, line: bytes) -> list[bytes]:
        """The cells of a line, with the blanks around them."""
        if self._spaced:
            return _SPACED.split(line.strip())
        if self._separator.isspace():
            return line.split(None if self._separator == b" " else self._separator)
        return line.split(self._separator)

    def _block(self, block: bytes) -> bool:
        """Take a block of plain numbers with one count and no blanks."""
        count, separator = self._count, self._separator
        seen = block.split(b"\n")
        if not count or len(separator) != 1 or max(map(len, seen)) > 4096:
            return False
        cells = block.replace(b"\n", separator).split(separator)
        lines = len(seen) - 1
        if len(cells) != count * lines + 1:
            return False
        if not block.isascii():
            return False
        if self._unclear and count > 1 and UNCLEAR_COMMA.search(block):
            return False
        if self._spaced and (b" " in block or b"\t" in block):
            return False
        if {*map(methodcaller("count", separator), seen[:-1])} != {count - 1}:
            return False
        taken = []
        timed: dict[str, list[float]] = {}
        for channel in self.channels:
            mine = cells[(channel.column or 1) - 1 : -1 : count]
            if not all(map(self._plain.fullmatch, mine)):
                return False
            if channel.time_column is not None:
                times = cells[channel.time_column - 1 : -1 : count]
                if channel.time_column > count or not all(map(self._plain.fullmatch, times)):
                    return False
                timed[channel.name] = list(map(float, map(self._marks.plain, times)))
            taken.append((channel.name, mine))
        if separator == b" " and len(block.split()) != count * lines:
            return False
        for name, mine in taken:
            if self._marks.rewrites:
                mine = list(map(self._marks.plain, mine))
            self._out.readings.setdefault(name, []).extend(mine)
        for name, sent in timed.items():
            self._out.times.setdefault(name, []).extend(sent)
        self._other_count = (0, 0)
        return True

    def _line(self, line: bytes) -> None:
        if self._unclear and UNCLEAR_COMMA.search(line):
            self._other_count = (0, 0)
            self.unclear_line = self.unclear_line or line[:SAMPLE]
            self._drop(COMMA, line)
            return
        cells = [cell.strip() for cell in self.split(line)]
        if not any(cells):
            return
        values = [self._value(channel, cells) for channel in self.channels]
        good = all(cause == "" for cause, _ in values)
        count = len(cells)
        if self._count and count != self._count:
            if not self._learn or not good:
                self._other_count = (0, 0)
                self._drop("another number of columns", line)
                return
            seen = self._other_count[1] + 1 if self._other_count[0] == count else 1
            self._other_count = (count, seen)
            self._drop("another number of columns", line)
            if seen >= RELEARN:
                self.column_change = (self._count, count)
                self._count, self._other_count = count, (0, 0)
            return
        if not self._count:
            if not good:
                self._drop("no line to learn the columns from", line)
                return
            self._count = count
        self._other_count = (0, 0)
        for channel, (cause, text) in zip(self.channels, values, strict=True):
            if cause:
                self._drop(cause, line, channel.name)
            else:
                self._take(channel.name, text, self._time(channel, cells))

    def _time(self, channel: Channel, cells: list[bytes]) -> bytes:
        """The device's own time of a line; b"" if there is none."""
        place = channel.time_column
        if place is None or place > len(cells) or not self._plain.fullmatch(cells[place - 1]):
            return b""
        return self._marks.plain(cells[place - 1])

    def _value(self, channel: Channel, cells: list[bytes]) -> tuple[str, bytes]:
        place = (channel.column or 1) - 1
        if place >= len(cells):
            return "too few columns", b""
        match = self._number.fullmatch(cells[place])
        if match is None:
            if _NOT_FINITE.fullmatch(cells[place]):
                return "not a finite number", b""
            return "not a number", b""
        if match[2]:
            word = match[2].decode("ascii")
            if unit_from_word(word) is None and not is_other_unit(word):
                return "not a number", b""
            if not same_unit(word, channel.unit):
                return ANOTHER_UNIT, b""
        return "", self._marks.plain(match[1])
