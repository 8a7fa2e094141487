"""Computes the force on each part of a rig (strand or element) and the force that it is allowed.

The force on a part is a linear or vector combination of strand tensions, so each part holds a
matrix: its vector sum per unit of tension in each strand.  The allowed force is the minimum breaking
strength / design factor, or the stated WLL unchanged.  A knot lowers the limit of its own strand
only: to the share that the rig file states or that its knot keeps, else to ASSUMED_STRENGTH.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.mechanics.kinematics import Motion
from analysis.mechanics.tension import loaded_side, pull_on
from analysis.messages.message import Message, message
from analysis.rig.knots import UNKNOWN, knot
from analysis.rig.rig import Floats, Rating, Rig, Station

# share of the rope's strength that a knot keeps where the rig file does not state it: that of an unknown
# knot, whose source stands in the table of knots
ASSUMED_STRENGTH = UNKNOWN.keeps
SLIP_COVERAGE = 2.0  # how many u a slip load is taken lower, about 95 % (JCGM 100:2008, 6.3.3)


@dataclass(frozen=True, eq=False)
class RigPart:
    """A strand or element of a rig: how its force follows from the strand tensions, and its limit.

    combine: rule that gives the force from `matrix` times the strand tensions: "strand" (row 0),
    "vector" (length of the vector sum of the two rows), "difference" (absolute value of row 0),
    "side" (sum of the positive rows), "wrap" (an edge: vector sum of both sides over its wrap).
    """

    name: str  # of a strand its two stations, "A1>T1"
    kind: str  # strand | pulley | edge | grab | capture | plate | gear | anchor | load
    on: str  # body or strand that carries it; of gear, the names of what it carries
    matrix: Floats  # (rows, strands), force per unit of tension in each strand
    combine: str  # see above
    wrap_rad: float = 0.0  # of an edge, the angle over which the rope lies on it
    limit_N: float | None = None  # allowed force; None: not rated
    why: Message | None = None  # what sets the limit
    rope: str = ""  # of a strand, the name of its rope
    ends: tuple[str, str] = ("", "")  # of a strand, the names of its two stations

    def force(self, tension: Floats) -> float:
        """The force on the part, in the unit of tension: strand tensions, (strands,)."""
        if self.combine == "strand":
            return float(self.matrix[0] @ tension)
        if self.combine == "difference":
            return abs(float(self.matrix[0] @ tension))
        if self.combine == "side":
            return float(np.sum(np.maximum(self.matrix @ tension, 0.0)))
        if self.combine == "wrap":
            t1, t2 = (float(x) for x in self.matrix @ tension)
            square = t1 * t1 + t2 * t2 - 2.0 * t1 * t2 * math.cos(self.wrap_rad)
            return math.sqrt(max(0.0, square))
        return float(np.hypot(*(self.matrix @ tension)))

    def reading(self, tension: Floats) -> float:
        """What a force cell at this part reads, in the unit of tension: strand tensions, (strands,).

        At an anchor that is the force along the haul axis (+ toward the load), without any sideways
        pull; elsewhere it is the force on the part.
        """
        if self.kind == "anchor":
            return float(self.matrix[0] @ tension)
        return self.force(tension)

    def slope(self, tension: Floats) -> Floats:
        """d force / d tension of each strand, (strands,), at these strand tensions, (strands,)."""
        if self.combine == "strand":
            return np.asarray(self.matrix[0])
        if self.combine == "difference":
            return np.asarray(self.matrix[0] * np.sign(self.matrix[0] @ tension))
        if self.combine == "side":
            return np.asarray(np.sum(self.matrix[self.matrix @ tension > 0], axis=0))
        force = self.force(tension)
        if force == 0.0:
            return np.zeros(self.matrix.shape[1])
        both = self.matrix @ tension
        if self.combine == "wrap":
            cosine = math.cos(self.wrap_rad)
            both = np.array([both[0] - both[1] * cosine, both[1] - both[0] * cosine])
        return np.asarray(both @ self.matrix / force)


def parts(rig: Rig, motion: Motion, toward: Floats) -> tuple[RigPart, ...]:
    """All strands in rope order, then all elements in the order of interface section 5.

    toward: unit vectors along the strands, (strands, 2).
    """
    return (*_strands(rig), *_elements(rig, motion, toward))


def _strands(rig: Rig) -> list[RigPart]:
    """Every strand in rope order."""
    result = []
    for k, strand in enumerate(rig.strands):
        a, b = rig.stations[strand.start], rig.stations[strand.end]
        rope = rig.ropes[strand.rope]
        row = np.zeros((1, len(rig.strands)))
        row[0, k] = 1.0
        limit, why = None, None
        if rope.mbs_N is not None:
            ties = [s for s in (a, b) if s.kind == "tie"]
            limit, why = _strand_limit(rope.mbs_N, ties, rig.design_factor)
        result.append(
            RigPart(
                name=strand.name,
                kind="strand",
                on="",
                matrix=row,
                combine="strand",
                wrap_rad=0.0,
                limit_N=limit,
                why=why,
                rope=rope.name,
                ends=(a.name, b.name),
            )
        )
    return result


def _strand_limit(mbs_N: float, ties: list[Station], factor: float) -> tuple[float, Message]:
    """Allowed force of a strand, N, after its weakest knot, and the message that explains it."""
    weakest = min(ties, key=lambda tie: (_keeps(tie), tie.strength is None), default=None)
    keeps = 1.0 if weakest is None else _keeps(weakest)
    if weakest is not None and weakest.strength is None:
        why = message("assumed_knot_strength", strength_N=mbs_N, keeps=keeps, factor=factor)
    elif weakest is not None and weakest.knot:
        why = message(
            "named_knot_strength", strength_N=mbs_N, keeps=keeps, knot=weakest.knot, factor=factor
        )
    elif keeps < 1:
        why = message("knotted_strength", strength_N=mbs_N, keeps=keeps, factor=factor)
    else:
        why = message("breaking_strength", strength_N=mbs_N, factor=factor)
    return mbs_N * keeps / factor, why


def _keeps(tie: Station) -> float:
    """Share of the rope's strength that the knot of a tie keeps."""
    return ASSUMED_STRENGTH if tie.strength is None else tie.strength


