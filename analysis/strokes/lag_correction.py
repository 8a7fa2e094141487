"""Mean forces of strokes with the lag of the rope counter taken out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.signals.lag_from_edges import Lag
from analysis.signals.time_cells import RATE, Floats
from analysis.strokes.steady_part import SHIFTS, Steady
from analysis.strokes.stroke import Stroke

# half width of what a lag that is not known may be, 1/8 s; chosen by us, no reason is on record
UNKNOWN_CELLS = 4.0
_NODES = np.array(sorted([*SHIFTS, 0]), float)


def with_lag(strokes: Sequence[Stroke], lag: Lag) -> tuple[list[Stroke], float]:
    """The strokes with means shifted where the lag matters, and the standard uncertainty that the
    lag leaves in their mean forces, as a share of them.

    All forces of a stroke change by the same share: the cells are taken to be as late as the haul
    cell, so that their ratio stays.  Where the lag is not known it may be anything within 1/8 s
    (rectangular, JCGM 100 4.3.7).
    """
    usable = [
        (k, s.steady)
        for k, s in enumerate(strokes)
        if s.steady is not None and s.steady.shifted_N and s.steady.force_N[0] > 0
    ]
    found = list(strokes)
    if not usable:
        return found, 0.0
    table = np.array([p.shifted_N for _, p in usable])
    table /= np.array([[p.force_N[0]] for _, p in usable])
    cells = 0.0 if lag.lag_s is None else lag.lag_s * RATE
    reach = UNKNOWN_CELLS / math.sqrt(3) if lag.u_s is None else lag.u_s * RATE
    hauls = [strokes[k].direction == "haul" for k, _ in usable]
    way = np.array([p.distance_m for _, p in usable]) * hauls
    ends = table @ (_weights(cells + reach) - _weights(cells - reach)) / 2
    share = abs(float(way @ ends)) / float(way.sum()) if way.sum() > 0 else 0.0
    if lag.matters:
        for (k, part), factor in zip(usable, (table @ _weights(cells)).tolist(), strict=True):
            if 0.5 < factor < 2.0:
                found[k] = _scaled(strokes[k], part, factor)
    return found, share


def _weights(cells: float) -> Floats:
    """(7,): the mean with the counter late by so many cells is these x the means at SHIFTS and 0:
    a cubic through the nearest four (Lagrange)."""
    at = min(max(cells, _NODES[0]), _NODES[-1])
    k = int(np.clip(np.searchsorted(_NODES, at) - 2, 0, len(_NODES) - 4))
    found, x = np.zeros(len(_NODES)), _NODES[k : k + 4]
    for i in range(4):
        others = np.delete(x, i)
        found[k + i] = np.prod((at - others) / (x[i] - others))
    return found


def _scaled(stroke: Stroke, part: Steady, share: float) -> Stroke:
    batches = part.batches.copy()
    batches[:, 1:] *= share
    force = tuple(x * share for x in part.force_N)
    return replace(
        stroke,
        mean_force_N=None if stroke.mean_force_N is None else stroke.mean_force_N * share,
        steady=replace(part, force_N=force, batches=batches, shifted_by=share),
    )
