"""A haul from first principles: the load's way is drawn, and Newton's second law gives every force.

The load goes x(t), hand over hand; what pulls on it is F = R(x, v) + m a.  While it moves, the haul tension is
T = F / G, with G the rig's gain (with 1/e for each pulley while it is lowered).  At rest the tension is
free between what would raise the load and what would let it go, and follows what the hands do.  The rope
through the hands is y = ratio x + s + slack, s its stretch under T.  So every true value is exact, and no
equation of motion has to be stepped.  Strokes, holds, resets and lowering are pieces put end to end.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

G = 9.80665
STEP_S = 1 / 200
GIVES_M = 0.03  # rope that slips through hands that hold; chosen by us


@dataclass
class Motion:
    """How a crew hauls; lengths of rope in m, forces at the load in N.

    resist_N: mean resistance of the load; down_N: force on the load while it is lowered.
    mass_kg: inertia.  strokes, lowers: how many; rope_m: rope hauled in a stroke.
    speed_m_s: of the rope; surge: share of the speed that the hands' rhythm adds and takes; beat_hz: of the
    hands; stands_s: how long the load stands at each change of hands, 0 for never.
    pauses: stands of some seconds in a stroke, tension kept.
    k_N_m: stiffness of the rope at the hands; loss: share of the stretch that lags behind (hysteresis).
    stick: friction at rest / moving - 1.  place, speed: share of the resistance that varies along the way, and
    that is proportional to speed.  scatter: from stroke to stroke.
    hold_low: lowest share of the haul tension at which the load stays where it is.
    pause_ends_s: pause under tension before and after each stroke.  rest_s: between strokes.
    setback_m: lost on the capture.  spring_m: rope that springs back after a stroke, no reset.
    tugs: pulls that never move the load, in the place of strokes.
    jolts: what happens within strokes, (kind, size, rise in s), one a stroke in turn.
    """

    resist_N: float
    down_N: float
    mass_kg: float
    strokes: int
    rope_m: float
    speed_m_s: float
    surge: float
    beat_hz: float
    lowers: int = 0
    stands_s: float = 0.0
    pauses: int = 0
    k_N_m: float = 2000.0
    loss: float = 0.0
    stick: float = 0.05
    place: float = 0.02
    speed: float = 0.0
    scatter: float = 0.01
    hold_low: float = 0.4
    pause_ends_s: float = 0.0
    rest_s: float = 3.0
    setback_m: float = 0.0
    spring_m: float = 0.0
    slack_m: float = 0.15
    tugs: int = 0
    jolts: tuple[tuple[str, float, float], ...] = ()


@dataclass(frozen=True)
class TrueStroke:
    """One stroke as it was: first and last motion of the load in s, rope and load travel in m."""

    start_s: float
    end_s: float
    direction: str
    haul_m: float
    load_m: float


@dataclass(frozen=True)
class Jolt:
    """Something sudden: when, what it is by the definition of the interface, None for neither."""

    time_s: float
    kind: str
    size: float


@dataclass
class TrueHaul:
    """The true course: times s, load's way m, rope m, haul tension N, force on the load N, all shape (n,)."""

    t: np.ndarray
    x: np.ndarray
    y: np.ndarray
    tension_N: np.ndarray
    load_N: np.ndarray
    raising: np.ndarray
    strokes: list[TrueStroke]
    resets: int
    jolts: list[Jolt]
    true: dict[str, float] = field(default_factory=dict)


