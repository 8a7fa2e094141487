"""Emulated devices are read with the right value and unit for any cut of the bytes, and none silently wrong."""

from __future__ import annotations

import random

import pytest
from support.channels import channel
from support.device_lines import DEVICES, FACTORS, NOT_TAKEN, VALUES, DeviceLine

from logger.channels.channel import Channel
from logger.channels.sensors_file import parse_sensors
from logger.formats.base import Decoder
from logger.formats.registry import decoder_for


def read_by(device: DeviceLine) -> Channel:
    text = channel("c", device.quantity, *device.keys.splitlines())
    return parse_sensors(text, "s").channels[0]


def read(decoder: Decoder, chunks: list[bytes], pauses: bool = False) -> list[float]:
    found = []
    for chunk in chunks:
        found += decoder.feed(chunk).readings.get("c", [])
        if pauses:
            found += decoder.pause().readings.get("c", [])
    return [float(text) for text in found]


def test_there_are_at_least_25_devices() -> None:
    assert len(DEVICES) >= 25 and set(NOT_TAKEN) <= set(DEVICES) and set(FACTORS) <= set(DEVICES)


@pytest.mark.parametrize("name", list(DEVICES))
def test_a_device_is_read_right_for_any_cut(name: str) -> None:
    device, draw = DEVICES[name], random.Random(1)
    shown = [abs(v) if device.never_negative else v for v in VALUES * 6]
    wanted = [
        pytest.approx(v * FACTORS.get(name, 1.0), abs=0.51 * 10.0**-device.decimals) for v in shown
    ]
    one = read_by(device)
    assert one.unit == device.unit
    lines = [device.write(v) for v in shown]
    stream = b"".join(lines)
    cuts = sorted(draw.randrange(len(stream)) for _ in range(40))
    pieces = [stream[a:b] for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True)]
    ways = [[stream], pieces, [stream[i : i + 1] for i in range(len(stream))], lines]
    for chunks in ways[-1:] if device.pauses else ways:
        decoder = decoder_for([one])
        decoder.connected(torn=False)
        assert read(decoder, chunks, device.pauses) == wanted
        assert not decoder.causes and decoder.understood == decoder.lines


@pytest.mark.parametrize("name", list(DEVICES))
def test_a_line_with_a_lost_piece_gives_its_value_or_none_at_a_connection(name: str) -> None:
    """The first line after connecting may lack its beginning; no rest of it is taken for a reading."""
    device = DEVICES[name]
    line = device.write(123.5)
    whole = 123.5 * FACTORS.get(name, 1.0)
    for cut in range(1, len(line)):
        decoder = decoder_for([read_by(device)])
        decoder.connected(torn=True)
        found = read(decoder, [line[cut:], line, line], device.pauses)
        assert len(found) in (2, 3) and found == pytest.approx([whole] * len(found)), cut


@pytest.mark.parametrize("name", list(NOT_TAKEN))
def test_what_is_no_reading_of_the_channel_is_none(name: str) -> None:
    device = DEVICES[name]
    for line in NOT_TAKEN[name]:
        decoder = decoder_for([read_by(device)])
        decoder.connected(torn=False)
        good = device.write(12.5)
        found = read(decoder, [good + line + good])
        assert found == [12.5 * FACTORS.get(name, 1.0)] * 2, line
        assert decoder.causes
