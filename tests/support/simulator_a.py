"""Sessions with stated true values, straight as blocks of readings, for the proof of coverage.

Nothing here is shared with the demo's physics.  A spec is drawn first (rig, load, hands, devices),
then a mass on a spring with dry friction is hauled hand over hand in haul coordinates: T = k (x - y),
the load moves while T is above what it resists, y = travel ratio x load travel.  While it moves the
force on it is MA x T; at rest it lies between MA x T and ideal^2 / MA x T, where rope would run
back.  Every error of a device is drawn from what the sensors file states: gain from u_percent,
zero (with a slow shift) from u; the load's mass, coefficient or resistance from its own u.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from importlib.resources import files

import numpy as np

from analysis.mechanics.model import load_from_cell, model
from analysis.mechanics.tension import efficiencies, load_row, tensions
from analysis.rig.rig import Rig
from analysis.rig_file.load import parse_rig
from logger.channels.channel import Sensors
from logger.channels.sensors_file import parse_sensors
from logger.session.records import Block, ChannelReadings
from support.channels import UNITS, channel

G = 9.80665
STEP_S = 1 / 100
RIG_NAMES = ("3", "3-on-3", "3-on-4", "4-on-3", "3-on-3-on-2")


@dataclass(frozen=True)
class Device:
    """One channel's device.  lag_s: how late it speaks; quantum: of its last digit."""

    name: str
    quantity: str
    at: str
    hz: float
    u_percent: float
    u: float
    noise: float
    quantum: float
    lag_s: float
    dropouts: int


@dataclass(frozen=True)
class Spec:
    """What a session is made of; forces N, lengths m, at the haul where nothing else is said."""

    seed: int
    rig: str
    estimator: str  # known | cell | anchor | nothing
    load_N: float
    load_kind: str
    load_u: float  # relative standard uncertainty of the stated resistance or mass
    strokes: int
    stroke_s: float
    speed_m_s: float
    ripple: float  # of the hands' speed
    pull_m: float  # rope a hand
    grips: bool  # the rope stands while hands change
    pauses: int  # a stroke, with the tension kept
    stick: float  # friction at rest / moving - 1
    stretch_N_m: float
    drift: float  # of the load's resistance over the session
    waves: float  # of the resistance along the way
    scatter: float  # of the resistance from stroke to stroke
    devices: tuple[Device, ...] = ()
    delay_u_s: float | None = None  # the sensors file states the delays so well; None: not at all


@dataclass(frozen=True)
class Made:
    """A session and its true values (means over the load's distance while it moves)."""

    spec: Spec
    rig: Rig
    sensors: Sensors
    block: Block
    true: dict[str, float] = field(default_factory=dict)


def draw(seed: int, estimator: str | None = None, **changes: object) -> Spec:
    """A spec drawn from `seed`; changes: fields to be set instead."""
    rng = np.random.default_rng(seed)
    strokes = int(rng.integers(1, 9))
    stroke_s = float(rng.uniform(8.0, max(9.0, min(40.0, 165.0 / strokes - 5.0))))
    estimator = estimator or str(rng.choice(["known", "cell", "anchor"], p=[0.4, 0.4, 0.2]))
    rig = "3-on-3" if rng.random() < 0.2 else str(rng.choice(RIG_NAMES))
    haul = float(rng.uniform(150.0, 600.0))
    ideal = model(_rig_of(rig, "")).model_ma
    kinds = ["resistance", "hanging", "slope"]
    spec: dict[str, object] = {
        "seed": seed, "rig": rig, "estimator": estimator, "load_N": haul * ideal,
        "load_kind": str(rng.choice(kinds)), "load_u": float(rng.uniform(0.005, 0.04)),
        "strokes": strokes, "stroke_s": stroke_s, "speed_m_s": float(rng.uniform(0.2, 0.8)),
        "ripple": float(rng.uniform(0.0, 0.7)), "pull_m": float(rng.uniform(0.4, 0.9)),
        "grips": bool(rng.random() < 0.4), "pauses": int(rng.choice([0, 0, 1, 2])),
        "stick": float(rng.choice([0.0, rng.uniform(0.0, 0.2)])),
        "stretch_N_m": float(rng.uniform(500.0, 4000.0)), "drift": float(rng.normal(0.0, 0.02)),
        "waves": float(abs(rng.normal(0.0, 0.015))), "scatter": float(abs(rng.normal(0.0, 0.01))),
    }  # fmt: skip
    spec |= changes
    load = float(spec["load_N"])  # type: ignore[arg-type]
    devices = [_force(rng, "haul_force", "haul", load / ideal),
               _length(rng, "rope_out", "haul", 0.01)]  # fmt: skip
    if spec["estimator"] in ("cell", "anchor"):
        devices.append(
            _force(rng, "cell", "load" if spec["estimator"] == "cell" else "anchor", load)
        )
    if rng.random() < 0.5:
        devices.append(_length(rng, "load_travel", "load", 0.002))
    spec.setdefault("devices", tuple(devices))
    return Spec(**spec)  # type: ignore[arg-type]


