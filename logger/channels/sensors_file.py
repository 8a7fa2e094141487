"""Reads the sensors file: the channels, where they measure, how their readings convert to SI."""

from __future__ import annotations

import math
import os
import re
from collections import Counter
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from logger.calibration import calibration as calibrations
from logger.calibration.curve import Calibration
from logger.channels.asking import check_asking, read_asking, stale_default_s
from logger.channels.channel import Channel, Sensors
from logger.channels.channel_keys import CHANNEL
from logger.channels.framing import CURE as FRAMING_CURE
from logger.channels.framing import USUAL, parse_framing
from logger.channels.line_formats import LINE_FORMATS, NAMED_ENDS, by_hand, check_belongs
from logger.channels.modbus_registers import MODBUS, check_registers
from logger.channels.port_schemes import (
    HAND,
    SCHEMES,
    SECRET,
    normal_port,
    refusal,
    scheme_of,
    secret_in,
    without_secret,
)
from logger.device_units import COUNT
from logger.errors import SensorsFault, one_line
from logger.toml_tables import CHANNELS, ROPES, Table, parse_toml, read_text

_BACKSLASHES = ", and single quotes round a name with backslashes"


def load_sensors(path: str | os.PathLike[str]) -> Sensors:
    """Read a sensors file and the calibration files it names; raises SensorsFault."""
    return parse_sensors(read_text(Path(path), SensorsFault), os.fspath(path), Path(path).parent)


def parse_sensors(
    text: str,
    file: str,
    folder: Path | None = None,
    *,
    copies: bool = False,
    recorded: bool = False,
) -> Sensors:
    """The sensors that `text` describes; raises SensorsFault.

    file: path of the file, for faults
    folder: where the calibration files lie; None: the current folder
    copies: `folder` is a session's, with copies named by `calibration_copy_name`; implies recorded
    recorded: the text is a session's, so its ports are not opened and may have any scheme
    """
    top = Table(parse_toml(text, file, SensorsFault), file, "", SensorsFault)
    if ROPES in top.data and CHANNELS not in top.data:
        raise SensorsFault(
            file, "this is a rig file, not a sensors file", "give the sensors file in its place"
        )
    rows = top.raw(CHANNELS)
    top.done()
    if not isinstance(rows, list) or not rows:
        raise SensorsFault(file, "there is no channel", "write at least one [[channel]] table")
    channels = tuple(
        _channel(
            Table(row, file, f"channel {number}", SensorsFault, CHANNEL),
            folder or Path(),
            copies,
            recorded or copies,
        )
        for number, row in enumerate(rows, 1)
    )
    _check_together(channels, file)
    check_registers(channels, file, recorded or copies)
    check_asking(channels, file, recorded or copies)
    return Sensors(channels, text, file)


def for_recording(sensors: Sensors) -> None:
    """Check that every channel has the port and the baud rate to record; raises SensorsFault."""
    for channel in sensors.channels:
        where = f"channel {channel.name}"
        if channel.port is None:
            raise SensorsFault(
                sensors.file,
                "port is missing, and recording needs it",
                'write port = "/dev/ttyUSB0" or another port that `haul ports` lists',
                where,
            )
        scheme = scheme_of(channel.port)
        package = SCHEMES[MODBUS].package if channel.modbus else scheme and scheme.package
        if package and find_spec(package.partition("-")[0]) is None:
            raise SensorsFault(
                sensors.file,
                f"this port needs {package}, which is not installed",
                f"run pip install {package}",
                where,
            )
        if channel.baud is None and (scheme is None or scheme.needs_baud):
            raise SensorsFault(
                sensors.file,
                "baud is missing, and recording needs it",
                "write baud = the device's rate, such as 115200",
                where,
            )


def calibration_copy_name(reference: str) -> str:
    """The file name under which a session keeps its copy of a calibration file.

    reference: path of the file, as in the sensors file.
    """
    steps = [step for step in re.split(r"[\\/]+", reference) if step not in ("", ".", "..")]
    name = re.sub(r"[^A-Za-z0-9._-]+", "_", "_".join(steps)).lstrip(".-")
    return name[-100:] or "calibration.toml"