def slipping_knots(rig: Rig) -> Message | None:
    """A warning of knots that may slip before they break; None: there are none."""
    names = {s.name: s.knot for s in rig.stations if s.knot and _may_slip(s.knot)}
    if not names:
        return None
    return message("knot_may_slip", places=", ".join(names), knot=next(iter(names.values())))


def _may_slip(name: str) -> bool:
    """Whether the knot of this name may slip before it breaks."""
    row = knot(name)
    return row is not None and row.may_slip


def scattering_hitches(rig: Rig) -> Message | None:
    """A warning of grabs and captures whose slip load has no uncertainty; None: there are none."""
    names = [
        s.name
        for s in rig.stations
        if s.kind in ("grab", "capture") and _scatters(rig.ratings.get(s.name))
    ]
    return message("hitches_scatter", hitches=", ".join(names)) if names else None


def _scatters(rating: Rating | None) -> bool:
    """Whether a slip load is stated without its uncertainty."""
    return rating is not None and rating.slips_N is not None and rating.slips_u_N is None


def assumed_knots(rig: Rig) -> Message | None:
    """One warning for all ties on rated ropes whose knot strength is assumed; None: there are none."""
    names = [
        f"{s.name} (rope {rig.ropes[s.rope].name})" if len(rig.ropes) > 1 else s.name
        for s in rig.stations
        if s.kind == "tie" and s.strength is None and rig.ropes[s.rope].mbs_N is not None
    ]
    if not names:
        return None
    places = ", ".join(dict.fromkeys(names))
    return message("knots_assumed", places=places, count=len(names), keeps=ASSUMED_STRENGTH)


