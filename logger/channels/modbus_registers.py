"""Reads the keys of a channel of format `modbus`: which registers of which device hold its number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from logger.channels.framing import parse_framing
from logger.channels.port_schemes import SCHEMES, scheme_of, split_port
from logger.errors import SensorsFault
from logger.toml_tables import Table

if TYPE_CHECKING:
    from logger.channels.channel import Channel

MODBUS = "modbus"  # the format's name
KEYS = ("device_id", "table", "register", "type", "words", "bytes")
TABLES = ("holding", "input")
# registers of 16 bits that a number of each type takes
WIDTHS = {"float32": 2, "int16": 1, "uint16": 1, "int32": 2, "uint32": 2}
ORDERS = ("big", "little")
MOST_REGISTER = 0xFFFF  # by definition: a register's address has 16 bits
# by definition, MODBUS over serial line 1.02, section 2.2: 0 is for all devices at once, which none answers
LEAST_SERIAL_ID, MOST_SERIAL_ID = 1, 247
MOST_ID = 255  # by definition: a byte; over TCP 0 and 255 are the server itself


@dataclass(frozen=True)
class ModbusRegisters:
    """Where a number stands in a Modbus device, and how."""

    device_id: int  # address of the device, 1 to 247 on a serial line
    table: str  # "holding" or "input"
    first: int  # address of the first register, as on the wire, from 0
    number_type: str  # a key of WIDTHS
    word_order: str  # which of two registers comes first: "big" or "little"
    byte_order: str  # which byte comes first within a register: "big" or "little"

    @property
    def count(self) -> int:
        """How many registers hold the number."""
        return WIDTHS[self.number_type]


def read_registers(table: Table) -> ModbusRegisters:
    """The keys of one channel; raises SensorsFault."""
    return ModbusRegisters(
        device_id=_whole(table, "device_id", MOST_ID, 1),
        table=_choice(table, "table", TABLES),
        first=_whole(table, "register", MOST_REGISTER, None),
        number_type=_choice(table, "type", tuple(WIDTHS)),
        word_order=table.text("words", choices=ORDERS) or "big",
        byte_order=table.text("bytes", choices=ORDERS) or "big",
    )


def check_registers(channels: Sequence[Channel], file: str, recorded: bool) -> None:
    """Check that channels of format modbus stand on ports that carry it; raises SensorsFault.

    recorded: the text is a session's, whose ports are not opened.
    """
    for channel in channels:
        fault = None if recorded or channel.port is None else _port_fault(channel, channel.port)
        if fault is None and channel.modbus is not None:
            fault = _line_fault(channel)
        if fault is not None:
            key, what, cure = fault
            raise SensorsFault(file, what, cure, f"channel {channel.name}: {key}")


def _port_fault(channel: Channel, port: str) -> tuple[str, str, str] | None:
    """Key, fault and cure where port and format do not go together."""
    scheme, over_tcp = scheme_of(port), split_port(port)[0].lower() == MODBUS
    if channel.modbus is None:
        if not over_tcp:
            return None
        return "format", f"{port} brings registers, not lines", f'write format = "{MODBUS}"'
    if scheme is not None and not (over_tcp or scheme.asks):
        examples = ", ".join(each.example for each in SCHEMES.values() if each.asks)
        return "port", f"{port} carries no Modbus", f"write modbus://host:502, or {examples}"
    device_id = channel.modbus.device_id
    if not over_tcp and not LEAST_SERIAL_ID <= device_id <= MOST_SERIAL_ID:
        return (
            "device_id",
            f"no device on a serial line has the address {device_id}",
            f"write one from {LEAST_SERIAL_ID} to {MOST_SERIAL_ID}",
        )
    return None


def _line_fault(channel: Channel) -> tuple[str, str, str] | None:
    """Key, fault and cure of a key that is for lines of text."""
    if channel.ask is not None:
        return (
            "ask",
            "does not go with format modbus, which asks by itself",
            "leave ask out; every_s says how often the registers are read",
        )
    if channel.ends is not None:
        return "ends", "is for lines, and format modbus has registers", "leave ends out"
    if parse_framing(channel.framing).data_bits != 8:
        return "framing", "Modbus needs 8 data bits", 'write framing = "8E1" or "8N1"'
    return None


def _whole(table: Table, key: str, most: int, default: int | None) -> int:
    value = table.whole(key, least=0, most=most)
    if value is None:
        if default is None:
            raise table.fault(
                key,
                "is missing, and format modbus needs it",
                "write register = its address as on the wire, from 0 (40001 in a manual is holding register 0)",
            )
        return default
    return value


def _choice(table: Table, key: str, choices: tuple[str, ...]) -> str:
    value = table.text(key, choices=choices)
    if value is None:
        raise table.fault(
            key,
            "is missing, and format modbus needs it",
            f"write {key} = " + " or ".join(f'"{one}"' for one in choices),
        )
    return value
