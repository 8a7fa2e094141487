"""Sessions made of plain arrays for tests of the measurement: a rig, sensors, readings, a review."""

from __future__ import annotations

import json
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import numpy as np

from analysis.efficiency.uncertainty import Component, Quantity
from analysis.review.review import review_all
from analysis.rig.rig import Rig
from analysis.rig_file.load import parse_rig
from analysis.signals.channel_roles import roles
from analysis.strokes.analyser import Analyser
from analysis.strokes.result import Result
from logger.channels.channel import Sensors
from logger.channels.sensors_file import parse_sensors
from logger.session.records import Block, ChannelReadings, SessionInfo
from support.channels import UNITS, channel
from support.rigs import rig_text, three_to_one_stations

STATES_U = ("u", "u_percent", "calibration")
KINDS = {  # of the channels that tests use, by name: quantity, place
    "haul": ("force", "haul"),
    "cell": ("force", "load"),
    "anchor": ("force", "anchor"),
    "rope": ("length", "haul"),
    "way": ("length", "load"),
    "a1": ("length", "A1"),
}


def three_text(load_N: float | None = 1000.0, u: float = 10.0, *, stations=None) -> str:
    """The rig file of `three`; stations: in place of those of the 3:1."""
    load = None if load_N is None else f"resistance_N = {load_N}\nresistance_u_N = {u}"
    return rig_text(
        stations or three_to_one_stations(90.0),
        load or "",
        title="3:1",
        anchor_to_load_m=100.0,
        top="[defaults]\npulley_efficiency = 0.9\npulley_efficiency_u = 0.02\n",
    )


def three(load_N: float | None = 1000.0, u: float = 10.0, more: str = "") -> Rig:
    """A 3:1 with pulley efficiency 0.9 whose load resists load_N with standard uncertainty u, both in N.

    load_N: None where the file states nothing of the load.  more: lines behind the file.
    """
    return parse_rig(three_text(load_N, u) + more, "rig.toml")


def columns_sensors(places: Iterable[tuple[str, str, str]], **more: str) -> Sensors:
    """Channels as columns of one table, force in N and length in m.

    places: name, quantity and place of each.  more: lines of TOML for a channel, by its name; one that
    states no uncertainty states 0.
    """
    tables = [
        channel(
            name,
            quantity,
            _with_u(more.get(name, "")),
            at=at,
            format="columns",
            column=k,
            unit=UNITS[quantity],
        )
        for k, (name, quantity, at) in enumerate(places, 1)
    ]
    return parse_sensors("".join(tables), "sensors.toml")


def _with_u(lines: str) -> str:
    stated = any(line.split("=")[0].strip() in STATES_U for line in lines.splitlines())
    return lines if stated else f"{lines}\nu = 0.0"


def sensors(*names: str, **more: str) -> Sensors:
    """Channels of KINDS by name; more: lines of TOML for a channel, by its name."""
    return columns_sensors([(name, *KINDS[name]) for name in names], **more)


def block(events=(), **channels) -> Block:
    """channels: (time_s, reading) by name."""
    return Block(
        {
            name: ChannelReadings(np.asarray(t, float), np.asarray(r, float))
            for name, (t, r) in channels.items()
        },
        events=tuple(events),
    )


def cut_at_random(seed: int, cuts: int, **channels) -> list[Block]:
    """The channels, (time_s, reading) by name, as blocks that are cut at random moments of the rope's time."""
    until = np.random.default_rng(seed).uniform(0, channels["rope"][0][-1], cuts)
    edges = [-np.inf, *sorted(until), np.inf]
    return [
        block(
            **{n: (t[(t > a) & (t <= b)], v[(t > a) & (t <= b)]) for n, (t, v) in channels.items()}
        )
        for a, b in pairwise(edges)
    ]


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
    reviewed = review_all(info(sensors_), rig, analyse(rig, sensors_, *blocks, now=now)).json
    json.dumps(reviewed, allow_nan=False)  # plain numbers only, whatever the session
    return reviewed


def pull(hz, force_N, *, speed=0.5, start=2.0, rope=3.0, rest=3.0):
    """Time, rope out and force: nothing, then rope at constant speed under force_N (a number or a
    function of rope), then nothing."""
    end = start + rope / speed
    t = np.arange(0, end + rest, 1 / hz)
    x = np.clip((t - start) * speed, 0, rope)
    force = force_N(x) if callable(force_N) else force_N
    return t, x, np.where((t >= start - 1e-9) & (t <= end + 1e-9), force, 0.0)


def measured_ma(value: float, u: float = 0.02) -> Quantity:
    """A mechanical advantage with one component of standard uncertainty u and 3 degrees of freedom."""
    return Quantity(value, (Component("cell", u),), 3)
