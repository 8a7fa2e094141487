"""The marks within a number, decimal and between thousands, and the number without them."""

from __future__ import annotations

import re

COMMA = "a comma: decimal or separator?"
ANOTHER_UNIT = "another unit than the channel's"
UNCLEAR_COMMA = re.compile(rb"[0-9],[0-9]")


class NumberMarks:
    """How a port writes its numbers.

    comma: whether a comma stands within numbers, so that it separates none
    settle_comma: whether what is stated says what a comma means
    rewrites: whether `plain` may change a number
    number: regular expression of a number without its sign
    """

    def __init__(self, decimal: str | None, thousands: str | None) -> None:
        self.comma = "," in (decimal, thousands)
        self.settle_comma = decimal is not None or thousands == ","
        self.rewrites = decimal == "," or thousands is not None
        self._decimal = b"," if decimal == "," else b"."
        self._thousands = (thousands or "").encode("ascii")
        mark = re.escape(self._decimal)
        # a digit must follow a decimal comma, because "1, 5" may be two numbers
        least = b"1" if decimal == "," else b"0"
        whole = rb"[0-9]{1,40}+"
        if thousands is not None:
            group = re.escape(self._thousands)
            whole = rb"(?>[0-9]{1,3}+(?:%s[0-9]{3})++(?![0-9])|[0-9]{1,40}+)" % group
        # possessive quantifiers (++, ?+), so that matching a block never backtracks
        self.number = rb"(?:%s(?:%s[0-9]{%s,40}+)?+|%s[0-9]{1,40}+)(?:[eE][-+]?+[0-9]{1,2}+)?+" % (
            whole,
            mark,
            least,
            mark,
        )

    def plain(self, number: bytes) -> bytes:
        """The number as readings.csv has it: with a decimal point, and no mark between thousands."""
        if not self.rewrites:
            return number
        if self._thousands:
            number = number.replace(self._thousands, b"")
        return number.replace(b",", b".") if self._decimal == b"," else number

    def written(self, plain: str) -> str:
        """A number with a decimal point, as the device writes it, without marks between thousands."""
        return plain.replace(".", self._decimal.decode("ascii"))
