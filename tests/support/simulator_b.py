"""A second simulator of whole sessions, which shares nothing with the demo's or with simulator_a:
rig, sensors and table files as a user has them, and the true values.

Rope, load and ground go through time together: the hands take in rope, the rope between them and the
rig is a spring with some loss, the load has its mass and dry friction, pulleys take their share
whichever way the load runs and hold it in between.  Gains of the rigs are written down by hand with
the T-method, not taken from the model.
True values are means over the load's distance between a tenth and 95 % of its way in each haul.

What is assumed, and where from:
- cells and counters: gain from `u_percent`, zero from `u` with a third of it drifting in, or a fit of
  5 to 8 points in place of both; 8 to 100 readings a second with phase and jitter of their own, a
  mean over one interval (0.1 s at most), 0 to 0.3 s late, 1 % lost and gaps to 2.5 s: common practice,
  no source
- pulleys 0.90, standard uncertainty 0.05 in common: the default of the rig file; 0.01 of each: common
  practice, no source
- friction not the same both ways, 0.36: analysis/efficiency/load_from_lowering.py, from R. Delaney 2022, p. 88
- rope stretches 1 to 5 % at 1.5 kN, 20 to 45 m of it (EN 1891:1998, elongation: at most 5 % between 50 kg
  and 150 kg, which is 1 kN; read in texts that quote it); loss factor 0.03 to 0.12: from memory
- hand over hand at 1.1 s, heaving together at 2.2 s, walking away at 0.55 s a step; break-away up to
  1.25 times the friction while moving; ground that varies by up to 6 % over 0.2 to 1.5 m: common
  practice, no source
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

import numpy as np

from logger.calibration import calibration
from logger.calibration.curve import Calibration
from support.channels import channel

G = 9.80665
STEP_S = 0.005
SI = {"N": 1.0, "kN": 1e3, "kgf": G, "lbf": 4.4482216152605, "m": 1.0, "cm": 0.01, "ft": 0.3048}
ESTIMATORS = ("cell", "anchor", "resistance", "hanging", "slope", "rolling",
        "low-hanging", "low-coefficient", "low-both")  # fmt: skip
LIP = """title = "3:1 over a lip"
anchor_to_load_m = 20.0
[[rope]]
name = "main"
path = [
  { tie = "load" }, { edge = "E1", at_m = 12.0, wrap_deg = 30, friction = 0.25 },
  { grab = "G1", at_m = 10 }, { capture = "C1", on = "anchor" },
  { pulley = "A1", on = "anchor" }, { pulley = "T1", on = "G1" }, { haul = "team" },
]
[edge.E1]
friction_u = 0.05
"""
# turns in the order that the rope meets them from the hand, ideal, reset by a grab, sign of S in
# anchor + sign S = load, rope of a stroke (m), load / haul tension with the turns' efficiencies
RIGS = {
    "2": (1, 2, False, 1, (3, 6), lambda e: 1 + e[0]),
    "2-redirect": (2, 2, False, -1, (3, 6), lambda e: e[0] * (1 + e[1])),
    "3": (2, 3, True, 1, (3, 8), lambda e: 1 + e[0] + e[0] * e[1]),
    "4": (3, 4, False, 1, (4, 8), lambda e: 1 + e[0] + e[0] * e[1] * (1 + e[2])),
    "5": (4, 5, True, 1, (4, 9), lambda e: 1 + float(np.sum(np.cumprod(e)))),
    "3-on-3": (4, 9, True, 1, (5, 11), lambda e: (1 + e[0] + e[0] * e[1]) * (1 + e[2] + e[2] * e[3])),
    "complex-5": (3, 5, False, 1, (3, 6), lambda e: e[0] * e[1] + (1 + e[0]) * (1 + e[2])),
    "lip": (3, 3, True, 1, (3, 7), lambda e: e[2] * (1 + e[0] + e[0] * e[1])),
}  # fmt: skip


@dataclass
class Session:
    """The files of a session, and what is true: haul_force_N, load_force_N, actual_ma, efficiency."""

    estimator: str
    rig: str
    table: str = ""
    sensors: str = ""
    curves: dict[str, Calibration] = field(default_factory=dict)
    true: dict[str, float] = field(default_factory=dict)

    def write(self, folder: Path) -> tuple[str, str, str]:
        """Table, rig and sensors file in this folder, calibrations beside them; their paths."""
        for name, curve in self.curves.items():
            calibration.save(curve, folder / f"{name}.toml")
        texts = {"data.csv": self.table, "rig.toml": self.rig, "sensors.toml": self.sensors}
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8")
        return tuple(str(folder / name) for name in texts)  # type: ignore[return-value]


@dataclass
class Load:
    """What the load asks for: gravity's part and the ground's while moving, N; mass; break-away / moving."""

    fall_N: float
    ground_N: float
    mass_kg: float
    start: float
    rough: list[float]  # the ground's factor every 0.02 m of the way, from 10 m behind

    def rubs(self, way_m: float) -> float:
        return self.ground_N * self.rough[int((way_m + 10.0) * 50)]


class Haul:
    """Rope, pulleys and load through time; rows: (rope, way, haul force, load force, phase), phases
    1, 3, 5.. hauling, 2, 4, 6.. lowering, 0 else."""

    def __init__(self, load: Load, ratio: int, up: float, down: float, spring: float, loss: float, holds: bool) -> None:  # fmt: skip
        self.load, self.ratio, self.up, self.down, self.holds = load, ratio, up, down, holds
        self.k, self.c = spring, loss * spring / (2 * math.pi * 0.7)
        self.x = self.slack = self.y = self.v = self.force = 0.0
        self.rested, self.phase = 5.0, 0
        self.rows: list[tuple[float, ...]] = []

    def step(self, speed: float) -> None:
        self.x += speed * STEP_S
        stretch = self.x - self.slack - self.ratio * self.y
        pull = self.k * stretch + self.c * (speed - self.ratio * self.v) if stretch > 0 else 0.0
        pull = max(0.0, pull)
        fall, rubs = self.load.fall_N, self.load.rubs(self.y)
        if self.v == 0.0:
            self.rested += STEP_S
            sticks = rubs * (1 + (self.load.start - 1) * min(1.0, self.rested))
            if self.up * pull > fall + sticks:
                self.force = self.up * pull
                self.v = (self.force - fall - rubs) / self.load.mass_kg * STEP_S
            elif not self.holds and self.down * pull < fall - sticks:
                self.force = self.down * pull
                self.v = (self.force - fall + rubs) / self.load.mass_kg * STEP_S
            else:  # pulleys hold what comes back, as far as the load's balance lets them
                force = max(self.force, self.up * pull)
                force = force if self.holds else min(force, self.down * pull)
                self.force = min(max(force, fall - sticks, 0.0), fall + sticks)
        else:
            direction = math.copysign(1.0, self.v)
            self.force = (self.up if direction > 0 else self.down) * pull
            v = self.v + (self.force - fall - direction * rubs) / self.load.mass_kg * STEP_S
            self.v, self.rested = (v if v * direction > 0 else 0.0), 0.0
        self.y += self.v * STEP_S
        self.rows.append((self.x, self.y, pull, self.force, float(self.phase)))

    def wait(self, seconds: float) -> None:
        for _ in range(int(seconds / STEP_S)):
            self.step(0.0)

    def ease(self) -> None:
        """Until the tension is off."""
        for _ in range(int(6 / STEP_S)):
            if self.x - self.slack - self.ratio * self.y < -0.01:
                break
            self.step(-0.35)

    def feed_back(self, rope_m: float) -> None:
        for _ in range(int(rope_m / 0.6 / STEP_S)):
            self.slack -= 0.6 * STEP_S
            self.step(-0.6)


def make(seed: int, estimator: str | None = None) -> Session:
    """The session of this seed; estimator: one of ESTIMATORS, by default seed modulo their number, or "low-mass",
    which gives bounds alone."""
    rng = np.random.default_rng([seed, 7])
    estimator = estimator or ESTIMATORS[seed % len(ESTIMATORS)]
    name = str(rng.choice([r for r in RIGS if r != "lip" or estimator != "anchor"]))
    turns, ratio, grabs, sign, metres, gain = RIGS[name]
    e = 0.90 + 0.05 * rng.standard_normal() + 0.01 * rng.standard_normal(turns)
    e = np.clip(e, 0.5, 0.985)
    if name == "lip":
        e[2] = math.exp(-max(0.02, 0.25 + 0.05 * rng.standard_normal()) * math.radians(30))
    a = float(np.clip(0.36 * rng.standard_normal(), -0.85, 0.85))
    up, down = gain(e), gain(1 / np.exp(np.log(e) * (1 + a) / (1 - a)))
    load, lines = _load(rng, estimator, ratio)
    text = (
        LIP if name == "lip" else (files("analysis") / "rigs" / f"{name}.toml").read_text("utf-8")
    )
    made = Session(estimator, f"{text}\n[load]\n{lines}" if lines else text)
    lowers = estimator.startswith("low")
    spring = 1500.0 / (rng.uniform(0.01, 0.05) * rng.uniform(20, 45))
    haul = Haul(load, ratio, up, down, spring, rng.uniform(0.03, 0.12), not lowers)
    stroke = float(rng.uniform(*metres))
    strokes = int(rng.integers(2, 6))
    if not grabs and strokes * stroke / ratio > 14:
        strokes = 2
    _team(rng, haul, strokes, stroke, grabs, lowers)
    x, y, pull, force, phase = np.array(haul.rows).T
    made.true = _true(y, pull, force, phase, ratio)
    values = {"haul_force": pull, "rope": x}
    if estimator == "cell":
        values["load_force"] = force
    elif estimator == "anchor":
        values["anchor_force"] = force - sign * pull
    if rng.random() < 0.5:
        values["way"] = y
    _devices(rng, made, values)
    return made


def _load(rng: np.random.Generator, estimator: str, ratio: int) -> tuple[Load, str]:
    """The load, and what the rig file says of it: off by draws from what it states."""
    kind = estimator.removeprefix("low-")
    if estimator in ("cell", "anchor"):
        kind = str(rng.choice(["hanging", "slope", "resistance"]))
    if kind in ("coefficient", "mass", "both"):
        kind = "slope"
    low, slope = estimator.startswith("low"), 90.0
    if kind == "hanging":
        mass = rng.uniform(60, 350) if ratio < 9 else rng.uniform(200, 700)
        c, spread = 0.0, 0.0
    else:
        slope = {"slope": rng.uniform(12, 35), "rolling": rng.uniform(0, 4)}.get(kind, 0.0)
        most = {"rolling": (0.02, 0.12), "resistance": (0.05, 0.5)}.get(kind, (0.03, 0.15) if low else (0.05, 0.5))  # fmt: skip
        c, spread = rng.uniform(*most), rng.uniform(0.0, 0.06)
        wanted = rng.uniform(600, 2500) if ratio < 9 else rng.uniform(1500, 6000)
        mass = wanted / G / (math.sin(math.radians(slope)) + c * math.cos(math.radians(slope)))
    fall, ground = (
        mass * G * math.sin(math.radians(slope)),
        c * mass * G * math.cos(math.radians(slope)),
    )
    load = Load(
        fall, ground, mass, rng.uniform(1.0, 1.25), _rough(rng, spread, rng.uniform(0.2, 1.5))
    )

    def stated(key: str, true: float, u: float, unit_u: str) -> str:
        value = true / max(0.3, 1 + u * rng.standard_normal())
        return f"{key} = {value:.8g}\n{unit_u} = {u * value:.8g}\n"

    lines = ""
    if estimator == "resistance":
        lines += stated("resistance_N", fall + ground, rng.uniform(0.01, 0.06), "resistance_u_N")
    if estimator in ("hanging", "slope", "rolling", "low-mass", "low-both"):
        lines += stated("mass_kg", mass, rng.uniform(0.003, 0.03), "mass_kg_u")
    if estimator in ("slope", "rolling", "low-coefficient", "low-both"):
        key = "resistance_coefficient"
        lines += stated(key, c, rng.uniform(0.08, 0.3), f"{key}_u")
    if estimator not in ("cell", "anchor", "resistance"):
        lines += f'kind = "{kind}"\n' + (f"slope_deg = {slope:.8f}\n" if kind != "hanging" else "")
    return load, lines


def _rough(rng: np.random.Generator, sd: float, length_m: float) -> list[float]:
    """The ground's factor along the way, a first-order random walk that comes back to 1."""
    keeps = math.exp(-0.02 / length_m)
    steps = sd * math.sqrt(1 - keeps * keeps) * rng.standard_normal(2000)
    z = [sd * float(rng.standard_normal())]
    for s in steps[1:].tolist():
        z.append(keeps * z[-1] + s)
    return [1 + max(-0.6, value) for value in z]


