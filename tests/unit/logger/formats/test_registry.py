"""A line format of a new kind is one class and one line of a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest
from support.channels import channel

from logger.channels.channel import Channel
from logger.channels.line_formats import LINE_FORMATS, LineFormat
from logger.channels.sensors_file import parse_sensors
from logger.errors import SensorsFault
from logger.formats.base import A_NUMBER, OTHER, Decoder, number_text
from logger.formats.registry import decoder_for, encode
from logger.toml_tables import Table


class TaggedDecoder(Decoder):
    """Lines such as `HAUL=12.5`."""

    @staticmethod
    def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
        sent = [(c.id, number_text(values[c.name])) for c in channels if c.name in values]
        return "".join(f"{tag}={number}\n" for tag, number in sent).encode("ascii")

    def _line(self, line: bytes) -> None:
        tag, _, number = line.partition(b"=")
        mine = [c.name for c in self.channels if tag == (c.id or "").encode("ascii")]
        if mine and A_NUMBER.fullmatch(number):
            self._take(mine[0], number)
        else:
            self._drop("not a number" if mine else OTHER, line)


def tagged_keys(table: Table, quantity: str) -> dict[str, str | None]:
    return {"unit": table.text("unit"), "id": table.text("id")}


def test_a_line_format_is_one_class_and_one_line_of_a_table(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    text = channel(
        "force", "force", format="tagged", id="HAUL", port="socket://127.0.0.1:1", unit="N"
    )
    with pytest.raises(SensorsFault, match="format"):
        parse_sensors(text, "s")
    tagged = LineFormat(
        decoder=f"{__name__}:TaggedDecoder", takes=("id",), address="id", read=tagged_keys
    )
    monkeypatch.setitem(LINE_FORMATS, "tagged", tagged)
    channels = parse_sensors(text, "s").channels
    line = encode(channels, {"force": 12.5})
    assert line == b"HAUL=12.5\n"
    decoder = decoder_for(channels)
    assert decoder.feed(line + b"HAUL=x\n").readings == {"force": [b"12.5"]}
    assert decoder.drops == {"force": 1}
    with pytest.raises(SensorsFault, match="leave checksum out, or take format xdr"):
        parse_sensors(text + "checksum = true\n", "s")
