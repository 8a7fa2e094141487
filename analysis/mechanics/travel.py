"""Computes travel: one stroke until the rig is two-blocked, the job stroke by stroke, the rope needed.

A stroke runs from given body positions until the first two bodies joined by a strand are
`clearance_m` apart, or a strand comes to stand 80 degrees off the haul axis.  On the axis all
rates are constant and the stroke is exact; with a body beside it the motion is integrated
(classical Runge-Kutta, fourth order) and the end is located by bisection.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analysis.mechanics.kinematics import LOAD, TINY, Motion, solve_motion
from analysis.messages.message import Message, message
from analysis.numeric import bisect
from analysis.rig.rig import Floats, Rig

COS_80 = math.cos(math.radians(80.0))  # interface section 5
IN_HAND_M, TIE_M = 3.0, 1.0  # interface section 5; common practice, no source
MOST_STROKES = 5000  # a job that needs more cannot be done; chosen by us: no crew hauls so often
# least slide of a grab that is worth a reset where clearance_m is 0; chosen by us: nobody resets for 1 cm
LEAST_GAIN_M = 0.01


@dataclass(frozen=True, eq=False)
class PlannedStroke:
    """One stroke of a rig as predicted."""

    load_m: float  # load travel
    haul_m: float  # rope hauled
    stopped_by: tuple[str, ...]  # two bodies that end it, nearer the load first; empty: job done
    end: Floats  # (bodies,) positions at its end, m
    places: tuple[Floats, ...]  # each (bodies,): positions from its beginning to its end, m


@dataclass(frozen=True, eq=False)
class PlannedReset:
    """The reset after a stroke as predicted."""

    load_m: float  # position of the load, from the anchor
    slid: tuple[tuple[str, float, float], ...]  # grab, from and to, m from the anchor, in order
    setback_m: float  # load travel lost as the capture sets


@dataclass(frozen=True, eq=False)
class Job:
    """All strokes and resets until the load has moved `pull_distance_m`."""

    load_m: float  # load travel; 0 where the job cannot be done
    haul_m: float  # rope hauled; 0 where the job cannot be done
    strokes: int  # their number; 0 where the job cannot be done
    resets: Mapping[str, int]  # by grab, how often it is reset
    places: tuple[Floats, ...]  # each (bodies,): positions over the job, m
    why_not: Message | None = None  # why the job cannot be done
    steps: tuple[PlannedStroke | PlannedReset, ...] = ()  # in order, as far as the job goes


def stroke(rig: Rig, x_m: Floats | None = None, most_m: float = math.inf) -> PlannedStroke:
    """Compute the stroke from body positions x_m, (bodies,), of at most `most_m` load travel."""
    x = rig.start_m if x_m is None else x_m
    if _any_slanted(rig):
        return _curved(rig, x.tobytes(), most_m)
    motion = solve_motion(rig, x)
    best, pair = math.inf, (LOAD, 0)
    for a, b in _pairs(rig):
        gap = abs(float(x[b] - x[a]))
        closing = float(np.sign(x[b] - x[a]) * (motion.body_rate[b] - motion.body_rate[a]))
        if closing < -TINY:
            travel = max(0.0, (gap - rig.clearance_m) / -closing)
            if travel < best - TINY:
                best, pair = travel, (a, b)
    if math.isinf(best):
        best = max(0.0, float(x[LOAD]) - rig.clearance_m)
    reached = most_m <= best + TINY
    load_m = min(best, most_m)
    end = x + motion.body_rate * load_m
    return PlannedStroke(
        load_m=load_m,
        haul_m=motion.haul_rate * load_m,
        stopped_by=() if reached else _named(rig, pair, end),
        end=end,
        places=(x, end),
    )


def job(rig: Rig, mode: str, setback: Mapping[str, float]) -> Job:
    """Compute the whole job, stroke by stroke.

    mode: "each" resets only the grab of the stage that is two-blocked, "together" resets all grabs;
    setback: by grab, load travel lost when it is reset, m.
    """
    distance = rig.load.pull_distance_m
    x, home = rig.start_m.copy(), rig.start_m
    resets = dict.fromkeys(rig.grabs, 0)
    places: list[Floats] = [x]
    steps: list[PlannedStroke | PlannedReset] = []
    haul, strokes = 0.0, 0

    def failed(why: Message) -> Job:
        """The job as far as it went, with the reason why it goes no further."""
        return Job(
            load_m=0.0,
            haul_m=0.0,
            strokes=0,
            resets=resets,
            places=tuple(places),
            why_not=why,
            steps=tuple(steps),
        )

    if distance is None:
        return failed(message("distance_not_stated"))
    goal = float(home[LOAD]) - distance
    while True:
        try:
            done = stroke(rig, x, float(x[LOAD]) - goal)
        except np.linalg.LinAlgError:
            return failed(message("locks_up_on_the_way"))
        strokes += 1
        haul += done.haul_m
        places.extend(done.places)
        steps.append(done)
        x = done.end
        if not done.stopped_by:
            return Job(
                load_m=distance,
                haul_m=haul,
                strokes=strokes,
                resets=resets,
                places=tuple(places),
                why_not=None,
                steps=tuple(steps),
            )
        if strokes >= MOST_STROKES:
            return failed(message("too_many_strokes", strokes=MOST_STROKES))
        slid = _to_reset(rig, x, done.stopped_by, mode)
        if not slid:
            bodies, moved_m = " and ".join(done.stopped_by), float(home[LOAD] - x[LOAD])
            return failed(message("nothing_to_slide_back", bodies=bodies, load_m=moved_m))
        back = max((setback.get(name, 0.0) for name in slid), default=0.0)
        if back > 0:
            x = x - solve_motion(rig, x).body_rate * back
        before = x.copy()
        for name in slid:
            x = x.copy()
            x[rig.index[name]] = _slide_to(rig, x, name)[0]
            resets[name] += 1
        places.append(x)
        moved = tuple((n, float(before[rig.index[n]]), float(x[rig.index[n]])) for n in slid)
        steps.append(PlannedReset(float(x[LOAD]), moved, back))
        if max(abs(b - a) for _, a, b in moved) < 1e-6:
            return failed(message("sliding_gains_nothing"))


def rope_in_rig(rig: Rig, x_m: Floats) -> list[float]:
    """Length of each rope from its first end to its last body, m, at body positions x_m, (bodies,)."""
    return [_length(ends, x_m.tolist()) for ends in _ends_by_rope(rig)]


@lru_cache(maxsize=256)  # speed only: asked for at each place of a job
def _ends_by_rope(rig: Rig) -> tuple[tuple[tuple[int, int, float], ...], ...]:
    """By rope, of each strand between two bodies in rope order: the bodies, and how far the second lies sideways
    of the first, m."""
    rows: list[list[tuple[int, int, float]]] = [[] for _ in rig.ropes]
    for strand in rig.strands:
        a, b = rig.stations[strand.start].body, rig.stations[strand.end].body
        if a is not None and b is not None:
            rows[strand.rope].append((a, b, float(rig.side_m[b] - rig.side_m[a])))
    return tuple(map(tuple, rows))


def _length(ends: tuple[tuple[int, int, float], ...], x_m: list[float]) -> float:
    """Length of a rope, m, from the ends of its strands and the positions of all bodies, m."""
    length = 0.0
    for a, b, side in ends:
        length += math.hypot(x_m[b] - x_m[a], side)
    return length


def needed_rope(rig: Rig, rope: int, x_m: Floats) -> float:
    """Length of a rope needed at body positions x_m, (bodies,), m; rope: index into Rig.ropes.

    It is the rope in the rig and on to the team, 3 m in the team's hands and 1 m for each tie.
    """
    needed = (
        _length(_ends_by_rope(rig)[rope], x_m.tolist()) + IN_HAND_M + TIE_M * rig.ropes[rope].ties
    )
    haul = rig.stations[rig.haul]
    if haul.rope == rope and haul.body is None:
        beside = rig.haul - 1 if rig.haul_sign > 0 else rig.haul + 1
        last = rig.stations[beside].body
        if last is not None:
            needed += math.hypot(float(x_m[last]) - rig.stand_m, float(rig.side_m[last]))
    return needed


@lru_cache(maxsize=256)  # speed only: a job asks for them at each stroke
def _pairs(rig: Rig) -> tuple[tuple[int, int], ...]:
    """Pairs of bodies (indices) that a strand joins, at least one of which moves."""
    result = []
    for strand in rig.strands:
        a, b = rig.stations[strand.start].body, rig.stations[strand.end].body
        if (
            a is not None
            and b is not None
            and a != b
            and (rig.bodies[a].moves or rig.bodies[b].moves)
        ):
            result.append((a, b))
    return tuple(result)


@lru_cache(maxsize=256)  # speed only: a job asks for it at each stroke
def _any_slanted(rig: Rig) -> bool:
    """Whether any strand that moves is at an angle to the haul axis."""
    return any(_slanted(rig, k) for k in range(len(rig.strands)))


def _slanted(rig: Rig, strand: int) -> bool:
    """Whether a strand between two bodies, one of them moving, is at an angle to the haul axis."""
    ends = (rig.strands[strand].start, rig.strands[strand].end)
    bodies = [b for b in (rig.stations[s].body for s in ends) if b is not None]
    return len(bodies) == 2 and bool(
        rig.side_m[bodies[0]] != rig.side_m[bodies[1]]
        and (rig.bodies[bodies[0]].moves or rig.bodies[bodies[1]].moves)
    )


def _named(rig: Rig, pair: tuple[int, int], x: Floats) -> tuple[str, ...]:
    """Names of two bodies, the one nearer the load first, at positions x, m, (bodies,)."""
    near, far = sorted(pair, key=lambda b: -x[b])
    return rig.bodies[near].name, rig.bodies[far].name


@lru_cache(maxsize=64)  # speed only: both ways to reset begin with the same stroke
def _curved(rig: Rig, start_m: bytes, most_m: float) -> PlannedStroke:
    """A stroke with bodies beside the axis, integrated over load travel from positions start_m, as 64-bit floats."""
    start: Floats = np.frombuffer(start_m)
    pairs = _pairs(rig)
    x, load, haul = start, 0.0, 0.0
    places = [start]
    most_travel = max(0.0, float(start[LOAD]) - rig.clearance_m)
    ended = _ended(rig, pairs, start, start)
    while True:
        if load >= most_m - TINY:
            return PlannedStroke(
                load_m=load, haul_m=haul, stopped_by=(), end=x, places=tuple(places)
            )
        if ended is not None or load >= most_travel - TINY:
            pair = ended if ended is not None else (LOAD, 0)
            return PlannedStroke(
                load_m=load,
                haul_m=haul,
                stopped_by=_named(rig, pair, x),
                end=x,
                places=tuple(places),
            )
        now = solve_motion(rig, x)
        h = min(_step(rig, pairs, x, now), most_m - load, most_travel - load)
        new, out = _advance(rig, x, now, h)
        ended = _ended(rig, pairs, x, new)
        if ended is not None:
            h = _end(rig, pairs, x, now, h)
            new, out = _advance(rig, x, now, h)
            ended = _ended(rig, pairs, x, new) or ended
        x, load, haul = new, load + h, haul + out
        places.append(x)


def _end(
    rig: Rig, pairs: tuple[tuple[int, int], ...], x: Floats, now: Motion, most: float
) -> float:
    """Load travel from x to the end of the stroke, m, within 1e-10 m; the stroke ends before `most`, m.

    now: the motion at x.
    """

    def goes_on(h: float) -> bool:
        """Whether the stroke has not ended after h metres of load travel."""
        return _ended(rig, pairs, x, _advance(rig, x, now, h)[0]) is None

    return bisect(goes_on, 0.0, most, tolerance=1e-10)[1]


def _step(rig: Rig, pairs: tuple[tuple[int, int], ...], x: Floats, now: Motion) -> float:
    """Step of load travel from x, m: small against the strands that turn, and not past the meeting of two bodies.

    now: the motion at x.
    """
    rate = now.body_rate
    best = 0.25
    for a, b in pairs:
        along, side = float(x[b] - x[a]), float(rig.side_m[b] - rig.side_m[a])
        length = math.hypot(along, side)
        if side:
            best = min(best, 0.05 * length)
        closing = -along / length * float(rate[b] - rate[a]) if length else 0.0
        if closing > TINY:
            best = min(best, 0.5 * max(length, rig.clearance_m) / closing)
    return max(best, 0.002)


def _ended(
    rig: Rig, pairs: tuple[tuple[int, int], ...], old: Floats, new: Floats
) -> tuple[int, int] | None:
    """The pair of bodies that ended the stroke between two positions old and new, m, (bodies,).

    They are within clearance and closing, or their strand has turned past 80 degrees off the axis.
    None: the stroke goes on.
    """
    for a, b in pairs:
        side = float(rig.side_m[b] - rig.side_m[a])
        was = math.hypot(float(old[b] - old[a]), side)
        now = math.hypot(float(new[b] - new[a]), side)
        # a grab slid to within clearance of what it runs along with does not close on it
        if now <= rig.clearance_m and was - now > TINY:
            return a, b
        crossed = (old[b] - old[a]) * (new[b] - new[a]) < 0
        if (
            side
            and abs(old[b] - old[a]) > COS_80 * was
            and (crossed or abs(new[b] - new[a]) <= COS_80 * now)
        ):
            return a, b
    return None


def _advance(rig: Rig, x: Floats, now: Motion, h: float) -> tuple[Floats, float]:
    """Positions, m, (bodies,), and rope hauled, m, after h metres of load travel from x; one Runge-Kutta step.

    now: the motion at x.
    """

    def rate(at: Floats) -> tuple[Floats, float]:
        """Body rates, (bodies,), and haul rate at these positions, m/m."""
        motion = solve_motion(rig, at)
        return motion.body_rate, motion.haul_rate

    k1, r1 = now.body_rate, now.haul_rate
    k2, r2 = rate(x + h / 2 * k1)
    k3, r3 = rate(x + h / 2 * k2)
    k4, r4 = rate(x + h * k3)
    return x + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4), h / 6 * (r1 + 2 * r2 + 2 * r3 + r4)


def _to_reset(rig: Rig, x: Floats, pair: tuple[str, ...], mode: str) -> list[str]:
    """Names of the grabs to slide back, in order; empty where sliding gains nothing.

    pair: the bodies that ended the stroke; mode: "each" or "together", as in `job`.
    """
    if mode == "together":
        return sorted(rig.grabs, key=lambda name: -x[rig.index[name]])
    rate = solve_motion(rig, x).body_rate
    mine = [name for name in pair if name in rig.grabs]
    mine = [n for n in mine if abs(rig.start_m[rig.index[n]] - x[rig.index[n]]) > 1e-6]
    if not mine:
        return []
    # the stage nearest the team runs fastest: its grab is the one to slide
    first = max(mine, key=lambda n: abs(rate[rig.index[n]]))
    order: list[str] = []
    _queue(rig, x, first, order)
    return order


def _queue(rig: Rig, x: Floats, name: str, order: list[str]) -> None:
    """Append a grab to the order, and before it any grab that blocks its slide."""
    if name in order:
        return
    to, blocker = _slide_to(rig, x, name)
    if (
        abs(to - x[rig.index[name]]) < max(rig.clearance_m, LEAST_GAIN_M)
        and blocker in rig.grabs
        and blocker is not None
    ):
        _queue(rig, x, blocker, order)
    order.append(name)


def _slide_to(rig: Rig, x: Floats, name: str) -> tuple[float, str | None]:
    """Position to which a grab can be slid toward its at_m, m, and the body that stops it (None: none)."""
    g = rig.index[name]
    here, target = float(x[g]), float(rig.start_m[g])
    sign = 1.0 if target >= here else -1.0
    best, blocker = target, None
    for a, b in _pairs(rig):
        if g not in (a, b):
            continue
        other = b if a == g else a
        if (x[other] - here) * sign > 0:
            room = float(x[other]) - sign * rig.clearance_m
            if (best - room) * sign > 0:
                best, blocker = room, rig.bodies[other].name
    if (best - here) * sign < 0:
        best = here
    return best, blocker
