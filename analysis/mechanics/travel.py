"""How far a rig goes: one stroke until it is two-blocked, the job stroke by stroke, rope needed.

A stroke runs from given body positions until the first two bodies joined by a strand are
`clearance_m` apart, or a strand comes to stand 80 degrees off the haul axis.  On the axis all
rates are constant and the stroke is exact; with a body beside it the motion is integrated
(classical Runge-Kutta, fourth order) and the end found by bisection.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.mechanics.kinematics import LOAD, TINY, solve_motion
from analysis.messages.message import Message, message
from analysis.numeric import bisect
from analysis.rig.rig import Floats, Rig

COS_80 = math.cos(math.radians(80.0))  # interface section 5
IN_HAND_M, TIE_M = 3.0, 1.0  # interface section 5; common practice, no source
MOST_STROKES = 5000  # chosen by us: more is said not to be done
LEAST_GAIN_M = (
    0.01  # where clearance_m is 0, less than this is no gain; chosen by us: nobody resets for 1 cm
)


@dataclass(frozen=True, eq=False)
class Travel:
    """One stroke: load and haul travel, the two bodies that end it, nearer the load first; positions on the way.

    stopped_by is empty where the load came as far as it had to.
    """

    load_m: float
    haul_m: float
    stopped_by: tuple[str, ...]
    end: Floats
    places: tuple[Floats, ...]


@dataclass(frozen=True, eq=False)
class Reset:
    """Grabs slid back after a stroke: load position when, and where each was slid from and to."""

    load_m: float
    slid: tuple[tuple[str, float, float], ...]
    setback_m: float


@dataclass(frozen=True, eq=False)
class Job:
    """All strokes until the load has moved `pull_distance_m`; why_not says why there is no answer."""

    load_m: float
    haul_m: float
    strokes: int
    resets: Mapping[str, int]
    places: tuple[Floats, ...]
    why_not: Message | None = None
    story: tuple[Travel | Reset, ...] = ()


def stroke(rig: Rig, x_m: Floats | None = None, most_m: float = math.inf) -> Travel:
    """The stroke from body positions x_m (bodies,), at most `most_m` of load travel."""
    x = rig.start_m if x_m is None else x_m
    if any(_slanted(rig, k) for k in range(len(rig.strands))):
        return _curved(rig, x, most_m)
    motion = solve_motion(rig, x)
    best, pair = math.inf, (LOAD, 0)
    for a, b in _pairs(rig):
        gap = abs(float(x[b] - x[a]))
        closing = float(np.sign(x[b] - x[a]) * (motion.body_rate[b] - motion.body_rate[a]))
        if closing < -TINY:
            way = max(0.0, (gap - rig.clearance_m) / -closing)
            if way < best - TINY:
                best, pair = way, (a, b)
    if math.isinf(best):
        best = max(0.0, float(x[LOAD]) - rig.clearance_m)
    reached = most_m <= best + TINY
    way = min(best, most_m)
    end = x + motion.body_rate * way
    return Travel(
        load_m=way,
        haul_m=motion.haul_rate * way,
        stopped_by=() if reached else _named(rig, pair, end),
        end=end,
        places=(x, end),
    )


def job(rig: Rig, mode: str, setback: Mapping[str, float]) -> Job:
    """The whole job; mode "each": the two-blocked stage's grab alone is reset, "together": all of them.

    setback: grab -> load lost when it is reset (of the capture that covers it).
    """
    distance = rig.load.pull_distance_m
    x, home = rig.start_m.copy(), rig.start_m
    resets = dict.fromkeys(rig.grabs, 0)
    places: list[Floats] = [x]
    story: list[Travel | Reset] = []
    haul, strokes = 0.0, 0

    def failed(why: Message) -> Job:
        return Job(
            load_m=0.0,
            haul_m=0.0,
            strokes=0,
            resets=resets,
            places=tuple(places),
            why_not=why,
            story=tuple(story),
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
        story.append(done)
        x = done.end
        if not done.stopped_by:
            return Job(
                load_m=distance,
                haul_m=haul,
                strokes=strokes,
                resets=resets,
                places=tuple(places),
                why_not=None,
                story=tuple(story),
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
        story.append(Reset(float(x[LOAD]), moved, back))
        if max(abs(b - a) for _, a, b in moved) < 1e-6:
            return failed(message("sliding_gains_nothing"))


def rope_in_rig(rig: Rig, x_m: Floats) -> list[float]:
    """Metres of each rope from its first end to its last body, by true strand lengths."""
    result = [0.0] * len(rig.ropes)
    for strand in rig.strands:
        a, b = rig.stations[strand.start].body, rig.stations[strand.end].body
        if a is not None and b is not None:
            result[strand.rope] += math.hypot(
                float(x_m[b] - x_m[a]), float(rig.side_m[b] - rig.side_m[a])
            )
    return result


def needed_rope(rig: Rig, rope: int, x_m: Floats) -> float:
    """Metres of this rope needed at these positions: in the rig, on to the team, 3 m in hand, 1 m a tie."""
    needed = rope_in_rig(rig, x_m)[rope] + IN_HAND_M + TIE_M * rig.ropes[rope].ties
    haul = rig.stations[rig.haul]
    if haul.rope == rope and haul.body is None:
        beside = rig.haul - 1 if rig.haul_sign > 0 else rig.haul + 1
        last = rig.stations[beside].body
        if last is not None:
            needed += math.hypot(float(x_m[last]) - rig.stand_m, float(rig.side_m[last]))
    return needed


def _pairs(rig: Rig) -> list[tuple[int, int]]:
    """Bodies joined by a strand, at least one of them moving."""
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
    return result


def _slanted(rig: Rig, strand: int) -> bool:
    """Whether a strand reaches from a moving body to one beside the axis."""
    ends = (rig.strands[strand].start, rig.strands[strand].end)
    bodies = [b for b in (rig.stations[s].body for s in ends) if b is not None]
    return len(bodies) == 2 and bool(
        rig.side_m[bodies[0]] != rig.side_m[bodies[1]]
        and (rig.bodies[bodies[0]].moves or rig.bodies[bodies[1]].moves)
    )


def _named(rig: Rig, pair: tuple[int, int], x: Floats) -> tuple[str, ...]:
    near, far = sorted(pair, key=lambda b: -x[b])
    return rig.bodies[near].name, rig.bodies[far].name


def _curved(rig: Rig, start: Floats, most_m: float) -> Travel:
    """A stroke with bodies beside the axis, integrated along the load's travel."""
    pairs = _pairs(rig)
    x, load, haul = start, 0.0, 0.0
    places = [start]
    end_of_way = max(0.0, float(start[LOAD]) - rig.clearance_m)
    ended = _ended(rig, pairs, start, start)
    while True:
        if load >= most_m - TINY:
            return Travel(load_m=load, haul_m=haul, stopped_by=(), end=x, places=tuple(places))
        if ended is not None or load >= end_of_way - TINY:
            pair = ended if ended is not None else (LOAD, 0)
            return Travel(
                load_m=load,
                haul_m=haul,
                stopped_by=_named(rig, pair, x),
                end=x,
                places=tuple(places),
            )
        h = min(_step(rig, pairs, x), most_m - load, end_of_way - load)
        new, out = _advance(rig, x, h)
        ended = _ended(rig, pairs, x, new)
        if ended is not None:
            h = _end(rig, pairs, x, h)
            new, out = _advance(rig, x, h)
            ended = _ended(rig, pairs, x, new) or ended
        x, load, haul = new, load + h, haul + out
        places.append(x)


