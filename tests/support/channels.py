"""The slipway of the tests in texts: a launch on its cradle on a 3:1, devices that speak JSON, and the
rows that a recorder would write of them."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np


def three_to_one(load: str, *, rope: str = "", more: str = "") -> str:
    """A rig file; load, rope, more: lines of its [load], of its [[rope]], and behind all."""
    return f"""
title = "Launch on its cradle, 3:1"
anchor_to_load_m = 12.0
[load]
{load}
[[rope]]
name = "main"
{rope}path = [
  {{ tie = "load", strength = 1.0 }},
  {{ grab = "G1", at_m = 9.0 }},
  {{ capture = "C1", on = "anchor" }},
  {{ pulley = "A1", on = "anchor" }},
  {{ pulley = "T1", on = "G1" }},
  {{ haul = "team" }},
]
{more}"""


def channel(name: str, quantity: str, id: str, *more: str, at: str = "haul") -> str:
    """A channel of a sensors file, force in N or length in m; more: further lines of it."""
    lines = [
        "[[channel]]", f'name = "{name}"', f'quantity = "{quantity}"', f'at = "{at}"',
        'format = "json"', f'id = "{id}"', f'unit = "{"N" if quantity == "force" else "m"}"', *more,
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def force(*more: str) -> str:
    """The cell at the haul."""
    return channel("haul_force", "force", "f", *more)


def rope(*more: str, name: str = "rope_out") -> str:
    """The counter of rope through the hands, good to 5 mm."""
    return channel(name, "length", "r", *more, "u = 0.005")


def rows(time_s: Iterable[float], **readings: Iterable[float]) -> bytes:
    """Rows of readings.csv by channel, those of one moment side by side; six digits of a reading."""
    moments = np.atleast_1d(time_s).tolist()
    columns = [(name, np.atleast_1d(values).tolist()) for name, values in readings.items()]
    assert all(len(values) == len(moments) for _, values in columns)
    lines = [
        f"{t:.4f},{name},{values[k]:.6g}\n"
        for k, t in enumerate(moments)
        for name, values in columns
    ]
    return "".join(lines).encode()
