"""Corrects the mean forces of strokes for the lags between channels, for each rig of a session by itself.

A lag is the device's own and stays, but its correction (mean force corrected / as sent) belongs to the motion over which it was
summed: with the same load, speed of rope and hands, the force that the load's inertia adds is a share of the haul force
that falls with the travel ratio, so a 3:1 takes three times the correction of a 9:1 made of it.  The mean over time
and the mean over distance of two rigs together differ by the rigs, because the load goes at another speed in each, and not by
a lag.  So the sums begin anew with each rig.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.signals.channel_roles import Roles
from analysis.signals.lag_from_edges import Lag
from analysis.signals.lag_from_ripple import ChannelLag, LagSums, stated
from analysis.signals.time_cells import RATE, Floats
from analysis.strokes.steady_part import SHIFTS, Steady
from analysis.strokes.stroke import Stroke

# half width of the distribution of an undetermined lag, 1/8 s; chosen by us, no reason is on record
UNKNOWN_CELLS = 4.0
_NODES = np.array(sorted([*SHIFTS, 0]), float)


@dataclass(frozen=True)
class RigLagSums:
    """The sums of one rig."""

    hauling: LagSums  # while hauling
    lowering: LagSums  # while lowering
    over_rope: bool  # whether means of its haul strokes are over the rope


@dataclass(frozen=True)
class WorkLags:
    """The possible lags of the haul cell behind the counters, over which the work of whole strokes is averaged."""

    rope: tuple[float, ...] = ()  # probability of each of STATED, behind the rope counter
    load: tuple[float, ...] = ()  # likewise, behind the load counter
    apart: tuple[
        tuple[float, float], ...
    ] = ()  # (lag behind the haul cell, its u), cells, by channel


NO_WORK_LAGS = WorkLags()


@dataclass(frozen=True)
class RigLags:
    """The lags of all force channels while one rig was in use."""

    lags: tuple[ChannelLag, ...] = ()  # of each force channel, in the order of roles.forces
    work: WorkLags = NO_WORK_LAGS  # for the work of whole strokes
    lowering_lags: tuple[ChannelLag, ...] = ()  # of each force channel, for the means of lowering


def with_lag(strokes: Sequence[Stroke], lag: Lag) -> tuple[list[Stroke], float]:
    """Correct the strokes for a lag that matters.

    Returns the strokes, and the relative standard uncertainty that the lag leaves in their mean forces.
    All forces of a stroke change by the same factor, because all cells are assumed to be as late as the
    haul cell; their ratios stay.  A lag that was not determined is taken as uniform within 1/8 s
    (JCGM 100, 4.3.7).
    """
    usable = [
        (k, s.steady)
        for k, s in enumerate(strokes)
        if s.steady is not None and s.steady.shifted_N and s.steady.force_N[0] > 0
    ]
    corrected = list(strokes)
    if not usable:
        return corrected, 0.0
    table = np.array([p.shifted_N for _, p in usable])
    table /= np.array([[p.force_N[0]] for _, p in usable])
    cells = 0.0 if lag.lag_s is None else lag.lag_s * RATE
    reach = UNKNOWN_CELLS / math.sqrt(3) if lag.u_s is None else lag.u_s * RATE
    hauls = [strokes[k].direction == "haul" for k, _ in usable]
    rope = np.array([p.distance_m for _, p in usable]) * hauls
    ends = table @ (_weights(cells + reach) - _weights(cells - reach)) / 2
    share = abs(float(rope @ ends)) / float(rope.sum()) if rope.sum() > 0 else 0.0
    if lag.matters:
        for (k, steady), factor in zip(usable, (table @ _weights(cells)).tolist(), strict=True):
            if 0.5 < factor < 2.0:
                corrected[k] = _scaled(strokes[k], steady, factor)
    return corrected, share


def means_as_sent(strokes: Sequence[Stroke], direction: str) -> tuple[float, ...] | None:
    """Mean of each force channel over the rope of the steady parts, N, without any correction for lags.

    direction: of the strokes used, "haul" or "lower".  None without a steady part.
    """
    parts = [s.steady for s in strokes if s.direction == direction and s.steady is not None]
    if not parts:
        return None
    force = np.array([p.force_N for p in parts]) / np.array([[p.shifted_by] for p in parts])
    return tuple(np.average(force, axis=0, weights=[p.distance_m for p in parts]).tolist())


def steady_rope_m(strokes: Sequence[Stroke], direction: str) -> float:
    """Rope in the steady parts of the strokes of a direction, "haul" or "lower", m."""
    return float(sum(s.steady.distance_m for s in strokes if s.direction == direction and s.steady))


def force_ripple(strokes: Sequence[Stroke], direction: str) -> float:
    """Standard deviation / mean of the haul force along the rope of the steady parts; 0 without any.

    direction: of the strokes used, "haul" or "lower".
    """
    parts = [s.steady for s in strokes if s.direction == direction and s.steady is not None]
    rope_m = sum(p.distance_m for p in parts)
    return sum(p.distance_m * p.ripple for p in parts) / rope_m if rope_m > 0 else 0.0


def rig_lags(sums: RigLagSums, roles: Roles, delay: Lag, strokes: Sequence[Stroke]) -> RigLags:
    """The lags of one rig.

    delay: the rope counter's lag behind the haul cell by the readings; strokes: of this rig.
    """
    by_rope, by_load = (
        stated(counter, roles.haul_force) for counter in (roles.progress, roles.load_length)
    )
    cells = [stated(cell, roles.haul_force) for cell in roles.forces]
    hauling, steady_m = sums.hauling.ended(), steady_rope_m(strokes, "haul")
    ripple = force_ripple(strokes, "haul")
    return RigLags(
        lags=hauling.result(
            delay,
            by_rope,
            by_load,
            cells,
            sums.over_rope,
            sent=means_as_sent(strokes, "haul"),
            steady_m=steady_m,
            ripple=ripple,
            at_load=True,
        ),
        work=WorkLags(
            rope=hauling.likely(0, delay, by_rope, steady_m),
            load=hauling.likely(1, delay, by_load, steady_m),
            apart=hauling.apart(cells),
        ),
        lowering_lags=sums.lowering.ended().result(
            delay,
            by_rope,
            by_load,
            cells,
            sent=means_as_sent(strokes, "lower"),
            steady_m=steady_rope_m(strokes, "lower"),
        ),
    )


def _weights(cells: float) -> Floats:
    """Weights of the means at SHIFTS and 0, (7,), that give the mean for a counter late by `cells`.

    They interpolate by a cubic through the nearest four (Lagrange).
    """
    at = min(max(cells, _NODES[0]), _NODES[-1])
    k = int(np.clip(np.searchsorted(_NODES, at) - 2, 0, len(_NODES) - 4))
    weights, x = np.zeros(len(_NODES)), _NODES[k : k + 4]
    for i in range(4):
        others = np.delete(x, i)
        weights[k + i] = np.prod((at - others) / (x[i] - others))
    return weights


def _scaled(stroke: Stroke, steady: Steady, factor: float) -> Stroke:
    """The stroke with its mean forces times `factor`."""
    batches = steady.batches.copy()
    batches[:, 1:] *= factor
    force = tuple(x * factor for x in steady.force_N)
    return replace(
        stroke,
        mean_force_N=None if stroke.mean_force_N is None else stroke.mean_force_N * factor,
        steady=replace(steady, force_N=force, batches=batches, shifted_by=factor),
    )