def _force(rng: np.random.Generator, name: str, at: str, force: float) -> Device:
    """A cell as crews have them: 0.2 to 1.5 %, zero good to 0.1 to 1 % of what it shows here."""
    return Device(
        name, "force", at, float(rng.choice([10, 20, 40, 80, 200])), float(rng.uniform(0.2, 1.5)),
        float(force * rng.uniform(0.001, 0.01)), float(force * rng.uniform(0.001, 0.01)),
        float(force * rng.choice([0.0005, 0.002, 0.01])), float(rng.uniform(0.0, 0.3)),
        int(rng.integers(0, 4)),
    )  # fmt: skip


def _length(rng: np.random.Generator, name: str, at: str, u: float) -> Device:
    quantum = float(rng.choice([0.0005, 0.001, 0.002]))
    return Device(
        name, "length", at, float(rng.choice([10, 20, 40, 80, 200])), float(rng.uniform(0.1, 1.0)),
        u, 0.2 * quantum, quantum, float(rng.uniform(0.0, 0.3)), int(rng.integers(0, 3)),
    )  # fmt: skip


def _rig_of(name: str, load: str) -> Rig:
    text = (files("analysis") / "rigs" / f"{name}.toml").read_text(encoding="utf-8")
    defaults = "[defaults]\npulley_efficiency = 0.9\npulley_efficiency_u = 0.05\n"
    return parse_rig(text.replace("[[rope]]", f"{defaults}{load}\n[[rope]]", 1), f"{name}.toml")


def make(spec: Spec) -> Made:
    """The session of a spec; the same for the same spec."""
    rng = np.random.default_rng([spec.seed, 1])
    stated, true_load = _load(spec, rng)
    rig = _rig_of(spec.rig, stated if spec.estimator == "known" else "")
    rig_model = model(rig)
    e = _efficiencies(rig, rng)
    ma = float(load_row(rig, rig_model.system.toward) @ tensions(rig_model.system, e))
    t, x, travel_m, pull, force, moving = _haul(
        spec, rng, rig_model.travel_ratio, rig_model.ideal_ma, ma, true_load
    )
    weight = np.diff(travel_m, prepend=travel_m[0]) * moving
    load_N = float(np.average(force, weights=weight))
    true = {"efficiency": ma / rig_model.ideal_ma, "actual_ma": ma, "load_force_N": load_N,
            "haul_force_N": load_N / ma, "pulls_from_s": float(t[np.argmax(moving)])}  # fmt: skip
    a, b = 1.0, 0.0
    if spec.estimator == "anchor":
        pair = load_from_cell(rig, "anchor")
        assert pair is not None
        a, b = pair
    values = {
        "haul_force": pull,
        "rope_out": x,
        "load_travel": travel_m,
        "cell": (force - b * pull) / a,
    }
    readings, text = {}, ""
    stated = np.random.default_rng([spec.seed, 1])  # its own: all else stays as it is without
    for column, device in enumerate(spec.devices, 1):
        readings[device.name] = _sent(device, t, values[device.name], rng)
        text += channel(
            device.name,
            device.quantity,
            at=device.at,
            format="columns",
            column=column,
            unit=UNITS[device.quantity],
            u_percent=device.u_percent,
            u=device.u,
        )
        if spec.delay_u_s is not None:
            delay = float(np.clip(device.lag_s + spec.delay_u_s * stated.standard_normal(), 0, 0.3))
            text += f"delay_s = {delay!r}\ndelay_u_s = {spec.delay_u_s!r}\n"
    return Made(spec, rig, parse_sensors(text, "sensors.toml"), Block(readings), true)


