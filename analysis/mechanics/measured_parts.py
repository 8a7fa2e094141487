"""Which strands and elements a force cell measures.  What a cell measures is not inferred.

A cell on a strand measures that strand; a cell at a body or an element reads its force along the
haul axis; the haul cell measures the haul strand.  A cell measures another part too where both
forces are the same whatever the rope's friction is: the strand that alone holds the load and the
load itself.  A part that strands beside the axis pull on has more force on it than its cell reads,
so there the cell does not rule.  Nor does a cell at an edge, whose force lies across the axis.
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

# sets of efficiencies by which a part's greatest force is looked for; chosen by us: beside each turn by
# itself, which finds what one turn alone can do
DRAWS = 40
LEAST_EFFICIENCY = 0.3  # of the drawn; a rope round a post loses as much (common practice, no source)


def measured_parts(known: Model, at: str) -> tuple[int, ...]:
    """Indices into `known.parts` of all parts whose whole force a cell at this place reads."""
    row = _reading(known, at)
    if row is None or not np.any(np.abs(row) > TINY):
        return ()
    return tuple(k for k, piece in enumerate(known.pieces) if _same(row, _whole(piece)))


def cells_of(known: Model, channels: Iterable[Channel]) -> dict[int, tuple[Channel, ...]]:
    """Force cells by the part that they measure: index into `known.parts` -> its cells."""
    found: dict[int, tuple[Channel, ...]] = {}
    for channel in channels:
        if channel.quantity == "force":
            for k in measured_parts(known, channel.at):
                found[k] = (*found.get(k, ()), channel)
    return found


def bounded(known: Model, pieces: Sequence[limits.Part]) -> tuple[bool, ...]:
    """Whether the frictionless gain bounds the part's force for a haul force while hauling.

    It does for every strand of a tackle.  It does not for a capture that rope runs through, which
    friction alone loads, nor where pulls partly cancel beside the axis.  Found by trying sets of
    efficiencies: at random, and each turn by itself as poor as LEAST_EFFICIENCY.
    """
    turns = len(known.rig.turns)
    drawn = np.random.default_rng(1).uniform(LEAST_EFFICIENCY, 1.0, (DRAWS, turns))
    each = 1.0 - (1.0 - LEAST_EFFICIENCY) * np.eye(turns)
    tried = tensions(known.system, np.vstack([drawn, each]))
    return tuple(
        max(abs(piece.force(t)) for t in tried)
        <= abs(piece.force(known.ideal_tension)) * (1 + TINY) + TINY
        for piece in pieces
    )


def _same(row: Floats, other: Floats | None) -> bool:
    return other is not None and (
        np.allclose(row, other, atol=TINY) or np.allclose(row, -other, atol=TINY)
    )


def _reading(known: Model, at: str) -> Floats | None:
    """What a cell here reads per unit tension of each strand, (strands,), up to its sign."""
    rig = known.rig
    if at in ("haul", rig.stations[rig.haul].name):
        return np.asarray(np.eye(len(rig.strands))[rig.haul_strand])
    toward = known.system.toward
    if at == "load":
        return np.asarray(load_row(rig, toward))
    piece = next((p for p in known.pieces if p.name == at), None)
    if piece is None or piece.combine == "wrap":
        return None
    row = piece.matrix.sum(axis=0) if piece.combine == "side" else piece.matrix[0]
    beside = np.abs(toward[:, 1]) > TINY
    if piece.combine in ("difference", "side") and np.any(beside & (np.abs(row) > TINY)):
        return None
    return np.asarray(row)


def _whole(piece: limits.Part) -> Floats | None:
    """The row whose product with the tensions is the part's whole force up to its sign; None where
    no row is."""
    if piece.combine == "wrap":
        return None
    if piece.combine == "side":
        return np.asarray(piece.matrix.sum(axis=0))
    if len(piece.matrix) == 1 or not np.any(np.abs(piece.matrix[1]) > TINY):
        return np.asarray(piece.matrix[0])
    sizes = np.hypot(piece.matrix[0], piece.matrix[1])
    return np.asarray(sizes) if np.count_nonzero(sizes > TINY) == 1 else None
