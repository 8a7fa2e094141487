"""Defines Channel, one measured quantity of a device, and converts its readings to SI."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from logger.calibration.curve import Calibration
from logger.channels.modbus_registers import ModbusRegisters
from logger.device_units import to_si

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

Values = TypeVar("Values", float, "npt.NDArray[np.float64]")
MOST_STEPS = 200  # doublings, then halvings: more than the range and the digits of a float need


@dataclass(frozen=True)
class Channel:
    """One measured quantity; a reading is a number as the device sends it, a value is in N or m."""

    name: str  # unique in the sensors file
    quantity: str  # "force" or "length"
    at: str  # place in the rig: "haul", "load", a body, or a strand such as "A1>T1"
    port: str | None  # device path or URL; None: the channel is imported, never recorded
    baud: int | None  # bits per second of a serial line
    format: str  # line format, a key of `line_formats.LINE_FORMATS`
    unit: str  # of a reading and of `zero`, e.g. "kN"; one "count" is `scale` N or m
    id: str | None = None  # xdr: the transducer's name; json: the key
    column: int | None = None  # columns: place of the number in the line, from 1
    separator: str | None = None  # columns: text between numbers; None: not stated
    decimal: str | None = None  # columns, text: decimal mark, "." or ","; None: not stated
    thousands: str | None = None  # columns, text: mark between thousands; None: there is none
    count: int | None = None  # columns: numbers in a good line; None: learned from the lines
    after: str | None = None  # text: what stands before the number; None: not stated
    number: int | None = None  # text: which number of the line, or behind `after`, from 1
    first_character: int | None = None  # text: place of the number's first character, from 1
    last_character: int | None = None  # text: place of its last character, from 1
    overload: tuple[str, ...] = ()  # text: words for a reading beyond the device's capacity
    time: str | None = None  # json: key of the device's own time; None: it sends none
    time_column: int | None = None  # columns: place of the device's own time, from 1
    time_after: str | None = None  # text: what stands before the device's own time
    time_unit: str = "s"  # of the device's own time: "s", "ms" or "us"
    time_modulus: float | None = None  # time at which it starts again from 0, in `time_unit`
    ends: str | None = None  # what ends a line, see `formats.line_ends`; None: LF, CR, CRLF or ETX
    checksum: bool = True  # xdr: whether a sentence without a checksum is dropped
    modulus: float | None = None  # reading at which a counter starts again from 0; None: never
    zero: float = 0.0  # reading of the unloaded device, in `unit`
    scale: float = 1.0  # factor of a net reading; N or m per count if `unit` is "count"
    u_percent: float = 0.0  # relative standard uncertainty, % of the value
    u: float = 0.0  # absolute standard uncertainty, added in quadrature, N or m
    capacity: float | None = None  # N or m; a value beyond it is saturated
    stale_after_s: float = 1.0  # silence after which the last reading is too old, s; inf: never
    warn_at: float | None = None  # alarm level "caution", N or m
    stop_at: float | None = None  # alarm level "stop", N or m
    calibration: Calibration | None = None  # curve used in place of `scale` and `u`
    calibration_file: str | None = None  # path of that curve's file, as in the sensors file
    delay_s: float | None = None  # time from the measurement to its arrival, s; None: unknown
    delay_u_s: float | None = None  # standard uncertainty of `delay_s`, s
    framing: str = "8N1"  # data bits, parity and stop bits of a serial line
    ask: str | None = None  # question that the device answers; None: it sends by itself
    every_s: float | None = None  # time from one question to the next, s
    answer_s: float | None = None  # longest time to wait for an answer, s
    modbus: ModbusRegisters | None = None  # modbus: where its number stands
    states_u: bool = True  # whether the sensors file states u, u_percent or a calibration

    @property
    def has_time(self) -> bool:
        """Whether its lines carry the device's own time."""
        return not (self.time is None and self.time_column is None and self.time_after is None)

    @property
    def modbus_place(self) -> tuple[int, str, int] | None:
        """Device, table and first register; the same for two channels that read the same."""
        at = self.modbus
        return None if at is None else (at.device_id, at.table, at.first)

    @property
    def text_place(self) -> tuple[str | int | None, ...]:
        """Where the number of a `text` line stands; the same for two channels that read the same."""
        return self.after, self.number or 1, self.first_character, self.last_character

    def si(self, reading: Values, zero: float | None = None) -> Values:
        """Convert readings (in `unit`) to N or m; scalar or array, same shape.

        zero: the zero that holds, in `unit`; None: the sensors file's.
        Value = unit factor x scale x (reading - zero), or the calibration's inverse of
        (reading - zero).
        """
        net = reading - (self.zero if zero is None else zero)
        if self.calibration is not None:
            return self.calibration.apply(net)
        return net * (to_si(self.unit) * self.scale)

    def u_si(self, value_si: Values, zero: float | None = None) -> Values:
        """Standard uncertainty of values `value_si`, each from one reading; N or m, same shape.

        zero: the zero that holds, in `unit`; None: the sensors file's.  With a zero other than 0, a
        calibrated value is the difference of two readings, which `Calibration.u_tared` covers.
        """
        share = value_si * (self.u_percent / 100.0)
        own: Any = self.u
        if self.calibration is not None:
            tared = (self.zero if zero is None else zero) != 0.0
            own = (self.calibration.u_tared if tared else self.calibration.u_applied)(value_si)
        return (share * share + own * own) ** 0.5  # type: ignore[no-any-return]

    def saturated(self, reading: Values) -> Any:
        """Whether readings (in `unit`) exceed the capacity, with a zero of 0; same shape."""
        if self.capacity is None:
            return abs(reading) < 0.0  # False, in the shape of the input
        return abs(self.si(reading, 0.0)) > self.capacity

    def zero_for(self, resting_reading: float) -> float:
        """The zero, in `unit`, with which `resting_reading` (in `unit`) converts to 0 N or 0 m.

        The calibration's inverse subtracts c0 itself, so it is left out of the zero.
        """
        if self.calibration is None:
            return resting_reading
        return resting_reading - self.calibration.coefficients[0]

    def reading_at(self, value_si: float) -> float | None:
        """The reading (in `unit`) that the device sends at `value_si` (N or m), with the file's
        zero; None if its curve does not reach that value.

        By bisection, which works for every curve that rises or falls throughout.
        """

        def above(reading: float) -> float:
            """Value of a `reading` (in `unit`) minus value_si, N or m."""
            return float(self.si(reading)) - value_si

        try:
            step = 1.0
            start = above(self.zero)
            slope = above(self.zero + 1e-3) - start
            if slope == 0.0 or not math.isfinite(slope):
                return None
            direction = math.copysign(1.0, -start * slope)  # sign of a step toward the value
            low, high = self.zero, self.zero
            for _ in range(MOST_STEPS):
                high = self.zero + direction * step
                if above(high) * start <= 0:
                    break
                low, step = high, 2 * step
            else:
                return None
            for _ in range(MOST_STEPS):
                middle = (low + high) / 2
                if above(middle) * start > 0:
                    low = middle
                else:
                    high = middle
            return high
        except (ArithmeticError, ValueError):
            return None


@dataclass(frozen=True)
class Sensors:
    """The channels of one sensors file."""

    channels: tuple[Channel, ...]  # in the order of the file
    text: str  # the file's text as read
    file: str  # the file's path, for faults

    def by_name(self, name: str) -> Channel:
        """The channel of that name; raises KeyError if there is none."""
        for channel in self.channels:
            if channel.name == name:
                return channel
        raise KeyError(name)

    def ports(self) -> dict[str, tuple[Channel, ...]]:
        """The channels by port, both in the order of the file; imported channels are left out."""
        by_port: dict[str, list[Channel]] = {}
        for channel in self.channels:
            if channel.port is not None:
                by_port.setdefault(channel.port, []).append(channel)
        return {port: tuple(channels) for port, channels in by_port.items()}