def _hands(rng: np.random.Generator, style: str, speed: float) -> np.ndarray:
    """Rope speed of one pull, (n,)."""
    period = {"over": 1.1, "heave": 2.2, "walk": 0.55}[style] * float(np.clip(1 + 0.15 * rng.standard_normal(), 0.6, 1.6))  # fmt: skip
    u = np.arange(int(period / STEP_S)) * STEP_S / period
    speed *= max(0.5, 1 + 0.12 * float(rng.standard_normal()))
    if style == "heave":
        share = rng.uniform(0.5, 0.75)
        return np.where(u < share, 1.6 * speed * np.sin(np.pi * np.minimum(u / share, 1)), 0.0)
    depth = 0.18 if style == "walk" else float(np.clip(0.55 + 0.15 * rng.standard_normal(), 0.1, 0.95))  # fmt: skip
    return speed * (1 - depth * np.cos(2 * np.pi * u))


def _team(rng: np.random.Generator, haul: Haul, strokes: int, metres: float, grabs: bool, lowers: bool) -> None:  # fmt: skip
    """Hauls with pauses under tension; then lets off and feeds back, or lowers most of the way."""
    style, speed = str(rng.choice(["over", "heave", "walk"])), rng.uniform(0.12, 0.45)
    haul.wait(rng.uniform(2, 5))
    haul.slack = rng.uniform(0.05, 0.3)
    for k in range(strokes):
        haul.phase, start, patience = 2 * k + 1, haul.x, rng.uniform(6, 25)
        while haul.x - start < metres and len(haul.rows) < 300_000:
            for v in _hands(rng, style, speed).tolist():
                haul.step(v)
                patience -= STEP_S
            if patience < 0:
                patience = rng.uniform(6, 25)
                haul.wait(rng.uniform(0.7, 4))
        haul.phase = 0
        haul.wait(rng.uniform(0.5, 2))
        if lowers:
            haul.phase, start, back = 2 * k + 2, haul.x, metres * rng.uniform(0.6, 0.95)
            while start - haul.x < back:
                for v in _hands(rng, "walk" if style == "heave" else style, speed).tolist():
                    haul.step(-v)
            haul.phase = 0
            haul.wait(rng.uniform(0.5, 2))
            haul.holds = k == strokes - 1
        if haul.holds:
            haul.ease()
            haul.wait(rng.uniform(1.5, 6))
            if grabs and not lowers:
                haul.feed_back(metres * rng.uniform(0.9, 1.0))
                haul.wait(rng.uniform(1, 4))
    haul.wait(4)


