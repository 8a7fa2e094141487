"""Computes the strand tensions of a rig by a linear system, for a haul tension of 1.

Rows of the system: the haul strand carries 1; a free tail carries 0; at a turn (pulley, edge, capture)
the strand that the rope comes from carries e times the strand that it runs to, where e = tension out /
tension in, exp(-mu phi) for an edge (capstan equation, Euler-Eytelwein); a turn that the rope does not
run over loses nothing; every travelling body but the load is in balance along the haul axis.
With e = 1 the system is the transpose of the motion's, so the ideal advantage equals the travel
ratio (principle of virtual work).

Sensitivities: with B T = b and dB/de_k only at (row of turn k, its pulling side) = -1,
dT/de_k = B^-1[:, row_k] T[pulling side of k].
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.mechanics.kinematics import LOAD, SURE, TINY, Motion, directions
from analysis.rig.rig import Floats, Rig


@dataclass(frozen=True, eq=False)
class System:
    """The equations B T = b of the strand tensions, with e = 1, and where each efficiency enters B."""

    matrix: Floats  # (strands, strands) B with e = 1
    right: Floats  # (strands,) b
    turns: tuple[int, ...]  # (turns,) station index of each turn
    row: tuple[int, ...]  # (turns,) row of B that holds the turn's equation
    pull: tuple[int, ...]  # (turns,) column of B: the strand that the rope runs to
    live: tuple[bool, ...]  # (turns,) whether the rope runs over the turn
    toward: Floats  # (strands, 2) unit vectors along the strands


def system(rig: Rig, motion: Motion, x_m: Floats | None = None) -> System:
    """Set up the equations of the strand tensions at body positions x_m, (bodies,)."""
    toward = directions(rig, rig.start_m if x_m is None else x_m)
    n = len(rig.strands)
    rows: list[Floats] = []
    right: list[float] = []
    row_of, pull_of, live = [], [], []
    for s in rig.turns:
        into, out = rig.before[s], rig.after[s]
        run = motion.flow[s]
        source, pull = (into, out) if run >= 0 else (out, into)
        row = np.zeros(n)
        row[source], row[pull] = 1.0, -1.0
        row_of.append(len(rows))
        pull_of.append(pull)
        live.append(abs(run) > TINY)
        rows.append(row)
        right.append(0.0)
    row = np.zeros(n)
    row[rig.haul_strand] = 1.0
    rows.append(row)
    right.append(1.0)
    for k, strand in enumerate(rig.strands):
        if rig.stations[strand.end].kind == "free":
            row = np.zeros(n)
            row[k] = 1.0
            rows.append(row)
            right.append(0.0)
    for body in rig.movers:
        if body != LOAD:
            rows.append(pull_on(rig, toward, body)[:, 0])
            right.append(0.0)
    return System(
        matrix=np.array(rows),
        right=np.array(right),
        turns=rig.turns,
        row=tuple(row_of),
        pull=tuple(pull_of),
        live=tuple(live),
        toward=toward,
    )


def pull_on(rig: Rig, toward: Floats, body: int) -> Floats:
    """Force vector on a body per unit of tension in each strand, (strands, 2).

    toward: unit vectors along the strands, (strands, 2).
    """
    result = np.zeros((len(rig.strands), 2))
    for k, strand in enumerate(rig.strands):
        if rig.stations[strand.start].body == body:
            result[k] += toward[k]
        if rig.stations[strand.end].body == body:
            result[k] -= toward[k]
    return result


def efficiencies(rig: Rig, hauling: bool = True) -> Floats:
    """Tension ratio e at each turn, (turns,), while hauling or while the load runs back.

    While it runs back, friction acts the other way: a pulley or edge has 1/e; a capture is held open
    and has 1.
    """
    e = np.array([rig.stations[s].efficiency for s in rig.turns], dtype=np.float64)
    if hauling:
        return e
    captures = np.array([rig.stations[s].kind == "capture" for s in rig.turns], dtype=bool)
    return np.where(captures, 1.0, 1.0 / e)


def tensions(sys: System, e: ArrayLike) -> Floats:
    """Strand tensions for a haul tension of 1: (strands,), or (draws, strands).

    e: efficiencies, (turns,) or (draws, turns).  Stacked draws are solved in chunks of 2,000 to bound
    memory.
    """
    values = np.asarray(e, dtype=np.float64)
    if values.ndim == 1:
        return np.asarray(np.linalg.solve(_filled(sys, values), sys.right))
    parts = []
    for first in range(0, len(values), 2000):
        stack = _filled(sys, values[first : first + 2000])
        right = np.broadcast_to(sys.right[:, None], (*stack.shape[:2], 1))
        parts.append(np.linalg.solve(stack, right)[..., 0])
    return np.concatenate(parts) if parts else np.zeros((0, len(sys.right)))


def sensitivities(sys: System, e: Floats, tension: Floats) -> Floats:
    """dT/de, (strands, turns); zero for a turn that the rope does not run over.

    e: efficiencies, (turns,); tension: strand tensions with them, (strands,), per haul tension.
    """
    result = np.zeros((len(sys.right), len(sys.turns)))
    if not sys.turns:
        return result
    inverse = np.linalg.inv(_filled(sys, e))
    for k, (row, pull, live) in enumerate(zip(sys.row, sys.pull, sys.live, strict=True)):
        if live:
            result[:, k] = inverse[:, row] * tension[pull]
    return result


def sensitivities_back(rig: Rig, sys: System, e: Floats, tension: Floats) -> Floats:
    """d tension / d hauling efficiency while the load runs back, (strands, turns).

    e: ratios while running back, (turns,); tension: strand tensions with them, (strands,), per haul
    tension.  Chain rule with d(1/e)/de = -1/e^2; a capture is held open and has no sensitivity.
    """
    captures = np.array([rig.stations[s].kind == "capture" for s in rig.turns], dtype=bool)
    return sensitivities(sys, e, tension) * np.where(captures, 0.0, -e * e)


def spread(rig: Rig, gradient: Floats) -> float:
    """Standard uncertainty of a quantity from its gradient over the turns' efficiencies, (turns,).

    The default efficiency's uncertainty is common to all pulleys that use it, that of a preset to all
    pulleys with it (added linearly); all others are independent (added in quadrature).  JCGM 100:2008, 5.1.2 and 5.2.2.
    """
    return float(spreads(rig, np.asarray(gradient)[None])[0])


def spreads(rig: Rig, gradients: Floats) -> Floats:
    """`spread` of many quantities at once, (quantities,), from their gradients, (quantities, turns)."""
    shared = np.array([rig.stations[s].shared for s in rig.turns], dtype=bool)
    own_u = np.array([rig.stations[s].efficiency_u for s in rig.turns], dtype=np.float64)
    if not len(shared):
        return np.zeros(len(gradients))
    common = gradients[:, shared].sum(axis=1) * rig.default_u
    squares = common**2
    presets = np.array([rig.stations[s].preset for s in rig.turns])
    for preset in {*presets} - {""}:
        squares += (gradients * own_u)[:, presets == preset].sum(axis=1) ** 2
    own = np.where(shared | (presets != ""), 0.0, gradients * own_u)
    return np.asarray(np.sqrt(squares + np.sum(own**2, axis=1)))


def load_row(rig: Rig, toward: Floats) -> Floats:
    """Force on the load toward the anchor per unit of tension in each strand, (strands,).

    toward: unit vectors along the strands, (strands, 2).
    """
    return np.asarray(-pull_on(rig, toward, LOAD)[:, 0])


def hold(
    rig: Rig,
    motion: Motion,
    toward: Floats,
    capture: int,
    load_force: float,
    e: Floats | None = None,
) -> Floats | None:
    """Strand tensions, (strands,), while one capture holds alone and the haul is slack.

    capture: station index; load_force: pull of the load, in any unit, which the tensions have too;
    toward: unit vectors along the strands, (strands, 2); e: tension ratio at each turn, (turns,), by default 1,
    without friction.  None if the capture cannot hold the load.
    """
    if abs(motion.flow[capture]) < TINY:
        return None
    n = len(rig.strands)
    rows: list[Floats] = []
    right: list[float] = []
    for k, s in enumerate(rig.turns):
        if s != capture:
            row = np.zeros(n)
            if e is None:
                row[rig.before[s]], row[rig.after[s]] = 1.0, -1.0
            else:
                source, pull = loaded_side(rig, motion, s)
                row[source], row[pull] = 1.0, -(e[k] if abs(motion.flow[s]) > TINY else 1.0)
            rows.append(row)
            right.append(0.0)
    for k, strand in enumerate(rig.strands):
        if k == rig.haul_strand or rig.stations[strand.end].kind == "free":
            row = np.zeros(n)
            row[k] = 1.0
            rows.append(row)
            right.append(0.0)
    for body in rig.movers:
        if body == LOAD:
            rows.append(load_row(rig, toward))
            right.append(load_force)
        else:
            rows.append(pull_on(rig, toward, body)[:, 0])
            right.append(0.0)
    matrix = np.array(rows)
    if matrix.shape != (n, n) or not _of_full_rank(matrix):
        return None
    tension = np.linalg.solve(matrix, np.array(right))
    tension[np.abs(tension) < TINY * max(1.0, load_force)] = 0.0
    source, pull = loaded_side(rig, motion, capture)
    if np.any(tension < 0) or tension[source] <= tension[pull]:
        return None
    return np.asarray(tension)


def _of_full_rank(matrix: Floats) -> bool:
    """Whether a square matrix has full rank in the sense of numpy.linalg.matrix_rank.

    Its smallest singular value is at least 1 / |A^-1|, its greatest at most |A| (Frobenius norms; Golub and
    Van Loan, Matrix Computations, section 2.3, from memory): where that settles it, the singular values, which
    cost several times as much, are not computed.
    """
    limit = len(matrix) * np.finfo(np.float64).eps
    try:
        condition = float(np.linalg.norm(matrix) * np.linalg.norm(np.linalg.inv(matrix)))
    except np.linalg.LinAlgError:
        condition = math.inf
    if condition * limit * SURE < 1.0:
        return True
    return bool(np.linalg.matrix_rank(matrix) == len(matrix))


def loaded_side(rig: Rig, motion: Motion, station: int) -> tuple[int, int]:
    """Indices of the strand that the rope comes from while hauling, and of the one that it runs to."""
    into, out = rig.before[station], rig.after[station]
    return (into, out) if motion.flow[station] >= 0 else (out, into)


def _filled(sys: System, e: Floats) -> Floats:
    """B with these efficiencies: (strands, strands), or (draws, strands, strands) for stacked draws."""
    if e.ndim == 1:
        matrix = sys.matrix.copy()
        for k, (row, pull, live) in enumerate(zip(sys.row, sys.pull, sys.live, strict=True)):
            if live:
                matrix[row, pull] = -e[k]
        return matrix
    matrix = np.repeat(sys.matrix[None], len(e), axis=0)
    for k, (row, pull, live) in enumerate(zip(sys.row, sys.pull, sys.live, strict=True)):
        if live:
            matrix[:, row, pull] = -e[:, k]
    return matrix
