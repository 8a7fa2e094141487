"""Estimates how far the ground under one session's way resists more or less than the ground that the file states.

The rig file states one load force.  The ground under the way differs from it from place to place, and neighbouring
places are alike, so the pieces of a haul are no independent observations (JCGM 100, 4.2.7).  For pieces with
the correlation r ** k over k pieces (an autoregressive series of first order), n pieces count as
n (1 - r) / (1 + r) (Bayley and Hammersley, 1946, from memory).  r comes from neighbouring pieces, and (1 + 3 r) / n
is added, by which n pieces about their own mean show it too small (Marriott and Pope, 1954, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from analysis.efficiency.uncertainty import Component
from analysis.strokes.stroke import Stroke

GROUND = "ground from stroke to stroke"
# fewest pieces, and largest correlation of neighbours; chosen by us: fewer show no correlation; beyond it the
# whole way is one piece of ground
FEWEST, MOST_ALIKE = 5, 0.9


def ground_scatter(strokes: Sequence[Stroke]) -> Component:
    """The component, relative to the force, by ground that differs from place to place; u is 0 where too few pieces.

    strokes: haul strokes in order; the pieces of their steady parts count as one series along the way.
    """
    pieces = [s.steady.batches for s in strokes if s.steady is not None]
    table = np.concatenate(pieces) if pieces else np.zeros((0, 2))
    force = table[np.isfinite(table[:, 1]), 1]
    n = len(force)
    if n < FEWEST or not force.mean() > 0:
        return Component(GROUND, 0.0)
    away = force / force.mean() - 1
    square = float(away @ away)
    alike = float(away[1:] @ away[:-1]) / square if square > 0 else 0.0
    alike = min(max(alike + (1 + 3 * alike) / n, 0.0), MOST_ALIKE)
    number = max(2.0, n * (1 - alike) / (1 + alike))
    return Component(GROUND, math.sqrt(square / n / (number - 1)), max(number - 1, 2.0))
