"""Says why the lines of a port are not understood: the likely cause and what to do.

It looks at the first bytes that the device sent, and at the causes for which lines were dropped.
"""

from __future__ import annotations

import re

from logger.errors import one_line
from logger.formats.base import OTHER, Decoder
from logger.formats.columns import ColumnsDecoder
from logger.formats.number_marks import COMMA

# share of bytes that are no text from which a line is noise; chosen by us: text has none
NOISE = 0.1
SHOWN = 60  # characters shown of a line
_TEXT = frozenset(range(0x20, 0x7F)) | frozenset(b"\t\r\n\x02\x03")
_LINE_END = re.compile(rb"[\r\n\x03]+")
_NUMBER = re.compile(rb"[-+]?[0-9]*\.?[0-9]+")


def first_line(decoder: Decoder) -> str:
    """The first line as the device sent it, with escapes for what is no printable ASCII."""
    line = next(filter(None, _LINE_END.split(decoder.head)), b"")
    return one_line(line.decode("latin-1").encode("unicode_escape").decode("ascii"), SHOWN)


def likely_cause(decoder: Decoder) -> str:
    """Why lines of this port are not understood, and what to do; one line."""
    head = decoder.head
    if decoder.channels[0].modbus is not None:
        cause = max(decoder.causes, key=lambda one: decoder.causes[one], default="no registers")
        return f"{cause}; compare device_id, table, register and type with the device's manual"
    if not head:
        return (
            "no bytes at all: the device is off or its cable carries nothing, or it must be asked "
            "before it sends"
        )
    noise = sum(byte not in _TEXT for byte in head) / len(head)
    if noise > NOISE:
        baud = decoder.channels[0].baud
        if baud is None or "://" in (decoder.channels[0].port or ""):
            return "this is no text: is it the right device, and does it send lines?"
        return f"likely a wrong baud rate: {baud} is set; write the device's as baud"
    if awaits_line_end(decoder):
        ends = decoder.channels[0].ends
        if ends is not None:
            shown = one_line(ends.encode("unicode_escape").decode("ascii"), 20)
            return f'no line has ended by ends = "{shown}": write what ends the device\'s lines'
        return (
            "no line has ended yet: write ends = the text that ends the device's lines, or "
            'ends = "pause"'
        )
    return _of_format(decoder)


def awaits_line_end(decoder: Decoder) -> bool:
    """Whether bytes have come, but no line of them has ended, not even a torn first one."""
    if decoder.lines or not decoder.head:
        return decoder.causes["longer than 4 kB"] == decoder.lines > 0
    return decoder.channels[0].ends is not None or not _LINE_END.search(decoder.head)


def _of_format(decoder: Decoder) -> str:
    """The cause of lines that are text."""
    channel = decoder.channels[0]
    counts = {cause: n for cause, n in decoder.causes.items() if n}
    cause = max(counts, key=lambda one: counts[one], default="")
    if cause == OTHER:
        names = " or ".join(f'id = "{c.id}"' for c in decoder.channels)
        return f"no line holds {names}: correct id, or is another device connected?"
    if cause == COMMA:
        return f'{COMMA} write decimal = "," or separator = "," in each channel of this port'
    if isinstance(decoder, ColumnsDecoder):
        return _wrong_column(decoder, cause)
    if cause in ("no sentence", "not a JSON object"):
        return f'{cause}: write the format that fits these lines in place of "{channel.format}"'
    if cause == "wrong checksum":
        return "wrong checksums: noise on the cable, or a wrong baud rate"
    return f"{cause or 'no reading in it'}: compare the line with the channel in the sensors file"


def _wrong_column(decoder: ColumnsDecoder, cause: str) -> str:
    """The cause of lines whose numbers are not where the channels look for them."""
    line = next(filter(None, _LINE_END.split(decoder.head)), b"")
    cells = decoder.split(line.strip())
    numbers = [k for k, cell in enumerate(cells, 1) if _NUMBER.match(cell.strip())]
    for channel in decoder.channels:
        place = channel.column or 1
        if place not in numbers:
            where = ", ".join(map(str, numbers)) if numbers else "none"
            return (
                f"likely a wrong column: {channel.name} looks in column {place}; columns that hold "
                f"a number: {where}; correct column or separator"
            )
    return f"{cause or 'no reading in it'}: compare the line with column, separator, count and unit"
