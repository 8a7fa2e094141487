"""The sensors file: which channels there are, where they sit, what a reading is worth in SI."""

from __future__ import annotations

import os
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from logger.calibration import calibration as calibrations
from logger.calibration.curve import Calibration
from logger.channels.port_schemes import ALLOWED, normal_port, refusal
from logger.device_units import to_si, units_for
from logger.errors import SensorsFault
from logger.toml_tables import Table, parse_toml, read_text

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

Values = TypeVar("Values", float, "npt.NDArray[np.float64]")

FORMATS = ("xdr", "columns", "json")
MOST_DELAY_S = 0.3  # what the analysis can allow for
XDR_UNIT = {"force": "N", "length": "m"}
_OF_FORMAT = {
    "id": ("xdr", "json"),
    "checksum": ("xdr",),
    "column": ("columns",),
    "separator": ("columns",),
    "decimal": ("columns",),
    "count": ("columns",),
}


@dataclass(frozen=True)
class Channel:
    """One measured quantity.  capacity, u, warn_at, stop_at in SI (N or m); zero in `unit`;
    separator, decimal: None where the file does not state them."""

    name: str
    quantity: str
    at: str
    port: str | None
    baud: int | None
    format: str
    id: str | None
    column: int | None
    separator: str | None
    count: int | None
    unit: str
    decimal: str | None = None
    checksum: bool = True
    zero: float = 0.0
    scale: float = 1.0
    u_percent: float = 0.0
    u: float = 0.0
    capacity: float | None = None
    stale_after_s: float = 1.0
    warn_at: float | None = None
    stop_at: float | None = None
    calibration: Calibration | None = None
    calibration_file: str | None = None
    delay_s: float | None = None  # how much later than it was true a reading arrives, None: not known
    delay_u_s: float | None = None  # standard uncertainty of it

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
        part = value_si * (self.u_percent / 100.0)
        own: Any = self.u
        if self.calibration is not None:
            tared = (self.zero if zero is None else zero) != 0.0
            own = (self.calibration.u_tared if tared else self.calibration.u_applied)(value_si)
        return (part * part + own * own) ** 0.5  # type: ignore[no-any-return]

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


@dataclass(frozen=True)
class Sensors:
    """The channels of one file.  text: as read; file: where from."""

    channels: tuple[Channel, ...]
    text: str
    file: str

    def by_name(self, name: str) -> Channel:
        """The channel of that name; KeyError if there is none."""
        for channel in self.channels:
            if channel.name == name:
                return channel
        raise KeyError(name)

    def ports(self) -> dict[str, tuple[Channel, ...]]:
        """The channels of each port, in the order of the file."""
        found: dict[str, list[Channel]] = {}
        for channel in self.channels:
            if channel.port is not None:
                found.setdefault(channel.port, []).append(channel)
        return {port: tuple(channels) for port, channels in found.items()}


def load_sensors(path: str | os.PathLike[str]) -> Sensors:
    """Read a sensors file and the calibrations it names; raises SensorsFault."""
    return parse_sensors(read_text(Path(path), SensorsFault), os.fspath(path), Path(path).parent)


def parse_sensors(
    text: str, file: str, folder: Path | None = None, *, copies: bool = False, recorded: bool = False
) -> Sensors:
    """The sensors in `text`; raises SensorsFault.

    folder: where calibration files lie (None: the current one); copies: `folder` holds a
    session's copies, under the names that `calibration_copy_name` gives; recorded: the text is a
    session's (so it is with copies), whose ports are not opened again and may be of any scheme.
    """
    top = Table(parse_toml(text, file, SensorsFault), file, "", SensorsFault)
    rows = top.raw("channel")
    top.done()
    if not isinstance(rows, list) or not rows:
        raise SensorsFault(file, "there is no channel", "write at least one [[channel]] table")
    channels = tuple(
        _channel(
            Table(row, file, f"channel {number}", SensorsFault), folder or Path(), copies,
            recorded or copies,
        )
        for number, row in enumerate(rows, 1)
    )
    _check_together(channels, file)
    return Sensors(channels, text, file)


def for_recording(sensors: Sensors) -> None:
    """Raise SensorsFault where a channel lacks what `record` needs: its port, and its baud rate."""
    for channel in sensors.channels:
        where = f"channel {channel.name}"
        if channel.port is None:
            raise SensorsFault(
                sensors.file, "port is missing, and recording needs it",
                'write port = "/dev/ttyUSB0" or another that `haul ports` lists', where,
            )
        if channel.baud is None and not channel.port.startswith("socket://"):
            raise SensorsFault(
                sensors.file, "baud is missing, and recording needs it",
                "write baud = the device's rate, such as 115200", where,
            )


