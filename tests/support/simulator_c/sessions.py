"""A session of simulator C: draws crew, load, rig and devices from a seed, disturbs them, and keeps the truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from support.simulator_c.devices import Sender
from support.simulator_c.hauls import G, Motion, TrueHaul, course
from support.simulator_c.rigs import RIGS, BuiltRig, rig_file

# how the load force is known: a cell at the load, a stated resistance, hauled and lowered, mass and coefficient
WAYS = ("cell", "known", "lowering", "stated")


@dataclass(frozen=True)
class DisturbedSession:
    """A session, what was sent and what is true.

    readings: times and readings by channel.  true: by the names of interface section 6.
    """

    seed: int
    way: str
    rig_text: str
    sensors_text: str
    readings: dict[str, tuple[np.ndarray, np.ndarray]]
    true: dict[str, float]
    haul: TrueHaul


@dataclass(frozen=True)
class Plan:
    """What a disturbance may change before the session is made.

    built, filed: the rig that stands and the one in the file.  e: true efficiencies from the hands on;
    e_down: while lowering.  filed_e: as the file states it, with e_u.
    slope: degrees, coefficient, mass in kg, relative standard uncertainties of mass and coefficient.
    mass_stated: of a load that is hauled and lowered.
    """

    seed: int
    way: str
    built: BuiltRig
    filed: BuiltRig
    e: np.ndarray
    e_down: np.ndarray
    filed_e: float
    e_u: float
    slope: tuple[float, float, float, float, float]
    motion: Motion
    mass_stated: bool = False
    senders: dict[str, Sender] = field(default_factory=dict)


@dataclass(frozen=True)
class Disturbance:
    """One thing that goes wrong.

    causes: what may be named for it (words of `judge.ACCUSES`).  ways, rigs: that it is drawn with.
    needs: channels that must be there.  plan: changes what is planned.  senders: changes the devices once the
    haul is there.  nulls: quantities that cannot be had at all.
    named: the cause is so great that it must be named, whatever is covered.  counts: strokes and resets must be right;
    resets_or_cause: resets must be right, or the cause is named.
    """

    name: str = "undisturbed"
    causes: frozenset[str] = frozenset()
    ways: tuple[str, ...] = WAYS
    rigs: tuple[str, ...] = ("3", "4", "5", "9", "2", "6")
    needs: tuple[str, ...] = ()
    nulls: tuple[str, ...] = ()
    named: bool = False
    counts: bool = False
    resets_or_cause: bool = False
    plan: Callable[[Plan, np.random.Generator], Plan] = lambda plan, rng: plan
    senders: Callable[[Plan, TrueHaul, np.random.Generator], dict[str, Sender]] = (
        lambda plan, haul, rng: plan.senders
    )


def _slope(load_N: float, kind: str, rng) -> tuple[float, float, float, float, float]:
    """Degrees, coefficient, mass in kg and relative u of mass and coefficient of a load that resists load_N."""
    if kind == "hanging":
        return 90.0, 0.0, load_N / G, 0.01, 0.0
    degrees, c = float(rng.uniform(0, 8)), float(np.exp(rng.uniform(np.log(0.06), np.log(0.5))))
    angle = np.radians(degrees)
    mass = load_N / G / float(np.sin(angle) + c * np.cos(angle))
    return degrees, c, mass, 0.01, 0.04


def _plan(seed: int, what: Disturbance, way: str | None, rng) -> Plan:
    way = way or what.ways[seed % len(what.ways)]
    built = RIGS[what.rigs[int(rng.integers(len(what.rigs)))]]
    filed_e, e_u = float(rng.uniform(0.78, 0.95)), 0.03
    common = np.clip(filed_e + e_u * rng.normal(), 0.6, 0.985)
    each = np.clip(common + 0.01 * rng.normal(size=built.turns), 0.5, 0.99)
    asymmetry = float(np.clip(0.36 * rng.normal(), -0.7, 0.7))
    e, e_down = each, each ** ((1 + asymmetry) / (1 - asymmetry))
    tension = float(rng.uniform(180, 550))
    gain = built.gain(e)
    load = tension * gain
    hanging = way == "lowering" or rng.random() < 0.4
    slope = _slope(load, "hanging" if hanging else "dragging", rng)
    angle, c = np.radians(slope[0]), slope[1]
    down = slope[2] * G * (np.sin(angle) - c * np.cos(angle))
    beat = float(rng.uniform(0.5, 1.1))
    speed = float(rng.uniform(0.25, 0.55))
    surge = float(rng.uniform(0.1, 0.8))
    k_N_m = tension / float(rng.uniform(0.05, 0.4))
    # the hands cannot push, and give nothing back: what the surges add to the force stays below two thirds of
    # it, and what they add to the stretch below the rope that comes in
    omega = 2 * np.pi * beat
    pushed = load / 1.5 / (slope[2] * speed / built.ideal * omega)
    given_back = 0.7 * k_N_m * gain * built.ideal / (slope[2] * omega**2)
    hold = gain / built.gain(1 / e_down) if hanging else 0.35
    stands = rng.random() < 0.25
    motion = Motion(
        resist_N=load, down_N=down if hanging else load, mass_kg=slope[2],
        strokes=int(rng.integers(3, 7)) if way != "lowering" else int(rng.integers(2, 4)),
        lowers=int(rng.integers(2, 4)) if way == "lowering" else 0,
        rope_m=float(rng.uniform(3.5, 7.0)) * (1 if built.ideal < 9 else 1.3),
        speed_m_s=speed, surge=min(surge, pushed, given_back), beat_hz=beat,
        stands_s=float(rng.uniform(0.2, 0.6)) if stands else 0.0,
        pauses=int(rng.random() < 0.3),
        k_N_m=k_N_m,
        stick=float(rng.uniform(0.02, 0.1)) if not hanging else 0.0,
        place=float(rng.uniform(0, 0.03)) if not hanging else 0.0,
        scatter=float(rng.uniform(0, 0.015)) if not hanging else 0.0,
        loss=float(rng.uniform(0, 0.1)),
        hold_low=min(0.95, hold + 0.02),
        setback_m=float(rng.uniform(0, 0.02)) if hanging and way != "lowering" and rng.random() < 0.3 else 0.0,
    )  # fmt: skip
    plan = Plan(
        seed=seed, way=way, built=built, filed=built, e=e, e_down=e_down, filed_e=filed_e, e_u=e_u,
        slope=slope, motion=motion,
    )  # fmt: skip
    return replace(plan, senders=_senders(plan, what.needs, tension, load, rng))


def _senders(
    plan: Plan, needs: tuple[str, ...], tension: float, load: float, rng
) -> dict[str, Sender]:
    """The devices of a session: haul cell and rope counter always, one at the load mostly."""

    def cell(name, at, true, size):
        u_percent, u = float(rng.uniform(0.2, 0.5)), float(rng.uniform(0.002, 0.005)) * size
        return Sender(
            name=name, quantity="force", at=at, true=true, hz=float(rng.choice([20, 40, 80])),
            late_s=float(rng.uniform(0, 0.25)), gain=1 + u_percent / 100 * rng.normal(),
            offset=u * rng.normal(), noise=float(rng.uniform(0.001, 0.004)) * size,
            step=float(rng.choice([0.001, 0.0002])) * size, u_percent=round(u_percent, 4), u=round(u, 4),
        )  # fmt: skip

    def counter(name, at, true):
        u_percent = float(rng.uniform(0.1, 0.4))
        return Sender(
            name=name, quantity="length", at=at, true=true, hz=float(rng.choice([10, 20, 50])),
            late_s=float(rng.uniform(0, 0.25)), gain=1 + u_percent / 100 * rng.normal(), offset=0.0,
            noise=0.0, step=float(rng.choice([0.001, 0.005])), u_percent=round(u_percent, 4), u=0.003,
            sends="m", stated="m",
        )  # fmt: skip

    made = {
        "pull": cell("pull", "haul", lambda haul: haul.tension_N, tension),
        "rope": counter("rope", "haul", lambda haul: haul.y),
    }
    if plan.way == "cell":
        made["load"] = cell("load", "load", lambda haul: haul.load_N, load)
    if rng.random() < 0.75 or "way" in needs:
        made["way"] = counter("way", "load", lambda haul: haul.x)
    return made


def _load_lines(plan: Plan, true_N: float, rng) -> str:
    """The lines of [load]: nothing, a resistance, mass and coefficient, or that it hangs."""
    if plan.way == "cell":
        return ""
    if plan.way == "known":
        u = 0.01 * true_N
        return f"resistance_N = {true_N + u * rng.normal():.3f}\nresistance_u_N = {u:.3f}"
    degrees, c, mass, mass_u, c_u = plan.slope
    if plan.way == "lowering" and not plan.mass_stated:
        return 'kind = "hanging"'
    angle = np.radians(degrees)
    mass *= true_N / (mass * G * (np.sin(angle) + c * np.cos(angle)))
    lines = f"mass_kg = {mass * (1 + mass_u * rng.normal()):.4f}\nmass_kg_u = {mass * mass_u:.4f}\n"
    if degrees == 90.0:
        return f'kind = "hanging"\n{lines}'
    return (
        f'kind = "dragging"\nslope_deg = {degrees:.4f}\n{lines}'
        f"resistance_coefficient = {c * (1 + c_u * rng.normal()):.5f}\n"
        f"resistance_coefficient_u = {c * c_u:.5f}"
    )


def make(seed: int, what: Disturbance | None = None, way: str | None = None) -> DisturbedSession:
    """The session of a seed with a disturbance, or with none; way: one of WAYS in place of the one drawn."""
    what = what or Disturbance()
    rng = np.random.default_rng([20261130, seed, *what.name.encode()])
    plan = what.plan(_plan(seed, what, way, rng), rng)
    built = plan.built
    up, down = built.gain(plan.e), built.gain(1 / plan.e_down)
    haul = course(plan.motion, built.ideal, up, down, built.fed_back, rng)
    true = dict(haul.true)
    if "actual_ma" in true:
        true["efficiency"] = true["actual_ma"] / built.ideal
    senders = what.senders(plan, haul, rng)
    lines = _load_lines(plan, true.get("load_force_N", plan.motion.resist_N), rng)
    return DisturbedSession(
        seed=seed,
        way=plan.way,
        rig_text=rig_file(plan.filed, lines, plan.filed_e, plan.e_u),
        sensors_text="".join(s.toml(k) for k, s in enumerate(senders.values(), 1)),
        readings={name: s.readings(haul, rng) for name, s in senders.items()},
        true=true,
        haul=haul,
    )
