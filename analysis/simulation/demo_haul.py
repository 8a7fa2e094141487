"""Simulates the demo's haul: an invented launch of 1.4 t on its cradle, hauled up a slipway.

The rope is a spring with some damping; the cradle is a mass with dry friction that is larger at rest.
While the load moves, the load force is MA x S (S: tension at the haul).  At rest it stays between
MA x S and ideal^2 / MA x S, where rope would run back, and changes only when it reaches one of them.
MA comes from the rig model with a random pulley efficiency.  Haulers pull hand over hand; the devices
have errors within the uncertainty that the sensors file states.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import numpy as np

from analysis.mechanics.model import Model, model, model_ma_with
from analysis.rig.rig import Rig
from analysis.rig_file.load import parse_rig
from analysis.signals.time_cells import Floats
from logger.channels.channel import Channel, Sensors
from logger.channels.sensors_file import parse_sensors

# The numbers of the demo are chosen by us for a boatyard's launch; MASS_KG, SLOPE_DEG and FRICTION are those
# of analysis/demo/rig.toml.  No result of a real haul depends on any of them: STEP_S, EVERY, STATIC,
# STIFFNESS_N_M, DAMPING_N_S_M, WAY_M.
STEP_S = 1 / 400
EVERY = 5  # steps a sample: 80 Hz
MASS_KG, SLOPE_DEG, FRICTION = 1400.0, 7.0, 0.06
STATIC = 1.15  # friction at rest / friction moving
STIFFNESS_N_M, DAMPING_N_S_M = 2000.0, 120.0  # of the rope, at the haul
WAY_M = 7.2  # load travel that the slip offers
PORTS = (("haul_force", "rope_out"), ("load_force", "load_travel"))
NOISE = {"haul_force": 2.0, "rope_out": 0.0004, "load_force": 8.0, "load_travel": 0.0003}
QUANTUM = {"haul_force": 0.5, "rope_out": 0.001, "load_force": 2.0, "load_travel": 0.001}


@dataclass(frozen=True)
class Haul:
    """The readings that the simulated devices send, and the true values behind them."""

    time_s: Floats  # (n,) since the start
    values: dict[str, Floats]  # by channel, (n,), in the device's unit
    ports: tuple[tuple[str, ...], ...]  # names of the channels of each device
    true: dict[str, Any]  # what the simulation was given and what it did, by name with unit

    def rows(self) -> Iterator[tuple[float, dict[str, float]]]:
        """Yield (time_s, {channel: value in the device's unit}) in order of time."""
        names, table = list(self.values), np.array(list(self.values.values())).T.tolist()
        for time, row in zip(self.time_s.tolist(), table, strict=True):
            yield time, dict(zip(names, row, strict=True))

    def csv(self) -> str:
        """The readings as CSV text that `haul import` reads."""
        lines = [",".join(["time_s", *self.values])]
        lines += [
            f"{time:.4f}," + ",".join(f"{value:.6g}" for value in row.values())
            for time, row in self.rows()
        ]
        return "\n".join(lines) + "\n"


def demo_text(name: str) -> str:
    """Text of the demo's file `rig.toml` or `sensors.toml`."""
    return (files("analysis") / "demo" / name).read_text(encoding="utf-8")


def demo_rig() -> Rig:
    """The rig of the demo."""
    return parse_rig(demo_text("rig.toml"), "rig.toml")


def demo_sensors() -> Sensors:
    """The channels of the demo."""
    return parse_sensors(demo_text("sensors.toml"), "sensors.toml")


@dataclass(frozen=True)
class _Plan:
    """Times and speeds of a run: cycles of hauling and resetting after a lead time."""

    lead_s: float  # time before the first cycle
    cycle_s: float  # one stroke with its reset
    haul_s: float  # hauling within a cycle
    speed_m_s: float  # mean speed of the rope at the haul
    pause_s: tuple[float, float]  # a pause within the first stroke: its start and its duration
    slip_at_s: float  # time of the slip, within the second stroke
    shock_at_s: float  # time of the shock, within the third stroke


def _plan(for_s: float, ratio: float) -> _Plan:
    """The plan of a run of for_s seconds; ratio: travel ratio, rope hauled / load travel."""
    cycle = min(max((for_s - 1.0) / 3.4, 2.6), 40.0)
    haul = 0.72 * cycle
    speed = min(0.85, WAY_M * ratio / (max(for_s / cycle, 1.0) * haul))
    lead = min(0.8, 0.06 * for_s)
    return _Plan(
        lead_s=lead,
        cycle_s=cycle,
        haul_s=haul,
        speed_m_s=speed,
        pause_s=(0.55 * haul, 0.15 * haul),
        slip_at_s=0.6 * haul,
        shock_at_s=0.65 * haul,
    )


def simulate(seed: int, for_s: float) -> Haul:
    """Simulate a haul of for_s seconds; the same seed gives the same haul."""
    rng = np.random.default_rng(seed)
    rig, sensors = demo_rig(), demo_sensors()
    rig_model = model(rig)
    e = _pulley(rig, rng)
    ma = model_ma_with(rig, e)
    load = _Load(rng)
    x, travel_m, pull, force, moving = _run(
        rig_model, ma, load, _plan(for_s, rig_model.travel_ratio), for_s, rng
    )
    time: Floats = np.arange(len(x), dtype=np.float64) * (STEP_S * EVERY)
    truth = {"haul_force": pull, "rope_out": x, "load_force": force, "load_travel": travel_m}
    values = {c.name: _device(c, truth[c.name], rng) for c in sensors.channels}
    weight = np.diff(travel_m, prepend=travel_m[0]) * moving
    weight = np.where(weight > 0, weight, 0.0)
    some = float(weight.sum()) > 0
    load_N = float(np.average(force, weights=weight)) if some else None
    true: dict[str, Any] = {
        "pulley_efficiency": e,
        "actual_ma": ma,
        "efficiency": ma / rig_model.ideal_ma,
        "load_force_N": load_N,
        "haul_force_N": load_N / ma if load_N is not None else None,
        "load_travel_m": float(travel_m[-1]),
        "mass_kg": load.mass,
        "seed": seed,
    }
    return Haul(time, values, PORTS, true)


def _pulley(rig: Rig, rng: np.random.Generator) -> float:
    """A random pulley efficiency, within the uncertainty that the rig file states."""
    pulleys = [s for s in rig.stations if s.kind == "pulley"]
    drawn = rng.normal(pulleys[0].efficiency, pulleys[0].efficiency_u)
    return float(np.clip(drawn, 0.75, 0.98))


class _Load:
    """The cradle: mass, kg, weight along the slipway, N, and friction, N, that varies a little along it."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.mass = float(MASS_KG * (1 + 0.02 * rng.standard_normal()))
        weight = self.mass * 9.80665
        self.slope = weight * math.sin(math.radians(SLOPE_DEG))
        rub = FRICTION * (1 + 0.1 * rng.standard_normal())
        self.friction = float(weight * math.cos(math.radians(SLOPE_DEG)) * rub)
        self.waves = [(float(a), float(f), float(p)) for a, f, p in zip(
            rng.normal(0, 0.03, 3), (0.9, 2.3, 5.1), rng.uniform(0, 6.28, 3), strict=True
        )]  # fmt: skip

    def friction_N(self, travel_m: float) -> float:
        """Friction while moving, at this load travel, m."""
        return self.friction * (1 + sum(a * math.sin(f * travel_m + p) for a, f, p in self.waves))


def _run(
    rig_model: Model, ma: float, load: _Load, plan: _Plan, for_s: float, rng: np.random.Generator
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Rope out, m, load travel, m, haul tension, N, load force, N, and whether the load moves (1 or 0).

    All (n,).  ma: load force / haul tension while the load moves; for_s: duration of the run, s.
    """
    ratio = rig_model.travel_ratio
    back = rig_model.ideal_ma**2 / ma  # load force / tension when rope runs back
    steps = max(round(for_s / STEP_S), EVERY)
    setback = max((s.setback_m for s in rig_model.rig.stations), default=0.0)
    rate, phase = plan.speed_m_s / 0.65, float(rng.uniform(0, 6.28))
    x = slack = travel_m = v = pull = 0.0
    held = 0.5 * load.slope  # force that stays on the cradle's cell while the capture holds
    force, begun, fed, stretch = held, 0.0, 0.0, 0.0
    resetting = False
    out = np.empty((5, (steps + EVERY - 1) // EVERY))
    for k in range(steps):
        t = k * STEP_S - plan.lead_s
        left = plan.cycle_s
        stroke = int(t // plan.cycle_s) if t >= 0 else -1
        u = t - stroke * plan.cycle_s
        hand = 0.0
        if stroke >= 0 and u < plan.haul_s:
            if resetting or u < STEP_S:
                resetting, begun = False, x
            hand = plan.speed_m_s * min(1.0, u / 0.3)
            hand *= 1 + 0.35 * math.sin(6.2832 * rate * u + phase)
            hand *= min(1.0, max(0.0, (1100.0 - pull) / 500.0))
            if stroke == 0 and 0 <= u - plan.pause_s[0] < plan.pause_s[1]:
                hand = -0.3 if u - plan.pause_s[0] < 0.1 else 0.0
            if stroke == 1 and 0 <= u - plan.slip_at_s < 0.3:
                hand = 2.0
                slack += (2.0 + (4.0 if u - plan.slip_at_s < 0.08 else 0.0)) * STEP_S
            if stroke == 2 and 0 <= u - plan.shock_at_s < 0.14:
                hand = 4.0
        elif stroke >= 0:
            if not resetting:
                resetting, fed = True, (x - begun) * 0.85
                travel_m -= setback
            left = plan.cycle_s - u
            if pull > 0:
                hand = -min(3.0, 8.0 * stretch + 0.3)
            elif fed > 0 and left > 0.1 * plan.cycle_s:
                hand = -fed / max(left - 0.09 * plan.cycle_s, STEP_S)
        x += hand * STEP_S
        if resetting and pull <= 0:
            fed += hand * STEP_S
            slack = x - ratio * travel_m
            stretch = 0.0
        rate_of = hand - ratio * v
        if not resetting or pull > 0:
            stretch = x - ratio * travel_m - slack
        pull = max(0.0, STIFFNESS_N_M * stretch + DAMPING_N_S_M * rate_of) if stretch > 0 else 0.0
        # while the load moves, friction follows the rope; at rest the force stays between both limits
        force = ma * pull if v > 0 else min(max(force, ma * pull), max(back * pull, held))
        rub = load.friction_N(travel_m)
        if v <= 0 and force <= load.slope + STATIC * rub:
            v = 0.0
        else:
            v = max(0.0, v + (force - load.slope - rub) / load.mass * STEP_S)
        travel_m += v * STEP_S
        if k % EVERY == 0:
            out[:, k // EVERY] = x, travel_m, pull, force, v > 0.002
    return out[0], out[1], out[2], out[3], out[4]


def _device(channel: Channel, true: Floats, rng: np.random.Generator) -> Floats:
    """Readings that the device sends for true values, (n,): random gain and zero, noise, resolution."""
    gain = 1 + channel.u_percent / 100 * rng.standard_normal()
    zero = channel.u * rng.standard_normal() if channel.quantity == "force" else 0.0
    sent = true * gain + zero + NOISE[channel.name] * rng.standard_normal(len(true))
    step = QUANTUM[channel.name]
    rounded: Floats = np.round(sent / step) * step
    return rounded
