"""The line formats by name: the decoder of one, and a line as a device would send it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from logger.channels.sensors_file import Channel
from logger.formats.base import Decoder
from logger.formats.columns import ColumnsDecoder, stated_separator
from logger.formats.json_lines import JsonDecoder
from logger.formats.xdr import XdrDecoder, sentence

_KINDS: dict[str, type[Decoder]] = {
    "xdr": XdrDecoder, "columns": ColumnsDecoder, "json": JsonDecoder,
}  # fmt: skip


def decoder_for(channels: Sequence[Channel]) -> Decoder:
    """The decoder for the channels of one port; they have one format."""
    return _KINDS[channels[0].format](channels)


def number_text(value: float) -> str:
    """A number as a device sends it: at most six decimals, no exponent."""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
    """One line, as a device would send it, that holds the values (each in its channel's unit).

    Channels without a value are left out (xdr, json) or 0 (columns); b"" if none has one.
    """
    having = [channel for channel in channels if channel.name in values]
    if not having:
        return b""
    kind = having[0].format
    if kind == "xdr":
        return sentence([(c.quantity, number_text(values[c.name]), c.id or "") for c in having])
    if kind == "json":
        import json

        pairs = (f"{json.dumps(c.id)}: {number_text(values[c.name])}" for c in having)
        return ("{" + ", ".join(pairs) + "}\r\n").encode("ascii")
    width = max(c.count or c.column or 1 for c in channels)
    comma = having[0].decimal == ","
    cells = ["0"] * width
    for c in having:
        text = number_text(values[c.name])
        cells[(c.column or 1) - 1] = text.replace(".", ",") if comma else text
    # where nothing is stated the blank tells the comma from a decimal one
    unstated = ";" if comma else "," if having[0].decimal else ", "
    return ((stated_separator(channels) or unstated).join(cells) + "\r\n").encode("ascii")
