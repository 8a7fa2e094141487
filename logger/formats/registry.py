"""Makes the decoder of a port; the table is LINE_FORMATS of `logger/channels/line_formats.py`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pkgutil import resolve_name

from logger.channels.channel import Channel
from logger.channels.line_formats import LINE_FORMATS
from logger.formats.base import Decoder
from logger.formats.line_ends import ETX, PAUSE, STX
from logger.formats.questions import AskedDecoder

_resolve = cache(resolve_name)


def decoder_for(channels: Sequence[Channel]) -> Decoder:
    """A new decoder for the channels of one port, which all have the same format."""
    if channels[0].ask is not None:
        return AskedDecoder(channels)
    return _decoder(channels)(channels)


def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
    """One line, as a device would send it; b"" if no channel has a value.

    values: numbers by channel name, each in its channel's unit.  A channel without one is left out
    (xdr, json, text) or 0 (columns).
    """
    if not any(channel.name in values for channel in channels):
        return b""
    return _ended(_decoder(channels).encode(channels, values), channels[0].ends)


def _ended(line: bytes, ends: str | None) -> bytes:
    """The line, which ends with CRLF, with the line end that the sensors file states."""
    text = line.removesuffix(b"\r\n")
    if ends is None or ends == "crlf":
        return line
    if ends == "etx":
        return STX + text + ETX
    return text + {"lf": b"\n", "cr": b"\r", PAUSE: b""}.get(ends, ends.encode("ascii"))


def _decoder(channels: Sequence[Channel]) -> type[Decoder]:
    decoder: type[Decoder] = _resolve(LINE_FORMATS[channels[0].format].decoder)
    return decoder
