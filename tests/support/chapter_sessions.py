"""Sealed sessions with one to three rigs, hauled in strokes with resets between, for property tests."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from hypothesis import strategies as st

from logger.channels.sensors_file import parse_sensors
from logger.session.writer import SessionWriter
from support.channels import force, json_channel, rope, rows

HZ, SPEED_M_S, SLACK_S = 20.0, 0.5, 2.5
UTC = "2026-05-04T10:00:00.000Z"
FILE = """
title = "Launch, {name}"
anchor_to_load_m = 40.0
[defaults]
pulley_efficiency = {e!r}
pulley_efficiency_u = 0.02
{load}
[[rope]]
name = "main"
mbs_kN = 28.0
path = [
  {path}
  {{ haul = "team" }},
]
{items}
"""
# name -> (ideal MA, stations, parts with a mark and a limit)
RIGS = {
    "2:1": (2, '{ tie = "anchor" }, { pulley = "L1", on = "load" },',
            '[pulley.L1]\nitem = "P-1"\nwll_kN = 1.5\n'),
    "3:1": (3, '{ tie = "load", strength = 1.0 }, { grab = "G1", at_m = 35.0 }, '
            '{ capture = "C1", on = "anchor" }, { pulley = "A1", on = "anchor" }, { pulley = "T1", on = "G1" },',
            '[pulley.A1]\nitem = "P-1"\nmbs_kN = 9.0\n[capture.C1]\nitem = "C-1"\nwll_kN = 1.2\n'
            '[grab.G1]\nitem = "G-1"\nslips_at_kN = 4.0\n'),
    "5:1": (5, '{ tie = "load" }, { pulley = "A1", on = "anchor" }, { pulley = "B1", on = "load" }, '
            '{ pulley = "A2", on = "anchor" }, { pulley = "B2", on = "load" },',
            '[pulley.A1]\nitem = "P-1"\nwll_kN = 0.8\n'),
    "2:1 of a second rope": (2, '{ tie = "load", knot = "bowline" }, { grab = "G1", at_m = 35.0 }, '
            '{ capture = "C1", on = "anchor" }, { free = true },\n]\n[[rope]]\nname = "second"\nmbs_kN = 20.0\npath = [\n'
            '{ tie = "anchor", knot = "bowline" }, { pulley = "T1", on = "G1" },',
            '[pulley.T1]\nitem = "P-1"\nwll_kN = 1.0\n[capture.C1]\nwll_kN = 1.1\n'),
}  # fmt: skip


@dataclass(frozen=True)
class RigPlan:
    """What is done with one rig."""

    name: str  # key of RIGS
    strokes_m: tuple[float, ...]  # rope of each haul stroke
    conversion_m: float = 0.0  # rope fed back after the last stroke, before the next rig is in use
    wait_s: float = 1.5  # from there to the `rig` event
    lower_m: float = 0.0  # rope given back under tension after the last stroke


@dataclass(frozen=True)
class SessionPlan:
    """A session to generate."""

    rigs: tuple[RigPlan, ...]  # in order
    e: float = 0.9  # efficiency of every pulley
    load_N: float = 1200.0  # force that the load resists
    stated: bool = True  # whether the rig files state it
    load_cell: bool = False  # whether a cell is at the load
    load_counter: bool = False  # whether a counter is at the load
    seed: int = 0  # of the noise
    at_A1: bool = False  # whether the rope is counted at pulley A1 in place of the haul


@dataclass
class _Recording:
    """Pieces of the session so far; positions in m."""

    time_s: list[np.ndarray] = field(default_factory=list)
    haul_N: list[np.ndarray] = field(default_factory=list)
    rope_m: list[np.ndarray] = field(default_factory=list)
    load_m: list[np.ndarray] = field(default_factory=list)
    at_s: float = 0.0
    rope: float = 0.0
    load: float = 0.0
    counted: list[float] = field(default_factory=lambda: [1.0])  # of the rope, for each rig
    rig: int = 0  # index of the rig in use

    def go(self, for_s: float, haul_N: float, rope_m: float, load_m: float) -> None:
        """Go on at constant speed for for_s, by rope_m of rope and load_m of load travel."""
        n = max(2, round(for_s * HZ))
        share = np.arange(1, n + 1) / n
        self.time_s.append(self.at_s + share * n / HZ)
        self.haul_N.append(np.full(n, haul_N))
        rope_m *= self.counted[self.rig]
        self.rope_m.append(self.rope + share * rope_m)
        self.load_m.append(self.load + share * load_m)
        self.at_s, self.rope, self.load = self.at_s + n / HZ, self.rope + rope_m, self.load + load_m


def ideal(name: str) -> int:
    """Ideal advantage of a rig of RIGS."""
    return RIGS[name][0]


def actual(name: str, e: float) -> float:
    """Actual advantage with efficiency e at every pulley: each strand has e times the tension of the next."""
    return sum(e**k for k in range(ideal(name)))


def lowering_N(plan: SessionPlan, name: str) -> float:
    """Haul force that lets the load run back: the strands of `actual` in the other order."""
    return plan.load_N / sum(plan.e**-k for k in range(ideal(name)))


def sensors_text(plan: SessionPlan) -> str:
    """The sensors file: cell and counter at the haul, and what the plan has at the load."""
    text = force("u = 2.0")
    text += json_channel("rope_out", "length", "r", "u = 0.005", at="A1") if plan.at_A1 else rope()
    if plan.load_cell:
        text += json_channel("load_force", "force", "l", "u = 4.0", at="load")
    if plan.load_counter:
        text += json_channel("load_travel", "length", "w", "u = 0.002", at="load")
    return text


def rig_text(plan: SessionPlan, name: str) -> str:
    """The rig file of one of the plan's rigs."""
    _, path, items = RIGS[name]
    load = f"[load]\nresistance_N = {plan.load_N!r}\nresistance_u_N = 12.0\n" if plan.stated else ""
    return FILE.format(name=name, e=plan.e, load=load, path=path, items=items)


