"""Makes the decoder of a port; the table is LINE_FORMATS of `logger/channels/line_formats.py`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pkgutil import resolve_name

from logger.channels.channel import Channel
from logger.channels.line_formats import LINE_FORMATS
from logger.formats.base import Decoder
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
    (xdr, json) or 0 (columns).
    """
    if not any(channel.name in values for channel in channels):
        return b""
    return _decoder(channels).encode(channels, values)


def _decoder(channels: Sequence[Channel]) -> type[Decoder]:
    decoder: type[Decoder] = _resolve(LINE_FORMATS[channels[0].format].decoder)
    return decoder