class _Course:
    """Pieces of a course put end to end."""

    def __init__(self, motion: Motion, ratio: int, up: float, down: float, rng) -> None:
        self.m, self.ratio, self.up, self.down, self.rng = motion, ratio, up, down, rng
        self.pieces: list[tuple[np.ndarray, ...]] = []
        self.t, self.x, self.free, self.tension, self.moves = 0.0, 0.0, 0.0, 0.0, 0.0
        self.strokes: list[list[float]] = []
        self.jolts: list[Jolt] = []
        self.resets = 0
        self.factor = 1.0
        self.phase = rng.uniform(0, 6.28)  # of what varies along the way

    def put(self, dt, x, tension, free, load, raising):
        """Append samples; dt: times from the piece's start, the first above 0."""
        n = len(dt)
        full = [np.broadcast_to(np.asarray(a, float), n) for a in (x, tension, free, load, raising)]
        self.pieces.append((self.t + dt, *full))
        self.t += float(dt[-1])
        self.x, self.tension, self.free = (float(a[-1]) for a in full[:3])

    def ticks(self, lasts_s: float) -> np.ndarray:
        n = max(2, round(lasts_s / STEP_S))
        return np.arange(1, n + 1) * (lasts_s / n)

    def rest(self, lasts_s: float, free: float | None = None):
        """Nothing moves, or rope is fed or taken slack to `free`; sparse where nothing happens."""
        dt = (
            self.ticks(lasts_s)
            if free is not None or lasts_s < 4
            else np.linspace(0, lasts_s, 9)[1:]
        )
        share = ease(dt / lasts_s) if free is not None else 0.0
        goal = self.free if free is None else free
        self.put(dt, self.x, self.tension, self.free + (goal - self.free) * share, self.held(), 0.0)

    def held(self) -> float:
        """Force on the load at rest: what the tension alone gives, rope and capture shared."""
        return self.tension * self.up

    def least(self, steady_N: float) -> float:
        """Lowest share of the tension while the load is held in the hands, which give GIVES_M of rope at most."""
        return min(0.96, max(self.m.hold_low, 1 - GIVES_M * self.m.k_N_m / steady_N))

    def pull_to(self, tension_N: float, lasts_s: float, back_m: float = 0.0):
        """The tension goes to a value while the load stands, or sinks back on its capture."""
        share = ease(self.ticks(lasts_s) / lasts_s)
        tension = self.tension + (tension_N - self.tension) * share
        self.put(
            self.ticks(lasts_s), self.x - back_m * share, tension, self.free, tension * self.up, 0.0
        )

    def resists(self, x, v, mean_v: float):
        m = self.m
        place = m.place * np.sin(2 * np.pi * x / 1.7 + self.phase)
        speed = m.speed * (v / mean_v - 1)
        stick = m.stick * np.exp(-np.abs(v) / (0.08 * mean_v))
        return m.resist_N * self.factor * (1 + place + speed + stick)

    def go(self, way_m: float, speed_m_s: float, sign: int, begins: bool, ends: bool):
        """The load goes a way, from rest to rest where begins and ends."""
        m = self.m
        lasts = abs(way_m) / speed_m_s
        n = max(40, round(lasts / STEP_S))
        dt = np.arange(0, n + 1) * (lasts / n)
        beat = m.beat_hz * self.rng.uniform(0.92, 1.08)
        phase, wanders = self.rng.uniform(0, 6.28), self.rng.normal(0, 0.05, 5)
        surge, ramp = m.surge, min(0.8, lasts / 4)
        for _ in range(12):  # calmer, until the hands neither push nor give rope back
            v = 1 + surge * np.sin(2 * np.pi * beat * dt + phase)
            v += min(1.0, surge / max(m.surge, 1e-9)) * np.interp(
                dt, np.linspace(0, lasts, 5), wanders
            )
            v = np.maximum(v, 0.02) * ease(dt / ramp) * ease((lasts - dt) / ramp)
            steps = np.concatenate([[0.0], np.cumsum((v[1:] + v[:-1]) / 2 * np.diff(dt))])
            v, steps = v * (abs(way_m) / steps[-1]), steps * (abs(way_m) / steps[-1])
            x, a = self.x + sign * steps, sign * np.gradient(v, dt)
            mean_v = abs(way_m) / lasts
            if sign > 0:
                load = self.resists(x, v, mean_v) + m.mass_kg * a
                tension = load / self.up
            else:
                load = np.full_like(v, m.down_N * self.factor) + m.mass_kg * a
                tension = load / self.down
            rope = sign * np.diff(self.ratio * x + tension / m.k_N_m)
            back = float(-rope[rope < 0].sum())
            if tension.min() > 0.15 * float(np.mean(tension)) and back < GIVES_M:
                break
            surge, ramp = 0.7 * surge, min(1.4 * ramp, lasts / 2.1)
        if begins or sign < 0:
            self.pull_to(float(tension[0]), 0.5)
        else:
            self.pull_to(float(tension[0]), 0.15)
        at = len(self.pieces)
        self.put(dt[1:], x[1:], tension[1:], self.free, load[1:], 1.0 if sign > 0 else 0.0)
        return at

    def joined(self) -> list[np.ndarray]:
        return [np.concatenate(column) for column in zip(*self.pieces, strict=True)]


def ease(share):
    """0 before 0, 1 after 1, smooth between."""
    s = np.clip(share, 0.0, 1.0)
    return s * s * (3 - 2 * s)


