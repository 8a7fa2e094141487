"""A haul whose true values somebody states, on any rig: what its channels would read.

Quasi-static: while the load moves, the haul tension is load force / MA, with one efficiency for
every pulley; between strokes the tension is off and the rope is fed back.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.mechanics.model import force_gain, model, travel_gain
from analysis.mechanics.travel import stroke
from analysis.rig.rig import Rig
from logger.channels.channel import Channel, Sensors
from logger.device_units import to_si
from logger.errors import CallFault, RigFault, SensorsFault
from logger.toml_tables import Table, parse_toml, read_text

# RATE_HZ, RISE_S, BACK, OPEN_STROKE_M: chosen by us: a simulation's pace, which no result hangs on
RATE_HZ = 25.0
RISE_S = 0.3  # the team takes up the tension, and lets it off
BACK = 2.0  # rope is fed back this many times as fast as it was hauled
OPEN_STROKE_M = 10.0  # of rope, where nothing ends a stroke


@dataclass(frozen=True)
class Stated:
    """What is true.  None: as the rig file says."""

    seed: int = 1
    for_s: float = 60.0
    rest_s: float = 3.0
    rope_speed_m_s: float = 0.5
    pulley_efficiency: float | None = None
    load_force_N: float | None = None


def read_stated(path: str | Path) -> Stated:
    """The file of true values (TOML); raises CallFault on anything that is not one of them."""
    file = str(path)
    table = Table(parse_toml(read_text(path, CallFault), file, CallFault), file, "", CallFault)
    own = Stated()
    seed = table.whole("seed")
    found = Stated(
        seed=own.seed if seed is None else seed,
        for_s=table.number("for_s", above=0.0, most=86400.0, unit=" of seconds") or own.for_s,
        rest_s=_given(
            table.number("rest_s", least=0.0, most=3600.0, unit=" of seconds"), own.rest_s
        ),
        rope_speed_m_s=table.number("rope_speed_m_s", above=0.0, most=20.0) or own.rope_speed_m_s,
        pulley_efficiency=table.number("pulley_efficiency", above=0.0, most=1.0),
        load_force_N=table.number("load_force_N", above=0.0, unit=" of newtons"),
    )
    table.done()
    return found


def with_efficiency(rig: Rig, e: float) -> Rig:
    """The same rig, every pulley of efficiency e."""
    return replace(
        rig,
        stations=tuple(replace(s, efficiency=e) if s.kind == "pulley" else s for s in rig.stations),
    )


def truth(rig: Rig, stated: Stated) -> dict[str, Any]:
    """What the haul is like: MA, efficiency, forces.  RigFault if no load force is to be had."""
    real = (
        rig if stated.pulley_efficiency is None else with_efficiency(rig, stated.pulley_efficiency)
    )
    rig_model = model(real)
    load_N = stated.load_force_N if stated.load_force_N is not None else rig_model.load_force_N
    if load_N is None:
        raise RigFault(
            rig.file, "does not say what the load resists", "state load_force_N in the true values"
        )
    return {
        "seed": stated.seed,
        "pulley_efficiency": stated.pulley_efficiency,
        "actual_ma": rig_model.model_ma,
        "efficiency": rig_model.efficiency,
        "load_force_N": load_N,
        "haul_force_N": load_N / rig_model.model_ma,
    }


def rows(rig: Rig, sensors: Sensors, stated: Stated) -> Iterator[tuple[float, dict[str, float]]]:
    """(time_s, {channel: what its device sends}), RATE_HZ a second for for_s.

    Noise: normal, each channel's own stated uncertainty of one reading.
    """
    haul_N = truth(rig, stated)["haul_force_N"]
    real = (
        rig if stated.pulley_efficiency is None else with_efficiency(rig, stated.pulley_efficiency)
    )
    gains = {
        c.name: force_gain(real, c.at)[1] if c.quantity == "force" else travel_gain(real, c.at)
        for c in sensors.channels
    }
    ratio = model(real).travel_ratio
    way = stroke(real).haul_m
    way = way if np.isfinite(way) and way > 0 else OPEN_STROKE_M
    rng = np.random.default_rng(stated.seed)
    for k in range(max(1, round(stated.for_s * RATE_HZ))):
        time_s = k / RATE_HZ
        share, out_m, hauled_m = motion(stated, way, bool(rig.grabs), time_s)
        values = {}
        for c in sensors.channels:
            if c.quantity == "force":
                si = share * haul_N * gains[c.name]
            elif c.at in ("haul", rig.stations[rig.haul].name):
                si = out_m
            else:
                si = hauled_m / ratio * gains[c.name]
            si += float(c.u_si(si)) * float(rng.standard_normal())
            values[c.name] = as_sent(c, si)
        yield time_s, values


def motion(stated: Stated, way_m: float, resets: bool, time_s: float) -> tuple[float, float, float]:
    """(share of the steady tension, rope out of the rig now, rope hauled in all) at a time; m.

    A cycle: tension up, way_m of rope hauled at its speed, tension off, rope fed back.  Where
    nothing can be reset it is hauled once.
    """
    haul_s, back_s = way_m / stated.rope_speed_m_s, way_m / stated.rope_speed_m_s / BACK
    cycle = haul_s + back_s + 3 * RISE_S
    t = time_s - stated.rest_s
    if t < 0:
        return 0.0, 0.0, 0.0
    done, u = (int(t // cycle), t % cycle) if resets else (0, t)
    hauled = stated.rope_speed_m_s * min(max(u - RISE_S, 0.0), haul_s)
    share = min(1.0, u / RISE_S, max(0.0, (2 * RISE_S + haul_s - u) / RISE_S))
    fed = 0.0
    if resets:
        fed = min(way_m, max(0.0, (u - haul_s - 2.5 * RISE_S) * stated.rope_speed_m_s * BACK))
    return share, hauled - fed, done * way_m + hauled


def as_sent(channel: Channel, si: float) -> float:
    """What the device sends for a value in SI: the way back through `Channel.si`."""
    if channel.calibration is not None:
        return float(channel.calibration.reading(si)) + channel.zero
    worth = to_si(channel.unit) * channel.scale
    if worth == 0:
        raise SensorsFault(channel.name, "its readings are worth nothing", "mend its scale")
    return si / worth + channel.zero


def _given(value: float | None, default: float) -> float:
    return default if value is None else value
