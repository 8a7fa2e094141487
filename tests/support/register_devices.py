"""Modbus devices that people own, emulated behind pymodbus' own server: what stands in which register, in which
order, and an inbox of all that was sent to the bus.

The bytes of a number are made by IEEE 754 and two's complement (`struct`), not by the program's own encoder.
Which registers, types and orders such devices have is common practice, no source.
"""

from __future__ import annotations

import itertools
import struct
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from support.channels import channel
from support.emulated_devices import COURSE
from support.modbus_devices import ModbusBus, Words

Pack = Callable[[float], bytes]


def _halves_swapped(content: bytes) -> bytes:
    return content[2:] + content[:2]


# a number of 32 bits whose bytes are A B C D, from the highest
_ABCD: Pack = lambda v: struct.pack(">f", v)  # noqa: E731
_CDAB: Pack = lambda v: _halves_swapped(struct.pack(">f", v))  # noqa: E731
_BADC: Pack = lambda v: _halves_swapped(struct.pack("<f", v))  # noqa: E731
_DCBA: Pack = lambda v: struct.pack("<f", v)  # noqa: E731


@dataclass(frozen=True)
class EmulatedRegister:
    """One number of a device.

    name: of the channel that reads it
    keys: of that channel: type, orders, unit
    pack: the bytes of its registers for the number that stands in them, as on the wire
    si: what one of that number is in newtons or metres, by definition of the unit
    device_id, table, first: where it stands
    factor: the number is COURSE times this
    """

    name: str
    keys: dict[str, str | float | int]
    pack: Pack
    si: float
    quantity: str = "force"
    device_id: int = 1
    table: str = "holding"
    first: int = 0
    factor: float = 1.0
    never_negative: bool = False

    def number(self, value: float) -> float:
        """The number in the registers for a value of COURSE."""
        value = abs(value) if self.never_negative else value
        return value * self.factor


@dataclass(frozen=True)
class RegisterBus:
    """One bus of the catalogue.

    said: what is on it, in words
    registers: the numbers that are read
    kind: "tcp" or "rtu"
    baud, framing: of a serial bus
    cut: length of the pieces in which answers come; 0: whole
    """

    said: str
    registers: tuple[EmulatedRegister, ...]
    kind: str = "tcp"
    baud: int = 9600
    framing: str = "8N1"
    cut: int = 0


def _float(words: str, within: str, unit: str) -> dict[str, str | float | int]:
    return {"type": "float32", "words": words, "bytes": within, "unit": unit}


def _whole(code: str, factor: float = 1.0) -> Pack:
    return lambda v: struct.pack(code, round(v * factor))


