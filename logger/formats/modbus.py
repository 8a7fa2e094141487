"""Decodes the registers of Modbus devices into numbers; which bytes come first is the channel's to say.

A number that cannot be one is dropped, and its cause names the orders of words and bytes that would
fit.  Beyond the capacity, where the stated order has given numbers before, it is told as an overload
too, so that no alarm is lost.  Readings are text, with no more digits than the registers hold.
"""

from __future__ import annotations

import itertools
import math
import struct
from collections.abc import Mapping, Sequence
from dataclasses import replace

from logger.channels.channel import Channel
from logger.channels.modbus_registers import ORDERS, ModbusRegisters
from logger.formats.base import HEAD, Decoded, Decoder, Failure

STRUCTS = {"float32": ">f", "int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I"}
BEYOND = 1.5  # by definition, interface section 2: in capacities, what no number exceeds
# smaller numbers but 0 come of a wrong order; chosen by us: 1e-9 kN is a thousandth of a milligram's weight
LEAST_FLOAT = 1e-9
FLOAT_DIGITS = (
    9  # by definition, IEEE 754: decimal digits that tell any two numbers of 32 bits apart
)


def number_of(content: bytes, at: ModbusRegisters) -> float:
    """The number in the bytes of its registers, in the device's unit."""
    ordered = content
    if at.byte_order == "little":
        ordered = b"".join(ordered[i : i + 2][::-1] for i in range(0, len(ordered), 2))
    if at.word_order == "little":
        ordered = b"".join(ordered[i : i + 2] for i in range(len(ordered) - 2, -1, -2))
    return float(struct.unpack(STRUCTS[at.number_type], ordered)[0])


def content_of(value: float, at: ModbusRegisters) -> bytes:
    """The bytes of the registers that hold a number; value: in the device's unit.  Raises struct.error."""
    whole = value if at.number_type == "float32" else round(value)
    content = struct.pack(STRUCTS[at.number_type], whole)
    if at.word_order == "little":
        content = b"".join(content[i : i + 2] for i in range(len(content) - 2, -1, -2))
    if at.byte_order == "little":
        content = b"".join(content[i : i + 2][::-1] for i in range(0, len(content), 2))
    return content


def shortest(value: float, number_type: str) -> bytes:
    """The number as text, with the fewest digits that give the same registers; value: in the device's unit."""
    if number_type != "float32":
        return b"%d" % value
    packed = struct.pack(">f", value)
    for digits in range(6, FLOAT_DIGITS + 1):
        text = f"{value:.{digits}g}"
        if struct.pack(">f", float(text)) == packed:
            break
    return text.encode("ascii")


class ModbusDecoder(Decoder):
    """Decodes the registers of one port; see `Decoder`.

    proven: channels whose order has given a number other than 0
    unanswered: by channel, how many questions in a row had no answer
    """

    asks = True

    def __init__(self, channels: Sequence[Channel]) -> None:
        super().__init__(channels)
        self.proven: set[str] = set()
        self.unanswered = dict.fromkeys(self.names, 0)
        self._refused: dict[str, tuple[str, int]] = {}
        self._at = {c.name: (c, c.modbus) for c in channels if c.modbus is not None}

    def connected(self, torn: bool = True) -> None:
        """See `Decoder.connected`; the order is to be proven again, as another device may answer."""
        super().connected(torn=False)
        self.proven.clear()
        self._refused.clear()

    def silent_devices(self) -> Mapping[str, tuple[tuple[str, ...], int]]:
        """See `Decoder.silent_devices`."""
        silent: dict[str, tuple[tuple[str, ...], int]] = {}
        for name, (_, at) in self._at.items():
            question = f"as Modbus device {at.device_id}"
            names, missed = silent.get(question, ((), 0))
            silent[question] = ((*names, name), max(missed, self.unanswered[name]))
        return silent

    def refused_channels(self) -> Mapping[str, tuple[str, int]]:
        """See `Decoder.refused_channels`: exceptions, and numbers that cannot be one."""
        return self._refused

    def registers(self, numbers: Mapping[str, bytes], failures: Sequence[Failure] = ()) -> Decoded:
        """See `Decoder.registers`; numbers: the bytes of each channel's registers as on the wire."""
        out = self._out = Decoded()
        for failure in failures:
            self._fail(failure)
            for name in failure.names:
                self.unanswered[name] = self.unanswered[name] + 1 if failure.silent else 0
                if not failure.silent:
                    self._refuse(name, failure.cause)
        for name, content in numbers.items():
            self.unanswered[name] = 0
            self._number(name, content)
        if numbers:
            self.head = self.head or next(iter(numbers.values()))[:HEAD]
            self.lines += 1
            self.understood += bool(out.readings or out.overloads)
        return out

    def _number(self, name: str, content: bytes) -> None:
        """Take the number of one channel, or drop it."""
        channel, at = self._at[name]
        if len(content) != 2 * at.count:
            cause = "not the registers that were asked for"
            self._drop(cause, content, name)
            self._refuse(name, cause)
            return
        value = number_of(content, at)
        fault = _fault(channel, at, value)
        if not fault:
            if value:
                self.proven.add(name)
            self._refused.pop(name, None)
            self._take(name, shortest(value, at.number_type))
            return
        cause = f"{fault}; {_orders(content, channel, at)}"
        self._drop(cause, content, name)
        self._refuse(name, cause)
        if name in self.proven and _beyond(channel, value):
            self._out.overloads.setdefault(name, []).append(len(self._out.readings.get(name, ())))

    def _refuse(self, name: str, cause: str) -> None:
        self._refused[name] = (cause, self._refused.get(name, ("", 0))[1] + 1)

    @staticmethod
    def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
        """The registers of the channels one behind the other; values: in each channel's unit."""
        return b"".join(
            content_of(values.get(c.name, 0.0), c.modbus) for c in channels if c.modbus is not None
        )

    def _line(self, line: bytes) -> None:
        """Drop a line; a device with registers sends none."""
        self._drop("a line, where registers are read", line)


def _fault(channel: Channel, at: ModbusRegisters, value: float) -> str:
    """Why a value (in the channel's unit) cannot be one; "" if it can."""
    if not math.isfinite(value):
        return "not a finite number"
    if at.number_type == "float32" and 0.0 < abs(value) < LEAST_FLOAT:
        return "a number so small that no device means it"
    if _beyond(channel, value):
        return f"beyond {BEYOND:g} x capacity"
    return ""


def _beyond(channel: Channel, value: float) -> bool:
    """Whether a value (in the channel's unit) exceeds BEYOND capacities."""
    capacity = channel.capacity
    return (
        capacity is not None
        and math.isfinite(value)
        and abs(channel.si(value, 0.0)) > BEYOND * capacity
    )


def _orders(content: bytes, channel: Channel, at: ModbusRegisters) -> str:
    """Which orders would make a number of these bytes, as the sensors file states them."""
    fitting = []
    for words, within in itertools.product(ORDERS if at.count == 2 else ORDERS[:1], ORDERS):
        other = replace(at, word_order=words, byte_order=within)
        if not _fault(channel, other, number_of(content, other)):
            stated = [f'words = "{words}"'] if at.count == 2 else []
            fitting.append(" and ".join([*stated, f'bytes = "{within}"']))
    if not fitting:
        return "no order of words and bytes fits: compare register and type with the manual"
    return " or ".join(fitting) + " would fit"