def _true(y: np.ndarray, pull: np.ndarray, force: np.ndarray, phase: np.ndarray, ideal: int) -> dict[str, float]:  # fmt: skip
    weight = np.maximum(np.diff(y, prepend=y[0]), 0.0)
    steady = np.zeros(len(y), bool)
    for k in range(1, int(phase.max()) + 1, 2):
        low, high = y[phase == k][[0, -1]]
        steady |= (phase == k) & (y >= low + 0.1 * (high - low)) & (y <= low + 0.95 * (high - low))
    haul, load = (float(np.average(v, weights=weight * steady)) for v in (pull, force))
    return {"haul_force_N": haul, "load_force_N": load, "actual_ma": load / haul,
            "efficiency": load / haul / ideal}  # fmt: skip


def _devices(rng: np.random.Generator, made: Session, values: dict[str, np.ndarray]) -> None:
    """The table and the sensors file of devices at these true values."""
    rows: list[tuple[float, str, str]] = []
    delays_stated = rng.random() < 0.35  # the delays, in the sensors file
    for column, (name, true) in enumerate(values.items(), 1):
        force = name.endswith("force")
        size = float(true.max())
        u_percent, u = rng.uniform(0.1, 1.0), rng.uniform(0.001, 0.008) * size if force else 0.005
        unit = str(rng.choice(["N", "kgf", "lbf", "kN"] if force else ["m", "cm", "ft", "count"]))
        last = 1e-3 * 10 ** rng.uniform(0, 0.7) * (size if force else 1.0)  # of a reading, SI
        curve = _calibrated(rng, 1.2 * size) if force and rng.random() < 0.2 else None
        gain, zero = 1 + u_percent / 100 * rng.standard_normal(), 0.0
        scale, offset, lines = 1 / SI.get(unit, last), 0.0, [f"u = {u!r}"]
        if unit == "count":
            lines.append(f"scale = {last!r}")
        if curve is not None:
            made.curves[name], scale, offset = curve
            unit, lines, u = "count", [f'calibration = "{name}.toml"'], 0.0
        elif force:
            zero = float(rng.choice([0.0, rng.uniform(-20, 20)]))
            lines.append(f"zero = {zero!r}")
        drift = rng.uniform(-0.3, 0.3)
        start = u * rng.standard_normal() * math.sqrt(1 - drift * drift / 3)
        delay, delay_u = rng.uniform(0, 0.3), rng.uniform(0.005, 0.03)
        if delays_stated:
            stated = np.clip(delay + delay_u * rng.standard_normal(), 0, 0.3)
            lines.append(f"delay_s = {stated:.6f}\ndelay_u_s = {delay_u:.6f}")
        at, value = _read(rng, true, force)
        if force:
            value = value * gain + start + drift * u * (2 * at / at[-1] - 1)
            value += 0.002 * size * rng.standard_normal(len(at))
        else:
            value = value * gain
        digit = last * abs(scale)
        sent = np.round((value * scale + offset) / digit) * digit + zero
        rows += [(round(t, 3), name, f"{r:.9g}") for t, r in zip((at + delay).tolist(), sent.tolist(), strict=True)]  # fmt: skip
        at_name = {"haul_force": "haul", "rope": "haul", "anchor_force": "anchor"}.get(name, "load")
        made.sensors += channel(
            name,
            "force" if force else "length",
            *lines,
            at=at_name,
            format="columns",
            column=column,
            unit=unit,
            u_percent=u_percent,
        )
    names = list(values)
    table = [",".join(["time_s", *names])]
    table += [f"{t:.3f}," + ",".join(r if n == name else "" for n in names) for t, name, r in sorted(rows)]  # fmt: skip
    made.table = "\n".join(table) + "\n"


