"""Simulates the readings of a haul on any rig from true values that a file states.

The simulation is quasi-static: while the load moves, the haul tension is load force / MA, with one
efficiency for every pulley; between strokes the tension is off and the rope is fed back.
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

# RATE_HZ, RISE_S, BACK, OPEN_STROKE_M: chosen by us: a simulation's pace, on which no result depends
RATE_HZ = 25.0
RISE_S = 0.3  # time in which the tension comes on, and goes off
BACK = 2.0  # rope is fed back this many times as fast as it was hauled
OPEN_STROKE_M = 10.0  # rope hauled in a stroke that nothing ends


@dataclass(frozen=True)
class Stated:
    """The true values of a simulated haul."""

    seed: int = 1  # of the noise
    for_s: float = 60.0  # duration
    rest_s: float = 3.0  # time before the first stroke
    rope_speed_m_s: float = 0.5  # at the haul
    pulley_efficiency: float | None = None  # of every pulley; None: as in the rig file
    load_force_N: float | None = None  # while the load moves; None: as in the rig file


def read_stated(path: str | Path) -> Stated:
    """Read a file of true values (TOML); raises CallFault on any key or value that is not allowed."""
    file = str(path)
    table = Table(parse_toml(read_text(path, CallFault), file, CallFault), file, "", CallFault)
    own = Stated()
    seed = table.whole("seed")
    read = Stated(
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
    return read


def with_efficiency(rig: Rig, e: float) -> Rig:
    """A copy of the rig with efficiency e (0 to 1) at every pulley."""
    return replace(
        rig,
        stations=tuple(replace(s, efficiency=e) if s.kind == "pulley" else s for s in rig.stations),
    )


def truth(rig: Rig, stated: Stated) -> dict[str, Any]:
    """True MA, efficiency and forces of the haul; raises RigFault where no load force is stated."""
    real = (
        rig if stated.pulley_efficiency is None else with_efficiency(rig, stated.pulley_efficiency)
    )
    rig_model = model(real)
    load_N = stated.load_force_N if stated.load_force_N is not None else rig_model.load_force_N
    if load_N is None:
        raise RigFault(
            rig.file,
            "does not state the load's resistance",
            "write load_force_N in the true values",
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
    """Yield (time_s, {channel: value in the device's unit}), RATE_HZ times a second for `for_s`.

    Noise is normal, with each channel's stated uncertainty of one reading.
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
    stroke_m = stroke(real).haul_m
    stroke_m = stroke_m if np.isfinite(stroke_m) and stroke_m > 0 else OPEN_STROKE_M
    rng = np.random.default_rng(stated.seed)
    for k in range(max(1, round(stated.for_s * RATE_HZ))):
        time_s = k / RATE_HZ
        share, out_m, hauled_m = motion(stated, stroke_m, bool(rig.grabs), time_s)
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


def motion(
    stated: Stated, stroke_m: float, resets: bool, time_s: float
) -> tuple[float, float, float]:
    """(share of the steady tension, rope out of the rig now, m, rope hauled in all, m) at time_s.

    A cycle: the tension comes on, stroke_m of rope is hauled at the stated speed, the tension goes off,
    the rope is fed back.  Without resets there is one stroke.
    """
    haul_s = stroke_m / stated.rope_speed_m_s
    back_s = haul_s / BACK
    cycle = haul_s + back_s + 3 * RISE_S
    t = time_s - stated.rest_s
    if t < 0:
        return 0.0, 0.0, 0.0
    done, u = (int(t // cycle), t % cycle) if resets else (0, t)
    hauled = stated.rope_speed_m_s * min(max(u - RISE_S, 0.0), haul_s)
    share = min(1.0, u / RISE_S, max(0.0, (2 * RISE_S + haul_s - u) / RISE_S))
    fed = 0.0
    if resets:
        fed = min(stroke_m, max(0.0, (u - haul_s - 2.5 * RISE_S) * stated.rope_speed_m_s * BACK))
    return share, hauled - fed, done * stroke_m + hauled


def as_sent(channel: Channel, si: float) -> float:
    """What the device sends for a value `si`, N or m, in its own unit: the inverse of `Channel.si`."""
    if channel.calibration is not None:
        return float(channel.calibration.reading(si)) + channel.zero
    worth = to_si(channel.unit) * channel.scale
    if worth == 0:
        raise SensorsFault(
            channel.name, "its scale is 0", "write the scale that gives force or length"
        )
    return si / worth + channel.zero


def _given(value: float | None, default: float) -> float:
    """The value, or the default where it is None."""
    return default if value is None else value