def recorded(out: Path, plan: SessionPlan) -> Path:
    """Write the session of a plan, sealed; returns its folder."""
    it, changes = _Recording(), []
    # rope over the first pulley at the anchor moves with the load, in 3:1 and 5:1
    it.counted = [1 / ideal(one.name) if plan.at_A1 else 1.0 for one in plan.rigs]
    it.go(3.5, 0.0, 0.0, 0.0)
    for k, one in enumerate(plan.rigs):
        it.rig = k
        haul_N = plan.load_N / actual(one.name, plan.e)
        for number, rope_m in enumerate(one.strokes_m, 1):
            it.go(rope_m / SPEED_M_S, haul_N, rope_m, rope_m / ideal(one.name))
            it.go(2.0, 0.0, 0.0, 0.0)
            if number < len(one.strokes_m):
                it.go(SLACK_S, 0.0, -rope_m, 0.0)
        if one.lower_m and one.strokes_m:
            it.go(
                one.lower_m / SPEED_M_S,
                lowering_N(plan, one.name),
                -one.lower_m,
                -one.lower_m / ideal(one.name),
            )
            it.go(2.0, 0.0, 0.0, 0.0)
        if k + 1 < len(plan.rigs):
            it.go(SLACK_S, 0.0, -one.conversion_m, 0.0)
            it.go(one.wait_s, 0.0, 0.0, 0.0)
            changes.append(it.at_s)
            it.go(2.5, 0.0, 0.0, 0.0)
    it.go(2.0, 0.0, 0.0, 0.0)
    return _write(out, plan, it, changes)


def _write(out: Path, plan: SessionPlan, it: _Recording, changes: list[float]) -> Path:
    """Write what was recorded; changes: times of the `rig` events, s."""
    noise = np.random.default_rng(plan.seed)
    time_s, haul_N = np.concatenate(it.time_s), np.concatenate(it.haul_N)
    readings = {
        "haul_force": haul_N + noise.normal(0, 0.5, len(time_s)),
        "rope_out": np.concatenate(it.rope_m),
    }
    if plan.load_cell:
        readings["load_force"] = np.where(haul_N > 0, plan.load_N, 40.0) + noise.normal(
            0, 1, len(time_s)
        )
    if plan.load_counter:
        readings["load_travel"] = np.concatenate(it.load_m)
    sensors = parse_sensors(sensors_text(plan), "sensors.toml")
    writer = SessionWriter.create(
        out, rig_text(plan, plan.rigs[0].name).encode(), sensors, started_at=UTC
    )
    writer.event(0.0, "start")
    writer.readings(rows(time_s, **readings))
    for k, (one, change_s) in enumerate(zip(plan.rigs[1:], changes, strict=True), 2):
        writer.copy(f"rig-{k}.toml", rig_text(plan, one.name).encode())
        writer.event(change_s, "rig", "", None, f"rig-{k}.toml")
    for at_s, n in ((0.0, 0), (float(time_s[-1]), len(time_s))):
        writer.clock(at_s, UTC, [count for _ in sensors.channels for count in (n, 0)])
    writer.event(float(time_s[-1]), "stop", text="time")
    writer.seal()
    return out


def plans() -> st.SearchStrategy[SessionPlan]:
    """Random plans: one to three rigs, up to three strokes with each, with and without devices at the load."""
    rig = st.builds(
        RigPlan,
        name=st.sampled_from(sorted(RIGS)),
        strokes_m=st.lists(st.sampled_from([1.5, 2.0, 3.0]), max_size=3).map(tuple),
        conversion_m=st.sampled_from([0.0, 0.4, 2.0]),
        wait_s=st.sampled_from([0.5, 1.5, 1.95]),
        lower_m=st.sampled_from([0.0, 0.0, 1.0]),
    )
    return st.builds(
        SessionPlan,
        rigs=st.lists(rig, min_size=1, max_size=3).map(tuple),
        e=st.sampled_from([0.8, 0.9, 0.95]),
        load_N=st.sampled_from([600.0, 1200.0]),
        stated=st.booleans(),
        load_cell=st.booleans(),
        load_counter=st.booleans(),
        seed=st.integers(0, 3),
    )