def _read(rng: np.random.Generator, true: np.ndarray, force: bool) -> tuple[np.ndarray, np.ndarray]:
    """When a device reads, and what is true then; a cell takes the mean over its interval."""
    every = 1 / float(rng.choice([8, 10, 12.5, 20, 40, 80, 100]))
    end = len(true) * STEP_S
    at = (np.arange(1, int(end / every)) + rng.uniform(0, 1)) * every
    at = np.minimum(at + rng.uniform(-0.2, 0.2, len(at)) * every, end)
    keep = rng.random(len(at)) > 0.01
    for start in rng.uniform(0, end, int(rng.integers(0, 3))):
        keep &= (at < start) | (at > start + rng.uniform(0.3, 2.5))
    at, t = at[keep], np.arange(len(true) + 1) * STEP_S
    if not force:
        return at, np.interp(at, t[1:], true)
    whole, over = np.concatenate(([0.0], np.cumsum(true) * STEP_S)), min(every, 0.1)
    return at, (np.interp(at, t, whole) - np.interp(at - over, t, whole)) / over


def _calibrated(rng: np.random.Generator, span: float) -> tuple[Calibration, float, float]:
    """A fit to a few loads; the cell's true slope, and its offset in this session, which scatters as
    the points did."""
    offset, slope = rng.uniform(-50, 50), rng.uniform(0.5, 5) * rng.choice([-1, 1])
    scatter = abs(slope) * span * rng.uniform(0.0005, 0.003)
    applied = np.linspace(0, span, int(rng.integers(5, 9)))
    reading = offset + slope * applied + scatter * rng.standard_normal(len(applied))
    curve = calibration.fit(applied.tolist(), reading.tolist(), 1)
    return curve, slope, offset + scatter * rng.standard_normal()