def course(motion: Motion, ratio: int, up: float, down: float, fed_back: float, rng) -> TrueHaul:
    """The course of a whole session.

    ratio: rope hauled / load travel; up, down: gains while it is raised and lowered; fed_back: share of the
    hauled rope that a reset gives back.
    """
    m = motion
    c = _Course(m, ratio, up, down, rng)
    c.rest(rng.uniform(3.0, 5.0))
    for number in range(m.tugs or m.strokes):
        c.factor = 1 + m.scatter * float(rng.normal())
        slack = m.slack_m * rng.uniform(0.3, 1.0) + (m.spring_m if number else 0.0)
        before = c.free
        began_rope = c.t
        c.rest(max(0.3, slack / 0.4), c.free + slack)
        needs = m.resist_N * (1 + m.stick) / up
        if m.tugs:
            for _ in range(int(rng.integers(2, 5))):
                c.pull_to(needs * rng.uniform(0.5, 0.9), rng.uniform(0.6, 1.5))
                c.rest(rng.uniform(0.3, 2.0))
                c.pull_to(needs * rng.uniform(0.1, 0.4), rng.uniform(0.4, 1.0))
            c.pull_to(0.0, 0.6)
            c.rest(m.rest_s * rng.uniform(0.8, 1.5), before)
            continue
        if m.pause_ends_s:
            c.pull_to(needs * rng.uniform(0.75, 0.9), 0.6)
            c.rest(m.pause_ends_s * rng.uniform(0.8, 1.3))
        else:
            c.pull_to(needs * 0.9, max(rng.uniform(0.5, 1.2), needs / m.k_N_m / m.speed_m_s))
        way = m.rope_m * rng.uniform(0.85, 1.1) / ratio
        speed = m.speed_m_s * rng.uniform(0.9, 1.1) / ratio
        start_x = c.x
        first = c.t
        pieces = 1 + m.pauses
        if m.stands_s:
            pieces = max(pieces, round(way / speed * m.beat_hz))
        jolt = m.jolts[number % len(m.jolts)] if m.jolts else None
        if jolt:
            pieces = 2
        for piece in range(pieces):
            c.go(way / pieces, speed, 1, piece == 0, piece == pieces - 1)
            if piece == 0:
                start_go = first + 0.5
            last = c.t
            if piece == pieces - 1:
                break
            steady = m.resist_N * c.factor / up
            if jolt:
                _jolt(c, jolt, steady, rng)
            elif m.stands_s:
                c.pull_to(steady * rng.uniform(c.least(steady), 0.97), m.stands_s / 2)
                c.pull_to(steady * (1 + m.stick), m.stands_s / 2)
            else:
                c.pull_to(steady * rng.uniform(c.least(steady), 0.97), 0.3)
                c.rest(rng.uniform(2.0, 4.0))
        hauled = ratio * (c.x - start_x) + slack
        c.strokes.append([start_go, last, 1, began_rope, c.t, hauled, c.x - start_x])
        if m.pause_ends_s:
            steady = m.resist_N * c.factor / up
            c.pull_to(steady * rng.uniform(c.least(steady), 0.97), 0.3)
            c.rest(m.pause_ends_s * rng.uniform(0.8, 1.3))
        c.pull_to(0.0, max(rng.uniform(0.3, 0.7), needs / m.k_N_m / 1.5), m.setback_m)
        if m.spring_m:
            c.rest(rng.uniform(0.8, 1.5), c.free - m.spring_m)
        c.rest(rng.uniform(2.0, 3.0))
        if fed_back and number < m.strokes - 1:
            c.rest(max(2.0, hauled / 1.2), c.free - fed_back * hauled)
            c.resets += 1
        c.rest(m.rest_s * rng.uniform(0.8, 1.2))
    for _ in range(m.lowers):
        c.factor = 1 + m.scatter * float(rng.normal())
        slack = m.slack_m * rng.uniform(0.3, 1.0)
        began_rope = c.t
        c.rest(max(0.3, slack / 0.4), c.free + slack)
        c.pull_to(m.resist_N * c.factor / up, rng.uniform(0.7, 1.2))
        way = m.rope_m * rng.uniform(0.85, 1.1) / ratio
        start_x = c.x
        first = c.t + 0.5
        c.go(-way, m.speed_m_s * rng.uniform(0.8, 1.1) / ratio, -1, True, True)
        c.strokes.append([first, c.t, -1, began_rope, c.t, ratio * (c.x - start_x), c.x - start_x])
        c.pull_to(0.0, rng.uniform(0.3, 0.7))
        c.rest(m.rest_s * rng.uniform(0.8, 1.2))
    c.rest(rng.uniform(2.0, 4.0))
    return _finished(c)