def calibration_copy_name(reference: str) -> str:
    """The name under which a session keeps the calibration file that a channel refers to."""
    parts = [part for part in re.split(r"[\\/]+", reference) if part not in ("", ".", "..")]
    name = re.sub(r"[^A-Za-z0-9._-]+", "_", "_".join(parts)).lstrip(".-")
    return name[-100:] or "calibration.toml"


def _channel(table: Table, folder: Path, copies: bool, recorded: bool) -> Channel:
    name = _free_text(table, "name", 60)
    if name in ("time_s", "utc"):
        raise table.fault("name", f'"{name}" is the name of a column', "take another name")
    table.name = f"channel {name}"
    quantity = _needed(table, "quantity", table.text("quantity", choices=("force", "length")),
                       'write quantity = "force" or "length"')
    at = _free_text(table, "at", 200)
    line_format = _needed(table, "format", table.text("format", choices=FORMATS),
                          'write format = "xdr", "columns" or "json"')
    for key, formats in _OF_FORMAT.items():
        if table.has(key) and line_format not in formats:
            raise table.fault(
                key, f"does not belong to format {line_format}",
                f"leave {key} out, or take format " + " or ".join(formats),
            )
    unit = _unit(table, quantity, line_format)
    capacity = table.number("capacity", above=0.0)
    warn_at = table.number("warn_at", above=0.0)
    stop_at = table.number("stop_at", above=0.0)
    for key, level in (("stop_at", stop_at), ("warn_at", warn_at)):
        if level is not None and capacity is not None and level > capacity:
            raise table.fault(
                key, f"{level:g} is above the capacity {capacity:g}, where readings are saturated",
                f"write {key} = at most {capacity:g}",
            )
    if warn_at is not None and stop_at is not None and warn_at > stop_at:
        raise table.fault("warn_at", f"{warn_at:g} is above stop_at = {stop_at:g}", "lower it")
    scale = table.number("scale")
    if scale == 0.0:
        raise table.fault("scale", "0 makes every reading nothing", "write what multiplies it")
    reference, curve = _calibration(table, folder, copies)
    if curve is not None and curve.quantity not in (None, quantity):
        raise table.fault(
            "calibration", f"{reference} is of a {curve.quantity}, this channel of a {quantity}",
            "name the file that was made for it",
        )  # fmt: skip
    checksum = table.flag("checksum")
    decimal, separator = _marks(table)
    delay_s, delay_u_s = _delay(table)
    channel = Channel(
        name=name,
        quantity=quantity,
        at=at,
        port=_port(table, recorded),
        baud=table.whole("baud", least=50, most=10_000_000),
        format=line_format,
        id=_id(table, line_format),
        column=_column(table, line_format),
        separator=separator,
        decimal=decimal,
        count=table.whole("count", least=1, most=1000),
        checksum=True if checksum is None else checksum,
        unit=unit,
        zero=table.number("zero") or 0.0,
        scale=1.0 if scale is None else scale,
        u_percent=table.number("u_percent", least=0.0, most=100.0) or 0.0,
        u=table.number("u", least=0.0) or 0.0,
        capacity=capacity,
        stale_after_s=table.number("stale_after_s", above=0.0, most=3600.0) or 1.0,
        warn_at=warn_at,
        stop_at=stop_at,
        calibration=curve,
        calibration_file=reference,
        delay_s=delay_s,
        delay_u_s=delay_u_s,
    )
    if channel.column and channel.count and channel.column > channel.count:
        raise table.fault(
            "column", f"{channel.column} is beyond count = {channel.count}", "mend one of them"
        )
    table.done()
    return channel


def _delay(table: Table) -> tuple[float | None, float | None]:
    """Both or none: a delay without its uncertainty can't be allowed for."""
    delay = table.number("delay_s", least=-MOST_DELAY_S, most=MOST_DELAY_S)
    doubt = table.number("delay_u_s", least=0.0, most=MOST_DELAY_S)
    for key, value, other in (("delay_s", delay, doubt), ("delay_u_s", doubt, delay)):
        if value is None and other is not None:
            raise table.fault(
                key, "is missing", "write delay_s and delay_u_s (standard uncertainty), or none of them"
            )
    return delay, doubt


def _needed(table: Table, key: str, value: str | None, cure: str) -> str:
    if value is None or not value:
        raise table.fault(key, "is missing", cure)
    return value


def _free_text(table: Table, key: str, most: int) -> str:
    value = _needed(table, key, table.text(key, most=most), f'write {key} = "text"')
    if not value.isprintable() or value != value.strip():
        raise table.fault(key, "has a space at an end or a control character", "leave it out")
    return value


