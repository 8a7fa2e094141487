"""Reads a capture with a proposed sensors file, through its parser and the decoder of its format.

What a channel reads here is what `haul record` reads from the same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from logger.channels.channel import Sensors
from logger.channels.sensors_file import for_recording, parse_sensors
from logger.errors import UserFault
from logger.formats.base import FIRST_LINE, OTHER, Decoded
from logger.formats.line_ends import PAUSE
from logger.formats.questions import AskedDecoder
from logger.formats.registry import decoder_for
from logger.formats.text import OVERLOAD
from logger.listening.capture import Capture
from logger.listening.line_splitting import with_silences

# causes that do not speak against a channel: they do not come from the way in which it reads
HARMLESS = frozenset({FIRST_LINE, OTHER, OVERLOAD, "cut off by a disconnection"})


@dataclass(frozen=True)
class ProofReadings:
    """What the channels of a proposed sensors file read from a capture."""

    readings: Mapping[str, tuple[str, ...]]  # numbers as sent, by channel
    dropped: int  # lines dropped for a cause that speaks against the channels
    lines: int  # lines that came
    fault: str = ""  # why the file cannot be used; "" if it can
    sensors: Sensors | None = field(default=None, repr=False)  # as parsed; None with a fault


def read_capture(toml: str, capture: Capture) -> ProofReadings:
    """Read a capture with a sensors file of this text; never raises."""
    try:
        sensors = parse_sensors(toml, "listen")
        for_recording(sensors)
    except UserFault as fault:
        return ProofReadings({}, 0, 0, str(fault))
    channels = sensors.channels
    decoder = decoder_for(channels)
    decoder.connected(torn=capture.torn)
    taken: dict[str, list[str]] = {channel.name: [] for channel in channels}

    def take(decoded: Decoded) -> None:
        """Keep the readings of a chunk."""
        for name, numbers in decoded.readings.items():
            taken[name] += [number.decode("ascii") for number in numbers]

    question, pausing = 0, channels[0].ends == PAUSE
    for piece, after in with_silences(capture.pieces):
        if isinstance(decoder, AskedDecoder) and piece.question != question:
            question = piece.question
            decoder.asked(channels[0].ask or "")
        take(decoder.feed(piece.data))
        if pausing and after:
            take(decoder.pause())
    dropped = sum(n for cause, n in decoder.causes.items() if cause not in HARMLESS)
    return ProofReadings(
        readings={name: tuple(numbers) for name, numbers in taken.items()},
        dropped=dropped,
        lines=decoder.lines,
        sensors=sensors,
    )