def _elements(rig: Rig, motion: Motion, toward: Floats) -> list[RigPart]:
    """Pulleys, edges, grabs, captures, plates, gear, anchors and the load, in this order."""
    turns: dict[str, list[RigPart]] = {"pulley": [], "edge": [], "grab": [], "capture": []}
    vectors: dict[str, Floats] = {}
    for s, station in enumerate(rig.stations):
        if station.kind not in turns or station.body is None:
            continue
        on = rig.bodies[station.body].name
        vector = _vector(rig, toward, s)
        vectors[station.name] = vector
        matrix, combine = vector, "vector"
        if station.kind == "edge":
            combine = "wrap"
            matrix = np.zeros((2, len(rig.strands)))
            matrix[0, rig.before[s]] = matrix[1, rig.after[s]] = 1.0
        elif station.kind == "capture":
            combine = "difference"
            source, pull = loaded_side(rig, motion, s)
            matrix = np.zeros((1, len(rig.strands)))
            matrix[0, source], matrix[0, pull] = -1.0, 1.0
        elif station.kind == "grab":
            combine = "difference"
            matrix = np.zeros((1, len(rig.strands)))
            matrix[0, rig.before[s]], matrix[0, rig.after[s]] = 1.0, -1.0
            on = rig.strands[rig.before[s]].name
        limit, why = _allowed(rig, station.name)
        turns[station.kind].append(
            RigPart(
                name=station.name,
                kind=station.kind,
                on=on,
                matrix=matrix,
                combine=combine,
                wrap_rad=station.wrap_rad,
                limit_N=limit,
                why=why,
            )
        )
    result = [*turns["pulley"], *turns["edge"], *turns["grab"], *turns["capture"]]
    for k, body in enumerate(rig.bodies):
        if body.kind == "plate":
            limit, why = _allowed(rig, body.name)
            sides = pull_on(rig, toward, k)[:, 0]
            matrix = np.diag(np.maximum(sides, 0.0))
            vectors[body.name] = np.vstack([np.maximum(sides, 0.0), np.zeros_like(sides)])
            result.append(
                RigPart(
                    name=body.name,
                    kind="plate",
                    on="",
                    matrix=matrix,
                    combine="side",
                    wrap_rad=0.0,
                    limit_N=limit,
                    why=why,
                )
            )
    anchors = []
    for k, body in enumerate(rig.bodies):
        if body.kind in ("anchor", "further_anchor", "load"):
            limit, why = _allowed(rig, body.name)
            vector = pull_on(rig, toward, k).T
            vectors[body.name] = vector
            kind = "load" if body.kind == "load" else "anchor"
            anchors.append(
                RigPart(
                    name=body.name,
                    kind=kind,
                    on="",
                    matrix=vector,
                    combine="vector",
                    wrap_rad=0.0,
                    limit_N=limit,
                    why=why,
                )
            )
    anchors.sort(key=lambda one: one.kind == "load")
    for gear in rig.gears:
        limit, why = _allowed(rig, gear.name)
        vector = _carried(rig, gear.name, vectors)
        result.append(
            RigPart(
                name=gear.name,
                kind="gear",
                on=", ".join(gear.carries),
                matrix=vector,
                combine="vector",
                wrap_rad=0.0,
                limit_N=limit,
                why=why,
            )
        )
    return [*result, *anchors]


def _carried(rig: Rig, name: str, vectors: dict[str, Floats]) -> Floats:
    """Vector sum of all that a piece of gear carries, also through other gear, (2, strands)."""
    by_name = {gear.name: gear for gear in rig.gears}
    total = np.zeros((2, len(rig.strands)))
    for item in by_name[name].carries:
        total += _carried(rig, item, vectors) if item in by_name else vectors[item]
    return total


def _vector(rig: Rig, toward: Floats, station: int) -> Floats:
    """Force vector on a turn or grab per unit of tension in each strand, (2, strands).

    A strand without length (a capture on the same body) takes the direction of the strand beyond it.
    """
    into, out = rig.before[station], rig.after[station]
    back, ahead = -_direction(rig, toward, into, -1), _direction(rig, toward, out, +1)
    if rig.stations[station].kind == "capture":  # rope runs straight through it
        if not np.any(toward[into]):
            back = -ahead
        elif not np.any(toward[out]):
            ahead = -back
    result = np.zeros((2, len(rig.strands)))
    result[:, into] += back
    result[:, out] += ahead
    return result


def _direction(rig: Rig, toward: Floats, strand: int, step: int) -> Floats:
    """Direction of the first strand with a length, from this one on in rope order (step +1) or against it."""
    rope = rig.strands[strand].rope
    k = strand
    while 0 <= k < len(rig.strands) and rig.strands[k].rope == rope:
        if np.any(toward[k]):
            return np.asarray(toward[k])
        k += step
    return np.zeros(2)


def _allowed(rig: Rig, name: str) -> tuple[float | None, Message | None]:
    """The lowest limit of a named item, N, and what sets it; (None, None) where it is not rated."""
    rating = rig.ratings.get(name)
    if rating is None:
        return None, None
    limits: list[tuple[float, Message]] = []
    if rating.mbs_N is not None:
        limits.append(_strand_limit(rating.mbs_N, [], rig.design_factor))
    if rating.wll_N is not None:
        limits.append((rating.wll_N, message("working_load_limit", limit_N=rating.wll_N)))
    if rating.slips_N is not None:
        limits.append(_slip_limit(rating.slips_N, rating))
    if rating.damages_N is not None:
        limits.append((rating.damages_N, message("damages_the_rope", limit_N=rating.damages_N)))
    return min(limits, key=lambda one: one[0], default=(None, None))


def _slip_limit(slips_N: float, rating: Rating) -> tuple[float, Message]:
    """Allowed force of a hitch that slips at slips_N, N, and the message that explains it."""
    if rating.slips_u_N is None:
        return slips_N, message("begins_to_slip", limit_N=slips_N)
    why = message("begins_to_slip_less_u", slips_N=slips_N, slips_u_N=rating.slips_u_N)
    return slips_N - SLIP_COVERAGE * rating.slips_u_N, why
