"""Sessions made of plain arrays for tests of the measurement: a rig, sensors, readings, a review."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from analysis.review.review import review_all
from analysis.rig_file.load import parse_rig
from analysis.signals.channel_roles import roles
from analysis.strokes.analyser import Analyser
from analysis.strokes.result import Result
from logger.channels.sensors_file import parse_sensors
from logger.session.records import Block, ChannelReadings, SessionInfo

THREE = """
title = "3:1"
anchor_to_load_m = 100.0
[defaults]
pulley_efficiency = 0.9
pulley_efficiency_u = 0.02
{extra}
[[rope]]
name = "main"
path = [
  {{ tie = "load" }}, {{ grab = "G1", at_m = 90.0 }}, {{ capture = "C1", on = "anchor" }},
  {{ pulley = "A1", on = "anchor" }}, {{ pulley = "T1", on = "G1" }}, {{ haul = "team" }},
]
"""
KNOWN = "[load]\nresistance_N = {0}\nresistance_u_N = {1}\n"


def three(load_N: float | None = 1000.0, u: float = 10.0, more: str = ""):
    """A 3:1 with e 0.9 whose load resists load_N, or with nothing said of the load."""
    extra = KNOWN.format(load_N, u) if load_N is not None else ""
    return parse_rig(THREE.format(extra=extra) + more, "rig.toml")


def sensors(*channels: str, **more: str):
    """Channels by name at their places, N and m; more: TOML lines for one of them by name."""
    kinds = {
        "haul": ("force", "haul", "N"),
        "cell": ("force", "load", "N"),
        "anchor": ("force", "anchor", "N"),
        "rope": ("length", "haul", "m"),
        "way": ("length", "load", "m"),
        "a1": ("length", "A1", "m"),
    }
    text = ""
    for column, name in enumerate(channels, 1):
        quantity, at, unit = kinds[name]
        text += (
            f'[[channel]]\nname = "{name}"\nquantity = "{quantity}"\nat = "{at}"\n'
            f'format = "columns"\ncolumn = {column}\nunit = "{unit}"\n{more.get(name, "")}\n'
        )
    return parse_sensors(text, "sensors.toml")


def block(events=(), **channels) -> Block:
    """channels: (time_s, reading) by name."""
    return Block(
        {
            name: ChannelReadings(np.asarray(t, float), np.asarray(r, float))
            for name, (t, r) in channels.items()
        },
        events=tuple(events),
    )


def info(sensors_, state="sealed") -> SessionInfo:
    return SessionInfo(
        Path("session"), {}, state, "2026-01-01T00:00:00Z", sensors_, "", Path("rig.toml")
    )


def analyse(rig, sensors_, *blocks: Block, now: float = -np.inf) -> Result:
    analyser = Analyser(roles=roles(rig, sensors_))
    for piece in blocks:
        analyser.push(piece, now)
    return analyser.result()


def review(rig, sensors_, *blocks: Block, now: float = -np.inf) -> dict:
    found = review_all(info(sensors_), rig, analyse(rig, sensors_, *blocks, now=now)).json
    json.dumps(found, allow_nan=False)  # plain numbers only, whatever the session
    return found


def pull(hz, force_N, *, speed=0.5, start=2.0, rope=3.0, rest=3.0):
    """Time, rope out and force: nothing, then rope at constant speed under force_N (a number or a
    function of rope), then nothing."""
    end = start + rope / speed
    t = np.arange(0, end + rest, 1 / hz)
    x = np.clip((t - start) * speed, 0, rope)
    force = force_N(x) if callable(force_N) else force_N
    return t, x, np.where((t >= start - 1e-9) & (t <= end + 1e-9), force, 0.0)
