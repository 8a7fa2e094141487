"""A channel: one measured quantity of a device, and what its readings are worth in SI."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from logger.calibration.curve import Calibration
from logger.device_units import to_si

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

Values = TypeVar("Values", float, "npt.NDArray[np.float64]")
MOST_STEPS = 200  # doublings, then halvings, after which a reading is exact or was never there


@dataclass(frozen=True)
class Channel:
    """One measured quantity.  A reading is a number as the device sends it; a value is in SI."""

    name: str  # unique in the sensors file
    quantity: str  # "force" or "length"
    at: str  # where in the rig it is measured: haul, load, a body or a strand "A1>T1"
    port: str | None  # device path or URL; None: imported, never recorded
    baud: int | None  # bits per second of a serial line
    format: str  # how a line is read: a name in `line_formats.LINE_FORMATS`
    unit: str  # of a reading and of `zero`; "count" is worth `scale`
    id: str | None = None  # xdr: the transducer's name; json: the key
    column: int | None = None  # columns: place in the line, from 1
    separator: str | None = None  # columns: what splits a line; None: not stated
    decimal: str | None = None  # columns: "." or ","; None: not stated
    count: int | None = None  # columns: numbers in a good line; None: learned from the lines
    checksum: bool = True  # xdr: whether a sentence without a checksum is dropped
    zero: float = 0.0  # reading with nothing on the device, in `unit`
    scale: float = 1.0  # factor of a net reading; N or m a count where `unit` is "count"
    u_percent: float = 0.0  # standard uncertainty, % of the value
    u: float = 0.0  # standard uncertainty beside it, N or m
    capacity: float | None = None  # N or m; a value beyond it is saturated
    stale_after_s: float = 1.0  # silence after which the last reading is too old, s
    warn_at: float | None = None  # alarm level "caution", N or m
    stop_at: float | None = None  # alarm level "stop", N or m
    calibration: Calibration | None = None  # curve that takes the place of `scale` and `u`
    calibration_file: str | None = None  # its file, as the sensors file names it
    delay_s: float | None = None  # how much later than it was true a reading arrives, s; None: unknown
    delay_u_s: float | None = None  # standard uncertainty of `delay_s`, s

    def si(self, reading: Values, zero: float | None = None) -> Values:
        """Readings (as sent, in `unit`) in N or m; scalar or array, same shape.

        Unit factor x scale x (reading - zero), or the calibration's inverse of (reading - zero).
        """
        net = reading - (self.zero if zero is None else zero)
        if self.calibration is not None:
            return self.calibration.apply(net)
        return net * (to_si(self.unit) * self.scale)

    def u_si(self, value_si: Values, zero: float | None = None) -> Values:
        """Standard uncertainty (SI) of one reading worth `value_si`; same shape.

        zero: the one that holds (None: the file's); a calibrated channel with a zero of its own
        is worth the difference of two readings.
        """
        share = value_si * (self.u_percent / 100.0)
        own: Any = self.u
        if self.calibration is not None:
            tared = (self.zero if zero is None else zero) != 0.0
            own = (self.calibration.u_tared if tared else self.calibration.u_applied)(value_si)
        return (share * share + own * own) ** 0.5  # type: ignore[no-any-return]

    def saturated(self, reading: Values) -> Any:
        """Whether readings are beyond the capacity, judged before any zero; bool or bool array."""
        if self.capacity is None:
            return abs(reading) < 0.0  # all false, in the shape of the input
        return abs(self.si(reading, 0.0)) > self.capacity

    def zero_for(self, resting_reading: float) -> float:
        """The zero that makes a resting reading worth nothing.

        A calibration's c0 is taken off once already, so only what differs from it is the zero.
        """
        if self.calibration is None:
            return resting_reading
        return resting_reading - self.calibration.coefficients[0]

    def reading_at(self, value_si: float) -> float | None:
        """The reading that the device sends at a value (N or m), with the file's zero; None where
        its curve never gets there.  By halving, so that any curve that rises or falls will do."""

        def above(reading: float) -> float:
            return float(self.si(reading)) - value_si

        try:
            step = 1.0
            start = above(self.zero)
            slope = above(self.zero + 1e-3) - start
            if slope == 0.0 or not math.isfinite(slope):
                return None
            direction = math.copysign(1.0, -start * slope)  # in which the difference shrinks
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
    text: str  # the file as it was read
    file: str  # its path, for faults

    def by_name(self, name: str) -> Channel:
        """The channel of that name; KeyError if there is none."""
        for channel in self.channels:
            if channel.name == name:
                return channel
        raise KeyError(name)

    def ports(self) -> dict[str, tuple[Channel, ...]]:
        """The channels of each port, in the order of the file."""
        by_port: dict[str, list[Channel]] = {}
        for channel in self.channels:
            if channel.port is not None:
                by_port.setdefault(channel.port, []).append(channel)
        return {port: tuple(channels) for port, channels in by_port.items()}
