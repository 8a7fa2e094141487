"""Computes how a rig moves: one equation of inextensible rope per strand, solved for bodies and rope.

For the strand from station a to station b, with unit vector n from a to b, body velocities v and
rope flows f (m/s past the station in rope order, relative to the station's body; zero where the
rope is held: ties and grabs),

    d(length)/dt = n . (v_b - v_a) = f_a - f_b

A rig that can move in exactly one way has a null space of one dimension.  Scaled to one metre of load
travel toward the anchor, it gives the travel ratio and the run of the rope over every turn.
Source: kinematics of inextensible ropes, any textbook of engineering mechanics (dynamics,
"constrained motion of connected particles").
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.rig.rig import Floats, Rig

LOAD = 1  # index of the load among a rig's bodies
NULL = (
    1e-10  # singular values below this share of the largest, or of 1, count as zero: rounding only
)
TINY = 1e-9  # m/m, or share of the haul tension: rounding only


@dataclass(frozen=True, eq=False)
class Motion:
    """Rates of a rig's bodies and rope per metre of load travel toward the anchor."""

    body_rate: Floats  # (bodies,) change of each body's position x, m/m; the load's is -1
    flow: Floats  # (stations,) rope that passes each station in rope order, m/m
    haul_rate: float  # rope that comes out to the haulers, m/m: the travel ratio


def directions(rig: Rig, x_m: Floats) -> Floats:
    """Unit vectors along all strands in rope order, (strands, 2); zero for a strand without length.

    x_m: body positions, (bodies,).  Where a team takes the haul strand, its direction comes from
    `toward_deg`: 0 is toward the anchor's side, positive turns toward positive offsets.
    """
    result = np.zeros((len(rig.strands), 2))
    if rig.stations[rig.haul].body is None:
        result[rig.haul_strand] = rig.haul_direction
    k, a, b = rig.ends
    step = np.stack([x_m[b] - x_m[a], rig.side_m[b] - rig.side_m[a]], axis=1)
    length = np.hypot(step[:, 0], step[:, 1])[:, None]
    result[k] = np.divide(step, length, out=np.zeros_like(step), where=length > 0)
    return result


@dataclass(frozen=True, eq=False)
class _Layout:
    """What the strand equations of a rig have in common at all positions of its bodies.

    Rows: strands that are no free tail.  Columns, as the equations are solved: all others, the load's, and a spare
    one, which bodies at rest and stations without flow use.
    """

    body_column: dict[int, int]  # column of each moving body in `equations`, by its index
    flow_column: dict[int, int]  # the same of each station with a flow of its own, by its index
    order: NDArray[np.int64]  # (columns,) column in `equations` of each column here
    constant: Floats  # (rows, columns), m/m, what does not change with the positions of bodies
    row: NDArray[np.int64]  # (ends,) row of each strand between two bodies
    start: NDArray[np.int64]  # (ends,) column of the body at its start
    end: NDArray[np.int64]  # (ends,) column of the body at its end
    side_m: Floats  # (ends,) how far its end lies sideways of its start
    bodies: NDArray[np.int64]  # indices of the moving bodies, in order of their columns
    stations: NDArray[np.int64]  # indices of the stations with a flow of their own, in that order
    straight: bool  # whether all strands run along the haul axis, so that only their signs count
    solved: dict[bytes, Motion]  # of a straight rig, its motion by the signs of its strands


