"""Decodes the NMEA 0183 XDR sentence, e.g. `$YXXDR,N,1234.5,N,HAUL*40`: four fields a transducer.

The checksum is the exclusive or of all characters between `$` and `*`, as two hexadecimal digits.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import reduce
from operator import xor

from logger.channels.channel import Channel
from logger.formats.base import A_NUMBER, NUMBER, OTHER, Decoder, number_text

_TYPE_UNIT = {"force": (b"N", b"N"), "length": (b"D", b"M")}
_SENTENCE = re.compile(rb"\$([A-Z]{2}[A-Z0-9]{3},[^$*]*)(?:\*([0-9A-Fa-f]{2}))?")
_ANY_SENTENCE = re.compile(rb"\$[A-Z0-9]{3,8},[^$*]*\*([0-9A-Fa-f]{2})")
_NOT_FINITE = re.compile(rb"[-+]?(?:nan|inf(?:inity)?)", re.IGNORECASE)


def checksum(body: bytes) -> int:
    """The checksum of a sentence: exclusive or of `body`, the bytes between `$` and `*`."""
    return reduce(xor, body, 0)


def sentence(quadruples: Sequence[tuple[str, str, str]]) -> bytes:
    """The sentence, with checksum and CRLF, for rows of (quantity, number, transducer's name)."""
    fields = [b"YXXDR"]
    for quantity, number, name in quadruples:
        kind, unit = _TYPE_UNIT[quantity]
        fields += [kind, number.encode("ascii"), unit, name.encode("ascii")]
    body = b",".join(fields)
    return b"$%s*%02X\r\n" % (body, checksum(body))


def checksums(bodies: Sequence[bytes]) -> bytes:
    """The checksums of several bodies, one byte each.

    All bodies are laid side by side in one long integer that is folded onto itself, which takes
    about 0.2 us a body; a loop over the bytes takes 1.5 us.
    """
    width = 32
    longest = max(map(len, bodies))
    while width < longest:
        width *= 2
    row = int.from_bytes(b"".join([body.ljust(width, b"\0") for body in bodies]), "little")
    shift = width * 4
    while shift >= 8:
        row ^= row >> shift
        shift //= 2
    return row.to_bytes(width * len(bodies), "little")[::width]


class XdrDecoder(Decoder):
    """Decodes the sentences of one port; see `Decoder`."""

    block_takes_crlf = True

    def __init__(self, channels: Sequence[Channel]) -> None:
        super().__init__(channels)
        self._by_id = {(channel.id or "").encode("ascii"): channel for channel in channels}
        self._may_lack_checksum = any(not channel.checksum for channel in channels)
        one = b"|".join(
            rb"%s,(?:%s),%s,%s" % (kind, NUMBER, unit, re.escape(name))
            for name, channel in self._by_id.items()
            for kind, unit in (_TYPE_UNIT[channel.quantity],)
        )
        self._only = channels[0].name if len(channels) == 1 else None
        if self._only is not None:
            name = re.escape(next(iter(self._by_id)))
            kind, unit = _TYPE_UNIT[channels[0].quantity]
            # the usual case, one transducer a line, captures its number in a group of its own
            shape = rb"^\$([A-Z]{2}XDR,%s,(%s),%s,%s)\*([0-9A-Fa-f]{2})\r?$"
            self._block_line = re.compile(shape % (kind, NUMBER, unit, name), re.MULTILINE)
        else:
            shape = rb"^\$([A-Z]{2}XDR((?:,(?:%s))+))\*([0-9A-Fa-f]{2})\r?$"
            self._block_line = re.compile(shape % one, re.MULTILINE)

    @staticmethod
    def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
        """See `Decoder.encode`; a channel that `values` lacks is left out."""
        return sentence(
            [
                (c.quantity, number_text(values[c.name]), c.id or "")
                for c in channels
                if c.name in values
            ]
        )

    def _block(self, block: bytes) -> bool:
        matches = self._block_line.findall(block)
        if not matches or len(matches) != block.count(b"\n"):
            return False
        bodies, numbers, sums = zip(*matches, strict=True)
        if max(map(len, bodies)) > 4000 or checksums(bodies) != bytes.fromhex(
            b"".join(sums).decode("ascii")
        ):
            return False
        readings = self._out.readings
        if self._only is not None:
            readings.setdefault(self._only, []).extend(numbers)
            return True
        fields = b"".join(numbers).split(b",")
        texts, ids = fields[2::4], fields[4::4]
        for name, channel in self._by_id.items():
            mine = [text for text, which in zip(texts, ids, strict=True) if which == name]
            if mine:
                readings.setdefault(channel.name, []).extend(mine)
        return True

    def _ascii_part(self, line: bytes) -> bytes:
        # foreign bytes before the last `$` belong to a torn line, not to this one
        start = line.rfind(b"$")
        if start >= 0 and line[start:].isascii():
            return line
        return super()._ascii_part(line)

    def _line(self, line: bytes) -> None:
        start = line.rfind(b"$")
        if start < 0:
            self._drop("no sentence", line)
            return
        torn, last = line[:start], line[start:]
        if torn:
            self._drop("torn off by the next sentence", torn)
        match = _SENTENCE.fullmatch(last)
        if match is None:
            if _ANY_SENTENCE.fullmatch(last) and last[3:6] != b"XDR":
                self._drop(OTHER, last)
            else:
                self._drop("not a whole sentence", last)
            return
        body, stated = match[1], match[2]
        if stated is not None and checksum(body) != int(stated, 16):
            self._drop("wrong checksum", last)
        elif not body[2:].startswith(b"XDR,"):
            self._drop(OTHER, last)
        elif stated is None and not self._may_lack_checksum:
            self._drop("no checksum", last)
        else:
            self._quadruples(body, last, stated is not None)

    def _quadruples(self, body: bytes, line: bytes, checked: bool) -> None:
        fields = body.split(b",")[1:]
        if len(fields) % 4:
            self._drop("not quadruples", line)
            return
        used = False
        for i in range(0, len(fields), 4):
            kind, text, unit, name = fields[i : i + 4]
            channel = self._by_id.get(name)
            if channel is None:
                continue
            used = True
            if channel.checksum and not checked:
                self._drop("no checksum", line, channel.name)
            elif (kind, unit) != _TYPE_UNIT[channel.quantity]:
                self._drop("another type or unit than the channel's", line, channel.name)
            elif A_NUMBER.fullmatch(text):
                self._take(channel.name, text)
            elif _NOT_FINITE.fullmatch(text):
                self._drop("not a finite number", line, channel.name)
            else:
                self._drop("not a number", line, channel.name)
        if not used:
            self._drop(OTHER, line)