def _end(rig: Rig, pairs: list[tuple[int, int]], x: Floats, most: float) -> float:
    """Load travel from x at which the stroke ends, at most 1e-10 m after it."""

    def goes_on(h: float) -> bool:
        return _ended(rig, pairs, x, _advance(rig, x, h)[0]) is None

    return bisect(goes_on, 0.0, most, tolerance=1e-10)[1]


def _step(rig: Rig, pairs: list[tuple[int, int]], x: Floats) -> float:
    """A step of load travel from x: short against strands that turn, and over no meeting of two bodies."""
    rate = solve_motion(rig, x).body_rate
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
    rig: Rig, pairs: list[tuple[int, int]], old: Floats, new: Floats
) -> tuple[int, int] | None:
    """The pair that is within clearance and closing, or on a strand that has come past 80 degrees."""
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


def _advance(rig: Rig, x: Floats, h: float) -> tuple[Floats, float]:
    """Positions and rope hauled after h metres of load travel; one Runge-Kutta step."""

    def rate(at: Floats) -> tuple[Floats, float]:
        motion = solve_motion(rig, at)
        return motion.body_rate, motion.haul_rate

    k1, r1 = rate(x)
    k2, r2 = rate(x + h / 2 * k1)
    k3, r3 = rate(x + h / 2 * k2)
    k4, r4 = rate(x + h * k3)
    return x + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4), h / 6 * (r1 + 2 * r2 + 2 * r3 + r4)


def _to_reset(rig: Rig, x: Floats, pair: tuple[str, ...], mode: str) -> list[str]:
    """Names of the grabs to slide, in order; empty where nothing can be gained."""
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
    """Put the grab, and before it any grab in its way that leaves it too little, into the order."""
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
    """Where a grab can be slid to on the way to its at_m, and what is in the way (None: nothing)."""
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