def _channel(table: Table, folder: Path, copies: bool, recorded: bool) -> Channel:
    name = _free_text(table, "name", 60)
    if name in ("time_s", "utc"):
        raise table.fault(
            "name", f'"{name}" is the name of a column in the tables', "choose another name"
        )
    table.name = f"channel {name}"
    quantity = _needed(
        table,
        "quantity",
        table.text("quantity"),
        'write quantity = "force" or "length"',
    )
    at = _free_text(table, "at", 200)
    port = _port(table, recorded)
    hand = port == HAND
    if hand:
        _check_hand(table)
    of_format = by_hand(table, quantity, name) if hand else _of_format(table, quantity)
    capacity = table.number("capacity")
    warn_at = table.number("warn_at")
    stop_at = table.number("stop_at")
    for key, level in (("stop_at", stop_at), ("warn_at", warn_at)):
        if level is not None and capacity is not None and level > capacity:
            raise table.fault(
                key,
                f"{level:g} is above the capacity {capacity:g}, where readings are saturated",
                f"write {key} = at most {capacity:g}",
            )
    if warn_at is not None and stop_at is not None and warn_at > stop_at:
        raise table.fault(
            "warn_at",
            f"{warn_at:g} is above stop_at = {stop_at:g}",
            f"write warn_at = at most {stop_at:g}",
        )
    scale = table.number("scale")
    if scale == 0.0:
        raise table.fault(
            "scale", "0 would make every value 0", "write the factor from a reading to its value"
        )
    reference, curve = _calibration(table, folder, copies)
    if curve is not None and curve.quantity not in (None, quantity):
        raise table.fault(
            "calibration",
            f"{reference} calibrates a {curve.quantity}, but this channel measures a {quantity}",
            "name the file that was made for this channel",
        )
    if of_format["unit"] == COUNT and scale is None and curve is None and not recorded:
        raise table.fault(
            "scale",
            'is missing, and unit = "count" needs it',
            f"write scale = the {'newtons' if quantity == 'force' else 'metres'} in one count, "
            "or name a calibration",
        )
    delay_s, delay_u_s = _delay(table)
    asking = read_asking(table, polled=of_format["format"] == MODBUS)
    states_u = curve is not None or table.has("u") or table.has("u_percent")
    channel = Channel(
        name=name,
        quantity=quantity,
        at=at,
        port=port,
        baud=table.whole("baud"),
        ends=_ends(table),
        modulus=_modulus(table, quantity),
        zero=table.number("zero") or 0.0,
        scale=1.0 if scale is None else scale,
        u_percent=table.number("u_percent") or 0.0,
        u=table.number("u") or 0.0,
        capacity=capacity,
        stale_after_s=(
            math.inf if hand else table.number("stale_after_s") or stale_default_s(asking.every_s)
        ),
        warn_at=warn_at,
        stop_at=stop_at,
        calibration=curve,
        calibration_file=reference,
        delay_s=delay_s,
        delay_u_s=delay_u_s,
        framing=_framing(table),
        ask=asking.ask,
        every_s=asking.every_s,
        answer_s=asking.answer_s,
        states_u=states_u,
        **of_format,
    )
    table.done()
    return channel


def _check_hand(table: Table) -> None:
    """Refuse keys that a channel whose numbers a person enters has no use for."""
    of_lines = {key for each in LINE_FORMATS.values() for key in each.takes}
    for key in table.data:
        if key in of_lines | {"format", "stale_after_s"}:
            raise table.fault(key, f'does not belong to port = "{HAND}"', f"leave {key} out")


def _of_format(table: Table, quantity: str) -> dict[str, Any]:
    """The channel's line format and the fields that it reads; raises SensorsFault."""
    line_format = _needed(
        table, "format", table.text("format", choices=LINE_FORMATS), _format_cure()
    )
    check_belongs(table, line_format)
    return {"format": line_format, **LINE_FORMATS[line_format].read(table, quantity)}


def _modulus(table: Table, quantity: str) -> float | None:
    """The reading at which a counter starts again; None if it never does."""
    modulus = table.number("modulus")
    if modulus is not None and quantity != "length":
        raise table.fault(
            "modulus", f"is for a counter of length, not for a {quantity}", "leave modulus out"
        )
    return modulus


def _ends(table: Table) -> str | None:
    """What ends a line; None if it is not stated."""
    ends = table.text("ends")
    cure = 'write "lf", "cr", "crlf", "etx", "pause", or the text that ends each line'
    if ends is None or ends in NAMED_ENDS:
        return ends
    if ends.lower() in NAMED_ENDS:
        raise table.fault(
            "ends", f'"{ends}" would be a text in the line', f'write "{ends.lower()}"'
        )
    if not ends.isascii() or not re.search(r"[^0-9+\-., \t]", ends):
        raise table.fault("ends", f'"{one_line(ends)}" may stand within a line', cure)
    return ends


def _framing(table: Table) -> str:
    """How a character travels on the channel's serial line, such as "8N1"."""
    text = table.text("framing")
    text = USUAL if text is None else text
    try:
        parse_framing(text)
    except ValueError as error:
        raise table.fault("framing", str(error), FRAMING_CURE) from None
    return text


