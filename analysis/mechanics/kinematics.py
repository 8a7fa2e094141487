"""How a rig moves: one inextensible-rope equation a strand, solved for bodies and rope at once.

For the strand from station a to station b, with unit vector n from a to b, body velocities v and
rope flows f (m/s past the station in rope order, relative to the station's body; zero where the
rope is held: ties and grabs),

    d(length)/dt = n . (v_b - v_a) = f_a - f_b

A rig with one way to move has a null space of one dimension; scaled to a load travel of one
metre toward the anchor it gives the travel ratio and the real run of the rope over every turn.
Source: kinematics of inextensible ropes, any textbook of engineering mechanics (dynamics,
"constrained motion of connected particles").
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.rig.rig import Floats, Rig

LOAD = 1  # index of the load among a rig's bodies
TINY = 1e-9  # of a metre a metre, or of the haul tension: rounding only


@dataclass(frozen=True, eq=False)
class Motion:
    """Rates per metre that the load moves toward the anchor.

    body_rate: (bodies,) m of x per m, the load's is -1; flow: (stations,) m of rope in rope
    order per m; haul_rate: m of rope out to the haulers per m = the travel ratio.
    """

    body_rate: Floats
    flow: Floats
    haul_rate: float


def directions(rig: Rig, x_m: Floats) -> Floats:
    """Unit vectors along all strands in rope order, shape (strands, 2); zero for a strand of no length.

    The haul strand's direction comes from `toward_deg` where a team takes it: 0 toward the
    anchor's side, turning toward the side that offsets count.
    """
    result = np.zeros((len(rig.strands), 2))
    if rig.stations[rig.haul].body is None:
        result[rig.haul_strand] = rig.haul_direction
    k, a, b = rig.ends
    step = np.stack([x_m[b] - x_m[a], rig.side_m[b] - rig.side_m[a]], axis=1)
    length = np.hypot(step[:, 0], step[:, 1])[:, None]
    result[k] = np.divide(step, length, out=np.zeros_like(step), where=length > 0)
    return result


def equations(rig: Rig, x_m: Floats) -> tuple[Floats, dict[int, int], dict[int, int]]:
    """The strands' equations as a matrix times (body velocities, flows) = 0.

    Returns the matrix (rows: strands that are not free tails), column of each moving body and
    column of each station with a flow of its own.
    """
    toward = directions(rig, x_m)
    body_column = {body: k for k, body in enumerate(rig.movers)}
    flowing = [*rig.turns, rig.haul]
    flow_column = {s: len(body_column) + k for k, s in enumerate(flowing)}
    # columns that bodies at rest and stations without flow use are cut off at the end
    spare = len(body_column) + len(flow_column)
    matrix = np.zeros((len(rig.strands), spare + 1))
    body_at = np.full(len(rig.bodies), spare)
    for body, column in body_column.items():
        body_at[body] = column
    k, a, b = rig.ends
    matrix[k, body_at[a]] -= toward[k, 0]
    matrix[k, body_at[b]] += toward[k, 0]
    if rig.stations[rig.haul].body is None:  # the rig's end of the haul strand may move
        strand = rig.strands[rig.haul_strand]
        near = strand.start if strand.end == rig.haul else strand.end
        last = rig.stations[near].body
        if last is not None:
            sign = -1.0 if near == strand.start else 1.0
            matrix[rig.haul_strand, body_at[last]] += sign * toward[rig.haul_strand, 0]
    tied = [n for n, strand in enumerate(rig.strands) if rig.stations[strand.end].kind != "free"]
    for n in tied:
        matrix[n, flow_column.get(rig.strands[n].start, spare)] -= 1.0
        matrix[n, flow_column.get(rig.strands[n].end, spare)] += 1.0
    return matrix[tied, :spare], body_column, flow_column


def solve_motion(rig: Rig, x_m: Floats | None = None) -> Motion:
    """The rig's motion with its bodies at x_m (bodies,), by default where the file puts them.

    Raises numpy.linalg.LinAlgError where the rig has no single way to move; `rig.check` tells why.
    """
    if x_m is None:
        x_m = rig.start_m
    matrix, body_column, flow_column = equations(rig, x_m)
    load = body_column[LOAD]
    rest = np.delete(matrix, load, axis=1)
    values = np.linalg.solve(rest, matrix[:, load])  # the load's velocity is -1
    values = np.insert(values, load, -1.0)
    values[np.abs(values) < TINY] = 0.0
    body_rate = np.zeros(len(rig.bodies))
    for body, column in body_column.items():
        body_rate[body] = values[column]
    flow = np.zeros(len(rig.stations))
    for station, column in flow_column.items():
        flow[station] = values[column]
    return Motion(body_rate, flow, float(rig.haul_sign * flow[rig.haul]))


def why_not_moving(rig: Rig) -> tuple[str, str, str] | None:
    """Place, fault and cure where the rig cannot work as a haul; None where it has one motion.

    The load must move, in one way, toward the anchor, when rope is hauled out.
    """
    matrix, body_column, flow_column = equations(rig, rig.start_m)
    names = {column: rig.bodies[body].name for body, column in body_column.items()}
    names |= {column: rig.stations[s].name for s, column in flow_column.items()}
    load, haul = body_column[LOAD], flow_column[rig.haul]
    basis = null_space(matrix)
    ways = basis.shape[1]
    if ways == 0:
        return (
            _holding(rig, matrix),
            "the rig cannot move: rope holds the load fast",
            "let the rope run there",
        )
    # what can still move with load and haul both at rest is tied by nothing
    loose = basis @ null_space(basis[[load, haul], :])
    if loose.shape[1]:
        size = np.max(np.abs(loose), axis=1)
        bodies = [c for c in body_column.values() if size[c] > TINY]
        column = max(bodies, key=lambda c: size[c]) if bodies else int(np.argmax(size))
        return (
            names[column],
            "is free to move while load and haulers stand: nothing ties it",
            "tie it, or take it out of the file",
        )
    if ways > 1:
        drift = np.max(np.abs(basis @ null_space(basis[[haul], :])), axis=1)
        others = [c for c in body_column.values() if c != load and drift[c] > TINY]
        column = max(others, key=lambda c: drift[c]) if others else load
        return (
            names[column],
            "is free to move while the haulers hold fast: too little ties it",
            "tie it into the rope that is hauled, or to a further anchor",
        )
    motion = basis[:, 0]
    if abs(motion[load]) < TINY:
        return ("load", "does not move when rope is hauled", "tie it into the rope that is hauled")
    if abs(motion[haul]) < TINY:
        return (
            names[haul],
            "no rope comes out when the load moves",
            "lead the haul off a pulley that the rope runs over",
        )
    if motion[haul] * rig.haul_sign / -motion[load] < 0:
        return (
            "load",
            "hauling moves the load away from the anchor",
            "turn the rig round, or turn the haul (toward_deg)",
        )
    return None


def null_space(matrix: Floats) -> Floats:
    """Orthonormal columns that span the null space (singular values below 1e-10 of the largest)."""
    if matrix.size == 0:
        return np.eye(matrix.shape[1])
    _, s, vt = np.linalg.svd(matrix)
    rank = int(np.sum(s > 1e-10 * max(1.0, float(s[0]))))
    basis: Floats = vt[rank:].T
    return basis


def _holding(rig: Rig, matrix: Floats) -> str:
    """The first strand without which the rig would move."""
    rows = [s for s in rig.strands if rig.stations[s.end].kind != "free"]
    for k, strand in enumerate(rows):
        if null_space(np.delete(matrix, k, axis=0)).shape[1]:
            return f"strand {strand.name}"
    return "the rope's path"
