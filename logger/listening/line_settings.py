"""Judges by the bytes whether the rate and the framing of a serial line are right.

A line of seven data bits that is read with eight and no parity shows its parity in the top bit, so
one reading tells 8N1, 7E1, 7O1 and 7N2 apart.  A line of eight data bits with parity has to be tried.
"""

from __future__ import annotations

from dataclasses import dataclass

# the rates that are tried, in this order; common practice, no source
RATES = (9600, 115200, 19200, 38400, 57600, 4800, 2400, 1200, 230400)
UNTOLD = ("8N1", "8E1", "7N1")  # framings that are tried, in this order; 8N1 tells three more
ASKED = ("8N1", "7E1", "8E1", "7O1")  # framings with which a question is tried, in this order
# share of bytes that are text from which a line is text; chosen by us: a check byte in twelve may be
# any, and of the bytes of a wrong rate less than half are text
TEXT_SHARE = 0.9
# bytes from which a line is judged; chosen by us: four that are text by chance are one case in fifty
LEAST_BYTES = 4
PARITY_BYTES = 24  # bytes from which parity is believed; chosen by us: chance gives it once in 2^24
# share of bytes whose top bit is their parity; chosen by us: noise may hit one in fifty
PARITY_SHARE = 0.98

# share of digits, signs and blanks in lines of seven bits; chosen by us: indicators send little else, and
# what a much too low rate makes of a line has a tenth of them
NUMBER_SHARE = 0.25

_TEXT = frozenset(range(0x20, 0x7F)) | frozenset(b"\t\r\n\x02\x03\x00")
_LOW_BITS = bytes(value & 0x7F for value in range(256))


@dataclass(frozen=True)
class Judged:
    """What the bytes say of the line's settings."""

    text: bool  # whether they are lines with numbers
    framing: str | None  # framing that they show, where it is another than the line was read with
    share: float  # share of text in them, 0 to 1
    likely: str | None = None  # framing that they seem to show, while too few came to believe it


def judged(data: bytes) -> Judged:
    """Judge bytes that were read with eight data bits and no parity, or whatever the line has."""
    share = text_share(data)
    if len(data) < LEAST_BYTES:
        return Judged(False, None, share)
    if share >= TEXT_SHARE:
        ended = len(data) >= PARITY_BYTES or any(byte in data for byte in b"\r\n\x03")
        return Judged(ended and _has_digit(data), None, share)
    low = seven_bits_of(data)
    if text_share(low) < TEXT_SHARE or _number_share(low) < NUMBER_SHARE:
        return Judged(False, None, share)
    even = sum(byte.bit_count() % 2 == 0 for byte in data) / len(data)
    marked = sum(byte >= 0x80 for byte in data) / len(data)
    framing = None
    if marked >= PARITY_SHARE:
        framing = "7N2"
    elif even >= PARITY_SHARE:
        framing = "7E1"
    elif 1.0 - even >= PARITY_SHARE:
        framing = "7O1"
    if len(data) < PARITY_BYTES:
        return Judged(False, None, share, likely=framing)
    return Judged(framing is not None, framing, share)


def text_share(data: bytes) -> float:
    """Share of the bytes that stand in lines of text, 0 to 1; 0 of nothing."""
    return sum(byte in _TEXT for byte in data) / len(data) if data else 0.0


def seven_bits_of(data: bytes) -> bytes:
    """The bytes without their top bits."""
    return data.translate(_LOW_BITS)


def _number_share(data: bytes) -> float:
    """Share of the bytes that stand in numbers, 0 to 1."""
    return sum(byte in b"0123456789.,+- " for byte in data) / len(data)


def _has_digit(data: bytes) -> bool:
    return any(0x30 <= byte <= 0x39 for byte in data)