@lru_cache(maxsize=256)  # speed only: a job solves one rig at hundreds of positions
def _layout(rig: Rig) -> _Layout:
    """The layout of a rig's equations."""
    body_column = {body: k for k, body in enumerate(rig.movers)}
    stations = [*rig.turns, rig.haul]
    flow_column = {s: len(body_column) + k for k, s in enumerate(stations)}
    spare = len(body_column) + len(flow_column)
    load = body_column[LOAD]
    order = np.array([*(k for k in range(spare) if k != load), load, spare], dtype=np.int64)
    place = np.empty(spare + 1, dtype=np.int64)
    place[order] = np.arange(spare + 1)
    body_at = np.full(len(rig.bodies), spare)
    for body, column in body_column.items():
        body_at[body] = place[column]
    tied = [n for n, strand in enumerate(rig.strands) if rig.stations[strand.end].kind != "free"]
    flows = np.zeros((len(rig.strands), spare + 1))
    for n in tied:
        flows[n, place[flow_column.get(rig.strands[n].start, spare)]] -= 1.0
        flows[n, place[flow_column.get(rig.strands[n].end, spare)]] += 1.0
    if rig.stations[rig.haul].body is None:  # the rig's end of the haul strand may move
        strand = rig.strands[rig.haul_strand]
        near = strand.start if strand.end == rig.haul else strand.end
        last = rig.stations[near].body
        if last is not None:
            sign = -1.0 if near == strand.start else 1.0
            flows[rig.haul_strand, body_at[last]] += sign * rig.haul_direction[0]
    row = np.zeros(len(rig.strands), dtype=np.int64)
    row[tied] = np.arange(len(tied))
    k, a, b = rig.ends
    return _Layout(
        body_column=body_column,
        flow_column=flow_column,
        order=order,
        constant=flows[tied],
        row=row[k],
        start=body_at[a],
        end=body_at[b],
        side_m=rig.side_m[b] - rig.side_m[a],
        bodies=np.array(rig.movers, dtype=np.int64),
        stations=np.array(stations, dtype=np.int64),
        straight=bool(np.all(rig.side_m == 0.0)),
        solved={},
    )


def equations(rig: Rig, x_m: Floats) -> tuple[Floats, dict[int, int], dict[int, int]]:
    """The strand equations as a matrix times (body velocities, flows) = 0, at positions x_m, (bodies,).

    Returns the matrix (one row for each strand that is no free tail), the column of each moving
    body, and the column of each station with a flow of its own.
    """
    layout = _layout(rig)
    solved = _matrix(rig, layout, x_m)
    matrix = np.empty_like(solved)
    matrix[:, layout.order] = solved
    return matrix[:, :-1], layout.body_column, layout.flow_column


def _matrix(rig: Rig, layout: _Layout, x_m: Floats) -> Floats:
    """The equations in the layout's order, (rows, columns), at positions x_m, (bodies,)."""
    _, a, b = rig.ends
    step = x_m[b] - x_m[a]
    length = np.hypot(step, layout.side_m)
    toward = np.divide(step, length, out=np.zeros_like(step), where=length > 0)
    matrix = layout.constant.copy()
    matrix[layout.row, layout.start] -= toward
    matrix[layout.row, layout.end] += toward
    return matrix


def solve_motion(rig: Rig, x_m: Floats | None = None) -> Motion:
    """The rig's motion with its bodies at x_m, m, (bodies,); default: where the rig file puts them.

    Raises numpy.linalg.LinAlgError where the rig has no single motion; `why_not_moving` says why.
    """
    layout = _layout(rig)
    x_m = rig.start_m if x_m is None else x_m
    if not layout.straight:
        return _solved(rig, layout, x_m)
    _, a, b = rig.ends
    signs = np.sign(x_m[b] - x_m[a]).tobytes()
    if signs not in layout.solved:
        layout.solved[signs] = _solved(rig, layout, x_m)
    return layout.solved[signs]


def _solved(rig: Rig, layout: _Layout, x_m: Floats) -> Motion:
    """The motion with the bodies at x_m, m, (bodies,).  Its arrays are shared, so nobody may change
    them."""
    matrix = _matrix(rig, layout, x_m)
    values = np.empty(matrix.shape[1] - 1)
    values[layout.order[-2]] = -1.0  # the load's velocity
    values[layout.order[:-2]] = np.linalg.solve(matrix[:, :-2], matrix[:, -2])
    values[np.abs(values) < TINY] = 0.0
    bodies = len(layout.bodies)
    body_rate = np.zeros(len(rig.bodies))
    body_rate[layout.bodies] = values[:bodies]
    flow = np.zeros(len(rig.stations))
    flow[layout.stations] = values[bodies:]
    body_rate.flags.writeable = flow.flags.writeable = False
    return Motion(body_rate, flow, float(rig.haul_sign * flow[rig.haul]))


