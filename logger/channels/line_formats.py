"""Lists the line formats: the keys that a channel of each takes, their checks, and the decoder.

The sensors file checks its keys by this table, so the table lies below the decoders and names them
as text.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from logger.channels.modbus_registers import KEYS as MODBUS_KEYS
from logger.channels.modbus_registers import MODBUS, read_registers
from logger.device_units import units_for
from logger.toml_tables import Table

NAMED_ENDS = ("lf", "cr", "crlf", "etx", "pause")  # values of `ends` that are no text of a line
_TIME = ("time_unit", "time_modulus")
OVERLOAD = ("OL", "OVER", "------", "ERR")  # by definition, interface section 2
MOST_CHARACTERS = 4096  # by definition: a line is no longer
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
    place: str = ""  # the field of Channel that differs, if it is not called as the key
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
    return {
        "unit": _unit(table, quantity),
        "id": _id(table, "json", "the key of the object"),
        "time": table.text("time", most=60),
        **_time(table, "time"),
    }


def _time(table: Table, key: str) -> dict[str, Any]:
    """Unit and modulus of the device's own time, which stands at `key`."""
    unit = table.text("time_unit", choices=("s", "ms", "us"))
    modulus = table.number("time_modulus", above=0.0)
    for name, value in (("time_unit", unit), ("time_modulus", modulus)):
        if value is not None and not table.has(key):
            raise table.fault(
                name,
                f"does not go without {key}",
                f"write {key} = where the device's own time stands, or leave {name} out",
            )
    return {"time_unit": unit or "s", "time_modulus": modulus}


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
    marks = _marks(table, separator)
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
    time_column = table.whole("time_column", least=1, most=count or 1000)
    if time_column == column:
        raise table.fault(
            "time_column", f"{column} is the column of the reading", "write the time's own column"
        )
    return {
        "unit": unit,
        "column": column,
        "separator": separator,
        **marks,
        "count": count,
        "time_column": time_column,
        **_time(table, "time_column"),
    }


def _modbus(table: Table, quantity: str) -> dict[str, Any]:
    return {"unit": _unit(table, quantity), "modbus": read_registers(table)}


def by_hand(table: Table, quantity: str, name: str) -> dict[str, Any]:
    """Fields of a channel whose numbers a person enters; they stand for lines of JSON with the
    channel's name as key.  Raises SensorsFault."""
    return {"format": "json", "unit": _unit(table, quantity), "id": name}


def _marks(table: Table, separator: str | None = None) -> dict[str, str | None]:
    """The decimal mark and the mark between thousands; one mark has one meaning."""
    decimal = table.text("decimal", choices=(".", ","))
    if decimal is not None and decimal in (separator or ""):
        raise table.fault(
            "decimal",
            f'"{decimal}" cannot be the decimal mark and the separator too',
            'write another separator, such as ";", or leave decimal out',
        )
    thousands = table.text("thousands", choices=(",", ".", "'", " ", "_"))
    if thousands is not None:
        if thousands == (decimal or "."):
            stated = "" if decimal else ", which it is where decimal is not stated"
            raise table.fault(
                "thousands",
                f'"{thousands}" cannot be the mark between thousands and the decimal mark too{stated}',
                f'write decimal = "{"," if thousands == "." else "."}", or another mark for thousands',
            )
        if thousands in (separator or "") or (
            thousands == " " and separator is None and table.has("column")
        ):
            raise table.fault(
                "thousands",
                f'"{thousands}" cannot be the mark between thousands and the separator too',
                'write another separator, such as ";", or leave thousands out',
            )
    return {"decimal": decimal, "thousands": thousands}


def _text(table: Table, quantity: str) -> dict[str, Any]:
    """Where the number stands: behind `after`, by its `number`, or from one character to another."""
    unit = _unit(table, quantity)
    after = _words(table, "after", table.text("after", most=60))
    if after is not None and after[-1] in "+-":
        raise table.fault(
            "after",
            f'"{after}" ends with a sign, which belongs to the number',
            "take the sign out of after",
        )
    number = table.whole("number", least=1, most=1000)
    first = table.whole("from", least=1, most=MOST_CHARACTERS)
    last = table.whole("to", least=1, most=MOST_CHARACTERS)
    for key, value, other in (("from", first, last), ("to", last, first)):
        if value is None and other is not None:
            raise table.fault(key, "is missing", "write both from and to, or neither")
    if first is not None and last is not None:
        if last < first:
            raise table.fault("to", f"{last} is before from = {first}", f"write at least {first}")
        for key, stated in (("after", after), ("number", number)):
            if stated is not None:
                raise table.fault(
                    key,
                    "does not go with from and to, which say where the number stands",
                    f"leave {key} out, or from and to",
                )
    return {
        "unit": unit,
        "after": after,
        "number": number,
        "first_character": first,
        "last_character": last,
        "overload": _overload(table),
        "time_after": _words(table, "time_after", table.text("time_after", most=60)),
        **_time(table, "time_after"),
        **_marks(table),
    }


def _overload(table: Table) -> tuple[str, ...]:
    """The words of a line that tells a reading beyond the capacity."""
    words = table.raw("overload")
    if words is None:
        return OVERLOAD
    if not isinstance(words, list) or len(words) > 20 or not all(isinstance(w, str) for w in words):
        raise table.fault("overload", "is no list of words", 'write overload = ["OL", "OVER"]')
    return tuple(_words(table, "overload", word[:60]) or "" for word in words)


def _words(table: Table, key: str, text: str | None) -> str | None:
    """The text without blanks around it; it holds printable ASCII, because lines do."""
    if text is None:
        return None
    if not text.strip() or not text.isascii() or not text.isprintable():
        raise table.fault(
            key,
            "is empty, or holds a character that no line holds",
            f"write {key} = the printable ASCII text as the device sends it",
        )
    return text.strip()


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
        takes=("column", "separator", "decimal", "thousands", "count", *_TIME, "time_column"),
        address="column",
        read=_columns,
        shared=("decimal", "thousands", "separator", "count"),
    ),
    "json": LineFormat(
        decoder="logger.formats.json_lines:JsonDecoder",
        takes=("id", *_TIME, "time"),
        address="id",
        read=_json,
    ),
    "text": LineFormat(
        decoder="logger.formats.text:TextDecoder",
        takes=(
            "after",
            "number",
            "from",
            "to",
            "decimal",
            "thousands",
            "overload",
            *_TIME,
            "time_after",
        ),
        address="number",
        place="text_place",
        read=_text,
        shared=("decimal", "thousands", "overload"),
    ),
    MODBUS: LineFormat(
        decoder="logger.formats.modbus:ModbusDecoder",
        takes=MODBUS_KEYS,
        address="register",
        place="modbus_place",
        read=_modbus,
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
