"""Writes a `[[channel]]` table of a sensors file."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class ProposedChannel:
    """A channel that reads one number of a device, as it is to be written."""

    place: str  # which number it reads, the same in each listening to this device
    name: str  # of the channel
    quantity: str | None  # "force" or "length"; None: no unit is shown
    unit: str | None  # of its readings; None: no unit is shown
    keys: Mapping[str, str | int | float | bool]  # of its format, with `format` first
    expected: tuple[str, ...] = ()  # its numbers in the lines, as readings.csv has them
    notes: tuple[str, ...] = field(default=())  # comments that stand in the table


@dataclass(frozen=True)
class PortKeys:
    """What all channels of the port state."""

    port: str  # as in the sensors file
    baud: int | None  # bit/s; None: it has none
    framing: str | None  # such as "7E1"; None: it has none
    ends: str | None  # what ends a line; None: the usual ends
    ask: str | None  # question; None: the device sends by itself
    every_s: float | None  # time from one question to the next, s


def channel_rows(
    channel: ProposedChannel, port: PortKeys, at: str = "haul"
) -> list[tuple[str, str | int | float | bool | None]]:
    """Keys and values of the table in order; None where there is none.  at: where it measures."""
    return [
        ("name", channel.name),
        ("quantity", channel.quantity),
        ("at", at),
        ("port", port.port),
        ("baud", port.baud),
        ("framing", port.framing if port.framing != "8N1" else None),
        *channel.keys.items(),
        ("ends", port.ends),
        ("ask", port.ask),
        ("every_s", port.every_s if port.ask is not None else None),
        ("unit", channel.unit),
    ]


def channel_text(channel: ProposedChannel, port: PortKeys) -> str:
    """The table.  What is not known (quantity, unit) is left out, and a comment says so."""
    lines = ["[[channel]]"]
    for key, value in channel_rows(channel, port):
        if value is not None:
            lines.append(f"{key} = {toml_value(value)}")
        elif key == "quantity":
            lines.append('# quantity = "force"      # or "length": not shown by the device')
        elif key == "unit":
            lines.append(
                '# unit = "kg"             # not shown by the device: write the one it sends'
            )
    lines += [f"# {note}" for note in channel.notes]
    return "\n".join(lines) + "\n"


def toml_value(value: str | int | float | bool) -> str:
    """A value as TOML.  A basic string of TOML takes the escapes of JSON, and DEL as one."""
    if isinstance(value, str):
        return json.dumps(value).replace("\x7f", "\\u007f")
    return json.dumps(value)