def _load(spec: Spec, rng: np.random.Generator) -> tuple[str, float]:
    """The [load] table, and the true resistance, off it by draws from what the table states."""
    off = float(rng.standard_normal())
    if spec.load_kind == "hanging":
        mass = spec.load_N / G
        text = f'kind = "hanging"\nmass_kg = {mass!r}\nmass_kg_u = {mass * spec.load_u!r}\n'
        return f"[load]\n{text}", spec.load_N * (1 + spec.load_u * off)
    if spec.load_kind == "slope":
        slope, c = math.radians(float(rng.uniform(3, 15))), float(rng.uniform(0.03, 0.1))
        c_u = 0.1 * c
        mass = spec.load_N / G / (math.sin(slope) + c * math.cos(slope))
        text = (
            f'kind = "slope"\nmass_kg = {mass!r}\nmass_kg_u = {mass * spec.load_u!r}\n'
            f"slope_deg = {math.degrees(slope)!r}\nresistance_coefficient = {c!r}\n"
            f"resistance_coefficient_u = {c_u!r}\n"
        )
        true_c = c + c_u * float(rng.standard_normal())
        weight = mass * (1 + spec.load_u * off) * G
        return f"[load]\n{text}", weight * (math.sin(slope) + true_c * math.cos(slope))
    text = f"resistance_N = {spec.load_N!r}\nresistance_u_N = {spec.load_N * spec.load_u!r}\n"
    return f"[load]\n{text}", spec.load_N * (1 + spec.load_u * off)


def _efficiencies(rig: Rig, rng: np.random.Generator) -> np.ndarray:
    """True efficiencies: a common draw around the stated one, each pulley a little apart."""
    e = efficiencies(rig)
    pulleys = np.array([rig.stations[s].kind == "pulley" for s in rig.turns])
    common = rng.normal(0.88, 0.05)
    each = np.clip(common + rng.normal(0, 0.015, len(e)), 0.6, 0.99)
    return np.where(pulleys, each, e)


def _hands(spec: Spec, rng: np.random.Generator) -> list[tuple[str, float, float, float]]:
    """(what, duration, speed, phase): rest, haul, pause, slack, feed."""
    plan = [("rest", float(rng.uniform(1.0, 4.0)), 0.0, 0.0)]
    for k in range(spec.strokes):
        speed = spec.speed_m_s * float(rng.uniform(0.9, 1.1))
        parts = np.diff([0.0, *sorted(rng.uniform(0.15, 0.9, spec.pauses)), 1.0]) * spec.stroke_s
        for j, share in enumerate(parts):
            if j:
                plan.append(
                    ("pause", float(rng.uniform(1.0, 5.0)), float(rng.uniform(0, 0.5)), 0.0)
                )
            plan.append(("haul", float(share), speed, float(rng.uniform(0, 6.28))))
        plan.append(("slack", 0.6, 0.0, 0.0))
        if k + 1 < spec.strokes:
            plan.append(("feed", float(rng.uniform(2.0, 5.0)), 0.85, 0.0))
    return plan


