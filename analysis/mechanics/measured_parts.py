"""Determines which strands and elements a force cell measures; all other forces are inferred.

A cell on a strand measures that strand; a cell at a body or an element reads the force on it along the
haul axis; the haul cell measures the haul strand.  A cell also measures any part whose force equals its
own for every friction of the rope: the only strand that holds the load, and the load itself.  A part
that strands pull on sideways carries more than its cell reads, and the force on an edge lies across
the axis: cells there do not count as measuring the part.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from analysis.mechanics import working_limits as limits
from analysis.mechanics.kinematics import TINY
from analysis.mechanics.model import Model
from analysis.mechanics.tension import load_row, tensions
from analysis.rig.rig import Floats
from logger.channels.channel import Channel

# random sets of efficiencies tried for the greatest force on a part; chosen by us: they come beside one
# set for each turn, in which that turn alone is poor
DRAWS = 40
LEAST_EFFICIENCY = 0.3  # lowest one drawn; as of a rope round a post (common practice, no source)


def measured_parts(rig_model: Model, at: str) -> tuple[int, ...]:
    """Indices into `rig_model.parts` of all parts whose whole force a cell at this place reads."""
    row = _reading(rig_model, at)
    if row is None or not np.any(np.abs(row) > TINY):
        return ()
    return tuple(k for k, piece in enumerate(rig_model.pieces) if _same(row, _whole(piece)))


def cells_of(rig_model: Model, channels: Iterable[Channel]) -> dict[int, tuple[Channel, ...]]:
    """Force cells by the part that they measure: index into `rig_model.parts` -> its cells."""
    cells: dict[int, tuple[Channel, ...]] = {}
    for channel in channels:
        if channel.quantity == "force":
            for k in measured_parts(rig_model, channel.at):
                cells[k] = (*cells.get(k, ()), channel)
    return cells


def bounded(rig_model: Model, pieces: Sequence[limits.RigPart]) -> tuple[bool, ...]:
    """For each piece, whether its force while hauling never exceeds the frictionless one.

    That holds for every strand of a tackle.  It does not hold for a capture that rope runs through,
    which only friction loads, nor where sideways pulls partly cancel.  Tries sets of efficiencies: random ones,
    and for each turn one in which it alone has LEAST_EFFICIENCY.
    """
    turns = len(rig_model.rig.turns)
    drawn = np.random.default_rng(1).uniform(LEAST_EFFICIENCY, 1.0, (DRAWS, turns))
    each = 1.0 - (1.0 - LEAST_EFFICIENCY) * np.eye(turns)
    tried = tensions(rig_model.system, np.vstack([drawn, each]))
    return tuple(
        max(abs(piece.force(t)) for t in tried)
        <= abs(piece.force(rig_model.ideal_tension)) * (1 + TINY) + TINY
        for piece in pieces
    )


def _same(row: Floats, other: Floats | None) -> bool:
    """Whether two rows (strands,) are equal up to their sign."""
    return other is not None and (
        np.allclose(row, other, atol=TINY) or np.allclose(row, -other, atol=TINY)
    )


def _reading(rig_model: Model, at: str) -> Floats | None:
    """What a cell at this place reads per unit of tension in each strand, (strands,), up to its sign.

    None where no row gives its reading.
    """
    rig = rig_model.rig
    if at in ("haul", rig.stations[rig.haul].name):
        return np.asarray(np.eye(len(rig.strands))[rig.haul_strand])
    toward = rig_model.system.toward
    if at == "load":
        return np.asarray(load_row(rig, toward))
    piece = next((p for p in rig_model.pieces if p.name == at), None)
    if piece is None or piece.combine == "wrap":
        return None
    row = piece.matrix.sum(axis=0) if piece.combine == "side" else piece.matrix[0]
    beside = np.abs(toward[:, 1]) > TINY
    if piece.combine in ("difference", "side") and np.any(beside & (np.abs(row) > TINY)):
        return None
    return np.asarray(row)


def _whole(piece: limits.RigPart) -> Floats | None:
    """The row (strands,) whose product with the tensions is the whole force on the part, up to its sign.

    None where no row gives it.
    """
    if piece.combine == "wrap":
        return None
    if piece.combine == "side":
        return np.asarray(piece.matrix.sum(axis=0))
    if len(piece.matrix) == 1 or not np.any(np.abs(piece.matrix[1]) > TINY):
        return np.asarray(piece.matrix[0])
    sizes = np.hypot(piece.matrix[0], piece.matrix[1])
    return np.asarray(sizes) if np.count_nonzero(sizes > TINY) == 1 else None