def _delay(table: Table) -> tuple[float | None, float | None]:
    """The delay and its standard uncertainty, s; both or neither: a correction needs both."""
    delay = table.number("delay_s")
    delay_u = table.number("delay_u_s")
    for key, value, other in (("delay_s", delay, delay_u), ("delay_u_s", delay_u, delay)):
        if value is None and other is not None:
            raise table.fault(
                key,
                "is missing",
                "write both delay_s and delay_u_s (standard uncertainty), or neither",
            )
    return delay, delay_u


def _needed(table: Table, key: str, value: str | None, cure: str) -> str:
    if value is None or not value:
        raise table.fault(key, "is missing", cure)
    return value


def _free_text(table: Table, key: str, most: int) -> str:
    value = _needed(table, key, table.text(key, most=most), f'write {key} = "text"')
    if not value.isprintable() or value != value.strip():
        raise table.fault(
            key,
            "begins or ends with a space, or holds a control character",
            "take that character out",
        )
    return value


def _port(table: Table, recorded: bool) -> str | None:
    port = table.text("port")
    if port is None:
        return None
    if not port.strip() or not port.isprintable():
        raise table.fault(
            "port",
            "is empty or holds a control character",
            'write port = "/dev/ttyUSB0" or the like' + _BACKSLASHES,
        )
    if not recorded:
        _check_scheme(table, port)
    return normal_port(port)


def _check_scheme(table: Table, port: str) -> None:
    """Refuse a port that no entry of SCHEMES opens; raises SensorsFault."""
    scheme = scheme_of(port)
    if secret_in(port):
        raise table.fault("port", *SECRET)
    if scheme is None:
        raise table.fault("port", *refusal(port))
    if scheme.check is not None:
        try:
            scheme.check(normal_port(port))
        except ValueError as error:
            fault, _, cure = str(error).rpartition("; ")
            raise table.fault("port", f'"{without_secret(port)}" {fault}', cure) from None


def _format_cure() -> str:
    *first, last = (f'"{name}"' for name in LINE_FORMATS)
    return f"write format = {', '.join(first)} or {last}"


def _calibration(table: Table, folder: Path, copies: bool) -> tuple[str | None, Calibration | None]:
    reference = table.text("calibration")
    if reference is None:
        return None, None
    if not reference.strip() or not reference.isprintable():
        raise table.fault(
            "calibration",
            "names no file, or holds a control character",
            'write calibration = "cell-1.toml"' + _BACKSLASHES,
        )
    name = calibration_copy_name(reference) if copies else reference
    if copies and not (folder / name).is_file():  # reading a pipe of this name would never end
        raise table.fault(
            "calibration",
            f"there is no copy of {reference} in the session",
            "use a complete copy of the session",
        )
    return reference, calibrations.load(folder / name)


def _check_together(channels: tuple[Channel, ...], file: str) -> None:
    for name, times in Counter(channel.name for channel in channels).items():
        if times > 1:
            raise SensorsFault(
                file, f'{times} channels are called "{name}"', "give each channel its own name"
            )
    copies: dict[str, str] = {}
    for channel in channels:
        reference = channel.calibration_file
        if reference is None:
            continue
        if copies.setdefault(calibration_copy_name(reference), reference) != reference:
            raise SensorsFault(
                file,
                f'"{reference}" and "{copies[calibration_copy_name(reference)]}" would get '
                "the same file name in the session",
                "rename one of the files",
                f"channel {channel.name}",
            )
    first: dict[str, Channel] = {}
    seen: dict[tuple[str, str | None, Any], str] = {}
    for channel in channels:
        if channel.port is None:
            continue
        where = f"channel {channel.name}"
        other = first.setdefault(channel.port, channel)
        line_format = LINE_FORMATS[channel.format]
        for key in ("baud", "framing", "format", "ends", *line_format.shared):
            mine, theirs = getattr(channel, key), getattr(other, key)
            if key == "separator" and "," not in (channel.decimal, channel.thousands):
                # an unstated separator is a comma, unless the decimal mark is
                mine, theirs = mine or ",", theirs or ","
            if mine != theirs:
                raise SensorsFault(
                    file,
                    f"{key} differs from channel {other.name}'s on the same port",
                    f"give both the same {key}",
                    where,
                )
        key = line_format.address
        source = (channel.port, channel.ask, getattr(channel, line_format.place or key))
        if source in seen:
            raise SensorsFault(
                file,
                f"reads the same {key} of the same port as channel {seen[source]}",
                f"give it its own {key}, or leave the channel out",
                where,
            )
        seen[source] = channel.name