# units: SI brochure and NIST SP 811, appendix B: kgf = 9.80665 N, lbf = 4.4482216152605 N, ft = 0.3048 m
REGISTER_CATALOGUE: dict[str, RegisterBus] = {
    "float ABCD over TCP": RegisterBus("amplifier, newtons in holding registers 0 and 1", (
        EmulatedRegister("cell", _float("big", "big", "N"), _ABCD, 1.0),), cut=3),
    "float CDAB on a serial bus": RegisterBus("indicator, kilonewtons in input registers 100 and 101", (
        EmulatedRegister("cell", _float("little", "big", "kN"), _CDAB, 1000.0, table="input", first=100, device_id=17),), "rtu", cut=2),
    "float BADC over TCP": RegisterBus("converter, kilograms in input registers 6 and 7", (
        EmulatedRegister("cell", _float("big", "little", "kg"), _BADC, 9.80665, table="input", first=6),)),
    "float DCBA on a serial bus": RegisterBus("indicator at 19200 8E1, pounds in holding registers 40 and 41", (
        EmulatedRegister("cell", _float("little", "little", "lbf"), _DCBA, 4.4482216152605, first=40, device_id=247),), "rtu", 19200, "8E1"),
    "int16 tenths on a serial bus": RegisterBus("indicator at 38400 8N2, tenths of a decanewton in holding register 2", (
        EmulatedRegister("cell", {"type": "int16", "unit": "daN", "scale": 0.1}, _whole(">h"), 1.0, first=2, factor=10.0),), "rtu", 38400, "8N2", 1),
    "uint32 counter over TCP": RegisterBus("counter of an encoder, input registers 0 and 1, low register first", (
        EmulatedRegister("rope", {"type": "uint32", "words": "little", "unit": "count", "scale": 0.0005}, lambda v: _halves_swapped(struct.pack(">I", round(v))), 0.0005,
                 quantity="length", table="input", factor=2e6, never_negative=True),)),
    "int32 millimetres on a serial bus": RegisterBus("draw-wire sensor at 57600, holding registers 9 and 10", (
        EmulatedRegister("rope", {"type": "int32", "unit": "mm"}, _whole(">i"), 0.001, quantity="length", first=9, factor=1000.0),), "rtu", 57600),
    "uint16 counts over TCP": RegisterBus("raw counts of a converter in input register 3, bytes turned", (
        EmulatedRegister("cell", {"type": "uint16", "bytes": "little", "unit": "count", "scale": 0.25}, _whole("<H"), 0.25, table="input", first=3, factor=2.0, never_negative=True),)),
    "two devices on one serial bus": RegisterBus("indicator 1 with a float, counter 2 with an int16", (
        EmulatedRegister("cell", _float("big", "big", "N"), _ABCD, 1.0),
        EmulatedRegister("rope", {"type": "int16", "unit": "m", "scale": 0.01}, _whole(">h"), 0.01, quantity="length", device_id=2, table="input", first=5, factor=100.0)), "rtu", 19200, cut=4),
    "two devices behind one gateway": RegisterBus("a float of device 3, feet of device 4, over TCP", (
        EmulatedRegister("cell", _float("little", "big", "kg"), _CDAB, 9.80665, device_id=3, table="input"),
        EmulatedRegister("rope", {"type": "uint32", "unit": "ft"}, _whole(">I"), 0.3048, quantity="length", device_id=4, first=8, factor=2.0, never_negative=True)), cut=5),
}  # fmt: skip


class RegisterDevice:
    """A bus of the catalogue in threads of its own; `port`: as in a sensors file.

    Each answer holds the next number of the course.  sent: by channel, the numbers that were answered.
    """

    def __init__(self, device: RegisterBus, folder: Path) -> None:
        self.device = device
        self.sent: dict[str, list[float]] = {one.name: [] for one in device.registers}
        self._courses = {one.name: itertools.cycle(COURSE) for one in device.registers}
        tables: dict[str, dict[int, Words]] = {"holding": {}, "input": {}}
        for one in device.registers:
            words = tables[one.table].setdefault(one.device_id, {})
            words |= {one.first + k: 0 for k in range(len(one.pack(0.0)) // 2)}
        link = folder / "bus" if device.kind == "rtu" else None
        self.bus = ModbusBus(tables["holding"], tables["input"], kind=device.kind, link=link)
        self.bus.cut = device.cut
        self.bus.answering = self._answering
        self.port = self.bus.url

    def _answering(self, device_id: int, table: str, first: int, count: int) -> None:
        """Put the next number into the registers that are about to be read."""
        for one in self.device.registers:
            if (one.device_id, one.table) != (
                device_id,
                table,
            ) or not first <= one.first < first + count:
                continue
            number = one.number(next(self._courses[one.name]))
            content = one.pack(number)
            words = getattr(self.bus, table)[device_id]
            for k in range(0, len(content), 2):
                words[one.first + k // 2] = int.from_bytes(content[k : k + 2], "big")
            self.sent[one.name].append(number)

    def sensors_text(self) -> str:
        """The sensors file that reads the bus, by hand."""
        line = {"baud": self.device.baud, "framing": self.device.framing} if self.device.kind == "rtu" else {}  # fmt: skip
        return "".join(
            channel(
                one.name, one.quantity, format="modbus", port=self.port, device_id=one.device_id, table=one.table,
                register=one.first, every_s=0.03, answer_s=1.0, **line, **one.keys,
            )
            for one in self.device.registers
        )  # fmt: skip

    def drop(self) -> None:
        """Unplug a serial bus and plug it in again, or end the connection."""
        self.bus.hang_up()

    def requests(self) -> set[tuple[int, int]]:
        """Device and function of each request of the device's tables; see `modbus_devices.requests_in`."""
        functions = {"holding": 3, "input": 4}  # MODBUS application protocol 1.1b3, 6.3 and 6.4
        return {(one.device_id, functions[one.table]) for one in self.device.registers}

    def close(self) -> None:
        self.bus.close()