def _unit(table: Table, quantity: str, line_format: str) -> str:
    unit = table.text("unit")
    fitting = units_for(quantity)
    if line_format == "xdr":
        must = XDR_UNIT[quantity]
        if unit not in (None, must):
            raise table.fault(
                "unit", f'an xdr sentence carries {quantity} in {must}, not "{unit}"',
                f'write unit = "{must}" or leave it out',
            )
        return must
    if unit is None:
        raise table.fault("unit", "is missing", "write one of " + ", ".join(fitting))
    if unit not in fitting:
        raise table.fault(
            "unit", f'"{unit}" does not fit a {quantity}', "write one of " + ", ".join(fitting)
        )
    return unit


def _port(table: Table, recorded: bool) -> str | None:
    port = table.text("port", most=300)
    if port is None:
        return None
    if not port.strip() or not port.isprintable():
        raise table.fault("port", "is empty or holds a control character", "name a port")
    if not recorded and (why := refusal(port)):
        raise table.fault("port", why, f"write {ALLOWED}")
    return normal_port(port)


def _id(table: Table, line_format: str) -> str | None:
    name = table.text("id", most=60)
    if line_format == "columns":
        return None
    what = "the transducer's name" if line_format == "xdr" else "the key of the object"
    if not name:
        raise table.fault("id", f"is missing, and format {line_format} needs it",
                          f'write id = "{what}"')
    if line_format == "xdr" and not re.fullmatch(r"[!-#%-)+\-./0-~][ -#%-)+\-./0-~]*", name):
        raise table.fault("id", f'"{name}" cannot stand in an xdr sentence',
                          "use ASCII without comma, $ and *")
    return name


def _column(table: Table, line_format: str) -> int | None:
    column = table.whole("column", least=1, most=1000)
    if line_format == "columns" and column is None:
        raise table.fault("column", "is missing, and format columns needs it",
                          "write column = the number's place in the line, from 1")
    return column


def _marks(table: Table) -> tuple[str | None, str | None]:
    """`decimal` and `separator`, each None where it is not stated: then no comma is guessed."""
    separator = table.text("separator", most=8)
    if separator is not None and (
        not separator or not separator.isascii() or re.search(r"[0-9A-Za-z+\-.\r\n]", separator)
    ):
        raise table.fault("separator", "cannot split numbers", 'write "," ";" " " or "\\t"')
    decimal = table.text("decimal", choices=(".", ","))
    if decimal is not None and decimal in (separator or ""):
        raise table.fault(
            "decimal", f'"{decimal}" stands in separator too, and one mark cannot be both',
            'write separator = ";" or another, or leave decimal out',
        )
    return decimal, separator


def _calibration(
    table: Table, folder: Path, copies: bool
) -> tuple[str | None, Calibration | None]:
    reference = table.text("calibration", most=300)
    if reference is None:
        return None, None
    if not reference.strip() or not reference.isprintable():
        raise table.fault("calibration", "names no file", 'write calibration = "cell-1.toml"')
    name = calibration_copy_name(reference) if copies else reference
    if copies and not (folder / name).is_file():  # a pipe under this name would never end
        raise table.fault("calibration", f"there is no copy of {reference} in the session",
                          "take a copy of the session that is whole")
    return reference, calibrations.load(folder / name)


def _check_together(channels: tuple[Channel, ...], file: str) -> None:
    for name, times in Counter(channel.name for channel in channels).items():
        if times > 1:
            raise SensorsFault(file, f'{times} channels are called "{name}"', "rename one")
    copies: dict[str, str] = {}
    for channel in channels:
        reference = channel.calibration_file
        if reference is None:
            continue
        if copies.setdefault(calibration_copy_name(reference), reference) != reference:
            raise SensorsFault(
                file, f'"{reference}" and "{copies[calibration_copy_name(reference)]}" would be '
                "one file in the session", "rename one of them", f"channel {channel.name}",
            )
    first: dict[str, Channel] = {}
    seen: dict[tuple[str, str | int | None], str] = {}
    for channel in channels:
        if channel.port is None:
            continue
        where = f"channel {channel.name}"
        other = first.setdefault(channel.port, channel)
        for key in ("baud", "format", "decimal", "separator", "count"):
            mine, theirs = getattr(channel, key), getattr(other, key)
            if key == "separator" and channel.decimal != ",":
                # a comma that one of them states holds for the port
                mine, theirs = mine or ",", theirs or ","
            if mine != theirs:
                raise SensorsFault(
                    file, f"{key} differs from channel {other.name}'s on the same port",
                    f"give both the same {key}", where,
                )
        mark = (channel.port, channel.column if channel.format == "columns" else channel.id)
        if mark in seen:
            key = "column" if channel.format == "columns" else "id"
            raise SensorsFault(
                file, f"reads the same {key} of the same port as channel {seen[mark]}",
                f"give it its own {key}, or leave the channel out", where,
            )
        seen[mark] = channel.name
