"""Lists the line formats: the keys that a channel of each takes, their checks, and the decoder.

The sensors file checks its keys by this table, so the table lies below the decoders and names them
as text.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from logger.device_units import units_for
from logger.toml_tables import Table

XDR_UNIT = {"force": "N", "length": "m"}


@dataclass(frozen=True)
class LineFormat:
    """One line format.

    read: reads and checks the keys of a channel: (table, quantity) -> fields of Channel; raises
        SensorsFault
    """

    decoder: str  # "module:Class" of a `formats.base.Decoder`, loaded at its first use
    takes: tuple[str, ...]  # keys that belong to this format, without `unit`
    address: str  # the key whose value differs for each channel of a port
    read: Callable[[Table, str], dict[str, Any]]
    shared: tuple[str, ...] = ()  # keys whose value is the same for all channels of a port


def _xdr(table: Table, quantity: str) -> dict[str, Any]:
    unit, must = table.text("unit"), XDR_UNIT[quantity]
    if unit not in (None, must):
        raise table.fault(
            "unit",
            f'an xdr sentence carries {quantity} in {must}, not "{unit}"',
            f'write unit = "{must}" or leave it out',
        )
    name = _id(table, "xdr", "the transducer's name")
    if not re.fullmatch(r"[!-#%-)+\-./0-~][ -#%-)+\-./0-~]*", name):
        raise table.fault(
            "id",
            f'"{name}" cannot stand in an xdr sentence',
            "use ASCII characters other than comma, $ and *",
        )
    return {"unit": must, "id": name, "checksum": table.flag("checksum") is not False}


def _json(table: Table, quantity: str) -> dict[str, Any]:
    return {"unit": _unit(table, quantity), "id": _id(table, "json", "the key of the object")}


def _columns(table: Table, quantity: str) -> dict[str, Any]:
    """`decimal` and `separator` are None if they are not stated; the decoder then drops lines with
    an ambiguous comma."""
    unit = _unit(table, quantity)
    separator = table.text("separator", most=8)
    if separator is not None and (
        not separator or not separator.isascii() or re.search(r"[0-9A-Za-z+\-.\r\n]", separator)
    ):
        raise table.fault(
            "separator", "cannot stand between numbers", 'write "," or ";" or " " or "\\t"'
        )
    decimal = table.text("decimal", choices=(".", ","))
    if decimal is not None and decimal in (separator or ""):
        raise table.fault(
            "decimal",
            f'"{decimal}" cannot be the decimal mark and the separator too',
            'write another separator, such as ";", or leave decimal out',
        )
    column = table.whole("column", least=1, most=1000)
    if column is None:
        raise table.fault(
            "column",
            "is missing, and format columns needs it",
            "write column = the number's place in the line, from 1",
        )
    count = table.whole("count", least=1, most=1000)
    if count is not None and column > count:
        raise table.fault(
            "column",
            f"{column} is greater than count = {count}, the numbers in a line",
            "correct one of them",
        )
    return {
        "unit": unit,
        "column": column,
        "separator": separator,
        "decimal": decimal,
        "count": count,
    }


def by_hand(table: Table, quantity: str, name: str) -> dict[str, Any]:
    """Fields of a channel whose numbers a person enters; they stand for lines of JSON with the
    channel's name as key.  Raises SensorsFault."""
    return {"format": "json", "unit": _unit(table, quantity), "id": name}


def _unit(table: Table, quantity: str) -> str:
    unit = table.text("unit")
    fitting = units_for(quantity)
    if unit is None:
        raise table.fault("unit", "is missing", "write one of " + ", ".join(fitting))
    if unit not in fitting:
        raise table.fault(
            "unit", f'"{unit}" does not fit a {quantity}', "write one of " + ", ".join(fitting)
        )
    return unit


def _id(table: Table, line_format: str, what: str) -> str:
    name = table.text("id", most=60)
    if not name:
        raise table.fault(
            "id", f"is missing, and format {line_format} needs it", f'write id = "{what}"'
        )
    return name


LINE_FORMATS = {
    "xdr": LineFormat(
        decoder="logger.formats.xdr:XdrDecoder",
        takes=("id", "checksum"),
        address="id",
        read=_xdr,
    ),
    "columns": LineFormat(
        decoder="logger.formats.columns:ColumnsDecoder",
        takes=("column", "separator", "decimal", "count"),
        address="column",
        read=_columns,
        shared=("decimal", "separator", "count"),
    ),
    "json": LineFormat(
        decoder="logger.formats.json_lines:JsonDecoder",
        takes=("id",),
        address="id",
        read=_json,
    ),
}


def check_belongs(table: Table, line_format: str) -> None:
    """Refuse a key that belongs to another format than the channel's; raises SensorsFault."""
    for key in dict.fromkeys(key for each in LINE_FORMATS.values() for key in each.takes):
        formats = [name for name, each in LINE_FORMATS.items() if key in each.takes]
        if table.has(key) and line_format not in formats:
            raise table.fault(
                key,
                f"does not belong to format {line_format}",
                f"leave {key} out, or take format " + " or ".join(formats),
            )