def why_not_moving(rig: Rig) -> tuple[str, str, str] | None:
    """(place, fault, cure) if the rig cannot work as a haul, else None.

    It works if hauling rope out moves the load toward the anchor, in exactly one way.
    """
    matrix, body_column, flow_column = equations(rig, rig.start_m)
    if _surely_moves(rig, matrix, body_column[LOAD], flow_column[rig.haul]):
        return None
    names = {column: rig.bodies[body].name for body, column in body_column.items()}
    names |= {column: rig.stations[s].name for s, column in flow_column.items()}
    load, haul = body_column[LOAD], flow_column[rig.haul]
    basis = null_space(matrix)
    motions = basis.shape[1]
    if motions == 0:
        return (
            _holding(rig, matrix),
            "the rig cannot move: rope ties the load fast",
            "take this strand out, or let its rope run over a pulley",
        )
    # what can still move with load and haul both at rest is tied by nothing
    loose = basis @ null_space(basis[[load, haul], :])
    if loose.shape[1]:
        size = np.max(np.abs(loose), axis=1)
        bodies = [c for c in body_column.values() if size[c] > TINY]
        column = max(bodies, key=lambda c: size[c]) if bodies else int(np.argmax(size))
        return (
            names[column],
            "is free to move while load and haulers stand still: nothing ties it",
            "tie it to a rope, or take it out of the file",
        )
    if motions > 1:
        drift = np.max(np.abs(basis @ null_space(basis[[haul], :])), axis=1)
        others = [c for c in body_column.values() if c != load and drift[c] > TINY]
        column = max(others, key=lambda c: drift[c]) if others else load
        return (
            names[column],
            "is free to move while the haulers hold the rope: too little ties it",
            "tie it to the rope that is hauled, or to a further anchor",
        )
    motion = basis[:, 0]
    if abs(motion[load]) < TINY:
        return ("load", "does not move when rope is hauled", "tie it to the rope that is hauled")
    if abs(motion[haul]) < TINY:
        return (
            names[haul],
            "no rope comes out when the load moves",
            "put the haul at the end of a rope that runs over a pulley",
        )
    if motion[haul] * rig.haul_sign / -motion[load] < 0:
        return (
            "load",
            "hauling moves the load away from the anchor",
            "turn the rig round, or turn the haul (toward_deg)",
        )
    return None


# how far from the limits of `null_space` and TINY a rig is passed without them; chosen by us: rounding is far smaller
SURE = 100.0


def _surely_moves(rig: Rig, matrix: Floats, load: int, haul: int) -> bool:
    """Whether a rig clearly works; False leaves it to the null space, which costs ten times as much.

    matrix: of its equations; load, haul: columns.  Taking the load's column away does not raise the smallest
    singular value, which is at least 1 / |A^-1| for the square rest A, and none is above |matrix| (Frobenius norms;
    Golub and Van Loan, Matrix Computations, section 2.3 and interlacing of singular values, from memory).
    """
    rest = np.delete(matrix, load, axis=1)
    if rest.shape[0] != rest.shape[1]:
        return False
    try:
        inverse = np.linalg.inv(rest)
    except np.linalg.LinAlgError:
        return False
    size, least = float(np.linalg.norm(matrix)), float(np.linalg.norm(inverse))
    if not SURE * NULL * max(1.0, size) * least < 1.0:
        return False
    values = -(inverse @ matrix[:, load])  # per metre of the load
    run = float(values[haul - (haul > load)])
    whole = math.sqrt(1.0 + float(values @ values))
    share = 1.0 / whole  # of the load in the motion, whose size is 1
    return share > SURE * TINY and -run * rig.haul_sign / whole > SURE * TINY


def null_space(matrix: Floats) -> Floats:
    """Orthonormal columns that span the null space of a matrix, (rows, columns).

    Singular values below 1e-10 of the largest, or of 1, count as zero.
    """
    if matrix.size == 0:
        return np.eye(matrix.shape[1])
    _, s, vt = np.linalg.svd(matrix)
    rank = int(np.sum(s > NULL * max(1.0, float(s[0]))))
    basis: Floats = vt[rank:].T
    return basis


def _holding(rig: Rig, matrix: Floats) -> str:
    """Name of the first strand without which the rig would move."""
    rows = [s for s in rig.strands if rig.stations[s.end].kind != "free"]
    for k, strand in enumerate(rows):
        if null_space(np.delete(matrix, k, axis=0)).shape[1]:
            return f"strand {strand.name}"
    return "the rope's path"
