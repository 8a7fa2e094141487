"""Reads the framing of a serial line, such as "8N1": data bits, parity, stop bits."""

from __future__ import annotations

import re
from dataclasses import dataclass

USUAL = "8N1"
CURE = (
    'write framing = "8N1", "7E1" or the like: 7 or 8 data bits, parity N, E or O, 1 or 2 stop bits'
)


@dataclass(frozen=True)
class Framing:
    """How a character travels on a serial line."""

    data_bits: int  # 7 or 8
    parity: str  # "N" none, "E" even, "O" odd, as pyserial writes it
    stop_bits: int  # 1 or 2

    @property
    def bits(self) -> int:
        """Bits of the line that carry one character, the start bit included."""
        return 1 + self.data_bits + (self.parity != "N") + self.stop_bits


def parse_framing(text: str) -> Framing:
    """The framing that `text` writes; raises ValueError."""
    match = re.fullmatch(r"([78])([NEO])([12])", text)
    if match is None:
        raise ValueError(f'"{text}" is no framing')
    return Framing(int(match[1]), match[2], int(match[3]))
