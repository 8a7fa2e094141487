"""From a channel's format to its decoder; the table is LINE_FORMATS of `logger/channels/line_formats.py`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pkgutil import resolve_name

from logger.channels.channel import Channel
from logger.channels.line_formats import LINE_FORMATS
from logger.formats.base import Decoder

_resolve = cache(resolve_name)


def decoder_for(channels: Sequence[Channel]) -> Decoder:
    """The decoder for the channels of one port; they have one format."""
    return _decoder(channels)(channels)


def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
    """One line, as a device would send it, that holds the values (each in its channel's unit).

    Channels without a value are left out (xdr, json) or 0 (columns); b"" if none has one.
    """
    if not any(channel.name in values for channel in channels):
        return b""
    return _decoder(channels).encode(channels, values)


def _decoder(channels: Sequence[Channel]) -> type[Decoder]:
    decoder: type[Decoder] = _resolve(LINE_FORMATS[channels[0].format].decoder)
    return decoder