def _haul(
    spec: Spec, rng: np.random.Generator, ratio: float, ideal: float, ma: float, load_N: float
) -> tuple[np.ndarray, ...]:
    """Time, rope out, load travel, haul tension, force on the load, whether it moves: (n,) each."""
    plan = _hands(spec, rng)
    base = load_N / ma  # what the load resists, as a haul tension
    travel = max(spec.speed_m_s * spec.stroke_s * spec.strokes, 1.0)
    waves = [(spec.waves * float(rng.standard_normal()), float(rng.uniform(0.5, 4.0)) * ratio,
              float(rng.uniform(0, 6.28))) for _ in range(2)]  # fmt: skip
    stroke_factor = [*(1 + spec.scatter * rng.standard_normal(spec.strokes)).tolist(), 1.0]
    place = np.arange(0, 1.3 * travel + 1.0, 0.02)  # m of rope
    ground = base * (1 + spec.drift * (place / travel - 0.5))
    ground = (ground + base * sum(a * np.sin(f * place / ratio + p) for a, f, p in waves)).tolist()
    mass = float(base / (G * rng.uniform(0.1, 1.0))) / ratio  # N per m/s2 of rope
    k, damp = spec.stretch_N_m, 2 * 0.3 * math.sqrt(spec.stretch_N_m * mass)
    back = ideal * ideal / ma
    out: list[tuple[float, ...]] = []
    x = y = slack = v = pull = arm = 0.0
    force = 0.0
    stroke, begun = 0, 0.0
    for what, lasts, arg, phase in plan:
        steps = max(1, round(lasts / STEP_S))
        fed = 0.85 * (x - begun) / lasts if what == "feed" else 0.0
        let_go, arm = pull, 0.0
        for i in range(steps):
            u = i * STEP_S
            if what == "haul":
                turn = 6.2832 * arg / spec.pull_m * u + phase
                if spec.grips and spec.ripple > 0.1:
                    share = 0.5 + 0.4 * (1 - spec.ripple)  # of the time in which hands pull
                    hand = arg / share if (turn / 6.2832) % 1.0 < share else -0.02
                else:
                    hand = arg * (1 + spec.ripple * math.sin(turn))
                hand *= min(1.0, u / 0.4 + 0.05)
                hand = arm = arm + (hand - arm) * STEP_S / 0.08  # arms are no machine
            elif what == "pause":
                # a share of the tension is let off in the first moments
                hand = -arg * let_go / k / 0.3 if u < 0.3 and v == 0 else 0.0
            elif what == "slack":
                hand = -min(2.0, 6.0 * pull / k + 0.05) if pull > 0 else 0.0
            elif what == "feed":
                hand = -fed
            else:
                hand = 0.0
            x += hand * STEP_S
            if what == "feed":
                slack = x - y
            stretch = x - y - slack
            pull = max(0.0, k * stretch + damp * (hand - v)) if stretch > 0 else 0.0
            needs = ground[min(int(y * 50.0), len(ground) - 1)] * stroke_factor[stroke]
            if v > 0 or pull > needs * (1 + spec.stick):
                v = max(0.0, v + (pull - needs) / mass * STEP_S)
                y += v * STEP_S
            moves = v > 0
            force = ma * pull if moves else min(max(force, ma * pull), back * pull)
            out.append((x, y / ratio, pull, force, float(moves)))
        if what == "feed":
            stroke, begun = stroke + 1, x
    table = np.array(out)
    t = np.arange(len(table)) * STEP_S
    return (t, *table.T)


def _sent(
    device: Device, t: np.ndarray, true: np.ndarray, rng: np.random.Generator
) -> ChannelReadings:
    """Gain, zero with a slow shift, lag, noise, last digit, lines lost."""
    end = t[-1]
    at = np.arange(rng.uniform(0, 1 / device.hz), end, 1 / device.hz)
    at = np.sort(at + rng.uniform(-0.2, 0.2, len(at)) / device.hz)
    keep = rng.random(len(at)) > 0.003
    for _ in range(device.dropouts):
        start = rng.uniform(0, end)
        keep &= (at < start) | (at > start + rng.uniform(0.1, 1.5))
    at = np.clip(at[keep], 0, end)
    value = np.interp(at - device.lag_s, t, true) * (
        1 + device.u_percent / 100 * rng.standard_normal()
    )
    if device.quantity == "force":
        still, shift = device.u * rng.standard_normal(2) * np.array([0.957, 1.0])
        value += still + shift * (at / end - 0.5)  # at any time u in all: 0.957^2 + 1 / 12 = 1
    value += device.noise * rng.standard_normal(len(at))
    return ChannelReadings(at, np.round(value / device.quantum) * device.quantum)
