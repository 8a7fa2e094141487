"""The wire between a serial device and its reader, bit by bit: what a reader gets whose rate or framing is
another than the device's.

A pseudo-terminal passes bytes on whatever is set. So a device on one looks at what its reader has set: the
rate and the stop bits in the terminal's record, data bits and parity in what the terminal was asked for,
because Linux keeps eight data bits without parity there.
"""

from __future__ import annotations

import os
import pty
import random
import termios
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from logger.channels.framing import Framing, parse_framing

RATES = {getattr(termios, f"B{rate}"): rate for rate in (
    1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400
)}  # fmt: skip
MOST_BYTES = 200  # of one piece that is read with a wrong rate: enough to be seen as noise
_opening = threading.Lock()
_asked: dict[str, int] = {}  # control flags that were asked for, by the terminal's path


@contextmanager
def noting_framings() -> Iterator[None]:
    """Note the control flags that programs in this process ask terminals for."""
    real = termios.tcsetattr

    def set_attributes(fd: int, when: int, attributes: list[Any]) -> None:
        real(fd, when, attributes)
        _asked[os.ttyname(fd)] = attributes[2]

    termios.tcsetattr = set_attributes
    try:
        yield
    finally:
        termios.tcsetattr = real


def own_terminal() -> tuple[int, int]:
    """Master and slave of a new pseudo-terminal in raw mode, with a number that is not soon another's.

    The system gives out the lowest free number, which a reader of a test that has just ended may still be
    waiting for. So some numbers are left free.
    """
    with _opening:
        passed = [pty.openpty() for _ in range(random.randrange(10, 60))]
        master, slave = pty.openpty()
        for pair in passed:
            for fd in pair:
                os.close(fd)
    tty.setraw(slave)
    os.set_blocking(master, False)
    return master, slave


def forget(path: str) -> None:
    """A new terminal at `path`: nobody has asked for anything."""
    _asked.pop(path, None)


def is_set(path: str) -> bool:
    """Whether a program has set the terminal at `path`."""
    return path in _asked


def settings_of(master: int, path: str) -> tuple[int, str]:
    """Rate in bit/s and framing that the reader of the terminal at `path` has set."""
    record = termios.tcgetattr(master)
    flags = _asked.get(path, record[2])
    bits = 7 if flags & termios.CSIZE == termios.CS7 else 8
    parity = "N"
    if flags & termios.PARENB:
        parity = "O" if flags & termios.PARODD else "E"
    stops = 2 if record[2] & termios.CSTOPB else 1
    return RATES.get(record[5], 0), f"{bits}{parity}{stops}"


def with_parity(data: bytes, odd: bool = False) -> bytes:
    """Seven-bit characters with their parity in the top bit, as such a line carries them."""
    return bytes(b | (0x80 if (b.bit_count() + odd) % 2 else 0) for b in data)


def _levels(data: bytes, framing: Framing) -> list[int]:
    """The levels of the line, one a bit: start bit 0, data from the lowest bit, parity, stop bits 1."""
    levels: list[int] = []
    for byte in data:
        bits = [byte >> place & 1 for place in range(framing.data_bits)]
        parity = {"N": [], "E": [sum(bits) % 2], "O": [1 - sum(bits) % 2]}[framing.parity]
        levels += [0, *bits, *parity, *[1] * framing.stop_bits]
    return levels


def received(data: bytes, sent: tuple[int, str], read: tuple[int, str]) -> bytes:
    """What a reader with rate and framing `read` gets of bytes sent with `sent`, without a check of parity.

    A receiver waits for the line to fall, then looks at the middle of each bit. Where its stop bit is low it
    takes that for the next start bit, as the data sheets of common receivers say (from memory).
    """
    if sent == read or not read[0]:
        return bytes(byte & 0x7F for byte in data) if sent[1].startswith("7") else data
    framing = parse_framing(read[1])
    levels = [1, *_levels(data, parse_framing(sent[1])), *[1] * 40]
    ratio = sent[0] / read[0]  # bits sent in the time of one bit read
    made, at, low = bytearray(), 0.0, False
    falls = bytes(levels)

    def level(moment: float) -> int:
        return levels[int(moment)] if moment < len(levels) else 1

    while len(made) < MOST_BYTES:
        start = at - 0.5 * ratio if low else falls.find(b"\x01\x00", int(at)) + 1.0
        if start <= 0.0 or start >= len(levels):
            break
        if level(start + 0.5 * ratio):  # too short for a start bit
            at, low = start + 0.5 * ratio, False
            continue
        bits = [level(start + (1.5 + k) * ratio) for k in range(framing.data_bits)]
        made.append(sum(bit << k for k, bit in enumerate(bits)))
        at = start + (1.5 + framing.data_bits + (framing.parity != "N")) * ratio
        low = not level(at)
    return bytes(made)
