"""Defines Capture, the bytes that came from a port in one listening, with their times."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace


@dataclass(frozen=True)
class Piece:
    """Bytes that came together."""

    from_s: float  # `clock.now` at the first byte, s
    to_s: float  # `clock.now` at the last byte, s
    data: bytes  # without the parity bits of a line of seven data bits
    question: int = 0  # number of the question before it, from 1; 0: nothing was asked


@dataclass(frozen=True)
class Capture:
    """What one listening brought."""

    port: str  # as in the sensors file
    baud: int | None  # rate of the serial line, bit/s; None: the port has none
    framing: str | None  # such as "7E1"; None: the port has none
    ask: str | None  # question that was asked; None: the device sends by itself
    pieces: tuple[Piece, ...] = ()  # in order
    torn: bool = True  # whether the first line may lack its beginning
    listened_s: float = 0.0  # how long these pieces were collected, s

    def latest(self, most: int) -> Capture:
        """The last pieces, of at most so many bytes in all; at least one."""
        size, kept = 0, len(self.pieces)
        while kept and (size := size + len(self.pieces[kept - 1].data)) <= most:
            kept -= 1
        kept = min(kept, max(0, len(self.pieces) - 1))
        if kept == 0:
            return self
        return replace(self, pieces=self.pieces[kept:], torn=self.ask is None)

    @property
    def stream(self) -> bytes:
        """All bytes in order."""
        return b"".join(piece.data for piece in self.pieces)


@dataclass(frozen=True)
class Remark:
    """Something to tell or to ask; the command line has the sentences."""

    code: str  # what it is about
    values: Mapping[str, str | int | float] = field(default_factory=dict)  # for the sentence
    place: str = ""  # which number it is about, a key of `Answers.units`; "" for the whole line


@dataclass(frozen=True)
class Answers:
    """What a person has answered.

    keys: further keys of a channel with their values, by place of the number
    """

    comma: str | None = None  # "decimal", "separator" or "thousands"; None: not asked
    units: Mapping[str, str] = field(default_factory=dict)  # unit by place of the number
    keys: Mapping[str, Mapping[str, float | str]] = field(default_factory=dict)
    left_out: frozenset[str] = frozenset()  # places of numbers that get no channel
