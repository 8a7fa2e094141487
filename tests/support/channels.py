"""Texts of sensors files, one [[channel]] table at a time, and rows of readings as a recorder writes them."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable
from pathlib import Path

import numpy as np

UNITS = {"force": "N", "length": "m"}  # the SI unit of a quantity


def channel(
    name: str, quantity: str, *lines: str, at: str = "haul", **keys: str | float | bool
) -> str:
    """A [[channel]] table of a sensors file.

    keys: further keys of the table with their values, in this order.
    lines: further lines of TOML as they stand, behind the keys.
    """
    table = {"name": name, "quantity": quantity, "at": at, **keys}
    written = [f"{key} = {json.dumps(value)}" for key, value in table.items()]
    return "\n".join(["[[channel]]", *written, *lines]) + "\n"


def json_channel(name: str, quantity: str, id: str, *lines: str, at: str = "haul") -> str:
    """A channel of a device that sends JSON lines, force in N or length in m."""
    return channel(name, quantity, *lines, at=at, format="json", id=id, unit=UNITS[quantity])


def force(*lines: str) -> str:
    """The cell at the haul."""
    return json_channel("haul_force", "force", "f", *lines)


def rope(*lines: str, name: str = "rope_out") -> str:
    """The counter of rope through the hands, good to 5 mm."""
    return json_channel(name, "length", "r", *lines, "u = 0.005")


# one channel in each line format, with the keys that the format needs
XDR = channel("f", "force", format="xdr", id="HAUL")
XDR_TWO = XDR + channel("d", "length", format="xdr", id="ROPE")
JSON = channel("f", "force", format="json", id="HAUL", unit="N")
TEXT = channel("f", "force", format="text", unit="N")
COLUMNS = channel("f", "force", format="columns", column=2, separator=",", unit="N")


def rows(time_s: Iterable[float], **readings: Iterable[float]) -> bytes:
    """Rows of readings.csv, ordered by moment and then by channel, each reading with six digits.

    time_s: moments in s of the session, shape (n,).
    readings: by channel name, in the channel's unit, shape (n,).
    """
    moments = np.atleast_1d(time_s).tolist()
    columns = [(name, np.atleast_1d(values).tolist()) for name, values in readings.items()]
    assert all(len(values) == len(moments) for _, values in columns)
    lines = [
        f"{t:.4f},{name},{values[k]:.6g}\n"
        for k, t in enumerate(moments)
        for name, values in columns
    ]
    return "".join(lines).encode()


def saved_at(folder: Path) -> str:
    """Where the first channel of a folder's `loggers.toml` sits as the file has it."""
    return str(tomllib.loads((folder / "loggers.toml").read_text("utf-8"))["channel"][0]["at"])