def _jolt(c: _Course, jolt: tuple[str, float, float], steady: float, rng) -> None:
    """A drop or a blow in the middle of a stroke; size: of the steady tension, rise: in s.

    By interface section 6: a slip falls below half within 0.2 s while rope comes out and the load stands; a shock
    passes twice within 0.3 s.
    """
    kind, size, lasts = jolt
    c.pull_to(steady, 0.3)
    c.rest(0.2)
    began, k = c.t, c.m.k_N_m
    dt = c.ticks(lasts)
    share = ease(dt / lasts)
    tension = c.tension + (size * steady - c.tension) * share
    if kind == "drop":  # a grab lets rope through: it comes out at the hands, the load stands
        slack = (c.tension - tension) / k + float(rng.uniform(0.1, 0.2)) * share
        c.put(dt, c.x, tension, c.free + slack, tension * c.up, 0.0)
        c.rest(rng.uniform(0.15, 0.3), c.free + rng.uniform(0.1, 0.25))
        c.jolts.append(Jolt(began, "slip" if size < 0.5 and lasts <= 0.2 else "", size))
    else:  # the load runs back and is caught on the rope, which nobody moves; then it is drawn forth again
        back = (tension - c.tension) / k / c.ratio
        c.put(dt, c.x - back, tension, c.free, tension * c.up, 0.0)
        high = c.tension
        dt = c.ticks(0.25)
        tension = high + (steady - high) * ease(dt / 0.25)
        c.put(dt, c.x + (high - tension) / k / c.ratio, tension, c.free, tension * c.up, 0.0)
        c.jolts.append(Jolt(began, "shock" if size > 2 and lasts <= 0.3 else "", size))
    c.pull_to(0.9 * steady, 0.4)
    c.rest(0.4)


def _finished(c: _Course) -> TrueHaul:
    t, x, tension, free, load, raising = c.joined()
    m = c.m
    stretch = tension / m.k_N_m
    if m.loss:
        stretch = play(stretch, m.loss * float(stretch.max()) / 2)
    y = c.ratio * x + stretch + free
    dx = np.gradient(x) * (raising > 0)
    moved = dx.sum()
    strokes = []
    for first, last, sign, began_rope, stands, _, way in c.strokes:
        rope = float(np.interp(stands, t, y) - np.interp(began_rope, t, y))
        strokes.append(TrueStroke(first, last, "haul" if sign > 0 else "lower", rope, way))
    haul = TrueHaul(t, x, y, tension, load, raising, strokes, c.resets, c.jolts)
    if moved > 0:
        haul.true["haul_force_N"] = float((tension * dx).sum() / moved)
        haul.true["load_force_N"] = float((load * dx).sum() / moved)
        haul.true["actual_ma"] = haul.true["load_force_N"] / haul.true["haul_force_N"]
        haul.true |= _totals(haul, c)
    return haul


def _totals(haul: TrueHaul, c: _Course) -> dict[str, float]:
    """Travel and work efficiency over haul strokes, from the rope at rest and slack to load and rope at rest.

    Rope at rest and slack: before the hands take the slack in.  The load at rest: at its last motion, before the
    tension is let off, so stretch that is still in the rope counts as hauled.
    """
    up = [s for s in c.strokes if s[2] > 0]
    rope = load = put_in = out = 0.0
    for _, _, _, began, stands, _, way in up:
        inside = (haul.t >= began) & (haul.t <= stands)
        y, x = haul.y[inside], haul.x[inside]
        rope += float(y[-1] - y[0])
        load += way
        put_in += float(np.trapezoid(haul.tension_N[inside], y))
        out += float(np.trapezoid(haul.load_N[inside], x))
    return {"travel_efficiency": c.ratio * load / rope, "work_efficiency": out / put_in}


def play(values: np.ndarray, half: float) -> np.ndarray:
    """A play operator: the result follows `half` behind, whichever way the values go (hysteresis)."""
    result, last = np.empty_like(values), 0.0
    for k, value in enumerate(values.tolist()):
        last = min(max(last, value - half), value + half)
        result[k] = last
    return np.maximum(result, 0.0)
