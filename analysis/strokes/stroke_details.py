"""What a stroke tells beside its mean: take-up, break-away, drift along the ground, rope that the
load did not follow.  All from its profile over distance; a metre that is not seen is None."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.signals.time_cells import Floats
from analysis.strokes.distance_profile import DISTANCE, Profiles, at, in_turn, median
from analysis.strokes.steady_part import BATCHES, FORCES, LOAD, SEEN_LOAD_M, Steady

# of the steady force: without a load counter the rope is taken up there; chosen by us: near it, and below
# its ripple
FULL_SHARE = 0.9
# a break-away that is seen without a load counter / the usual highest force; chosen by us: above its scatter
PEAK_SHARE = 1.05
# of the steady part, for a slope with an uncertainty; derived: n - 2 = 2 degrees of freedom (JCGM 100, H.3)
LEAST_PIECES = 4


@dataclass(frozen=True)
class Facts:
    """take_up_m: rope hauled under rising tension while the load still stands; break_away_N:
    highest force (over 1/32 s) up to where the load starts to move; drift_N_m, drift_u_N_m: slope
    of the force over the rope of the steady part and its standard uncertainty (residual scatter of
    equal pieces, drift_pieces - 2 degrees of freedom); unfollowed_m: rope of the steady part that
    the load did not follow, hauled - ratio x load travel (+: rope too much)."""

    take_up_m: float | None = None
    break_away_N: float | None = None
    drift_N_m: float | None = None
    drift_u_N_m: float | None = None
    drift_pieces: int = 0
    unfollowed_m: float | None = None


NO_FACTS = Facts()


def facts(p: Profiles, ratio: float, counted: bool, parts: Sequence[Steady | None]) -> list[Facts]:
    """Of each stroke; parts: what was steady in it."""
    rope = np.cumsum(p.rows[:, DISTANCE], axis=1)
    seen = _with_counter(p, rope, ratio) if counted else _by_force(p, rope, parts)
    found = []
    for n, (take_up, peak), part, (slope, u, pieces) in zip(
        p.n.tolist(), seen, parts, drifts(parts), strict=True
    ):
        lost = None
        if counted and part is not None and part.load_travel_m > 0:
            lost = part.distance_m - ratio * part.load_travel_m
        found.append(
            Facts(
                take_up_m=take_up,
                break_away_N=peak,
                drift_N_m=slope,
                drift_u_N_m=u,
                drift_pieces=pieces,
                unfollowed_m=lost,
            )
            if n
            else NO_FACTS
        )
    return found


_Seen = list[tuple[float | None, float | None]]


def _with_counter(p: Profiles, rope: Floats, ratio: float) -> _Seen:
    """The load has started where it has made SEEN_LOAD_M: all rope that it did not follow until
    there was taken up."""
    way = np.cumsum(p.rows[:, LOAD], axis=1)
    k = ((way < SEEN_LOAD_M) & p.there).sum(axis=1)
    last = np.minimum(k, way.shape[1] - 1)
    up = np.maximum(0.0, at(rope, last) - ratio * at(way, last)).tolist()
    tops = at(np.maximum.accumulate(p.tops, axis=1), last).tolist()
    return [
        (up[s], _finite(tops[s])) if moves else (None, None)
        for s, moves in enumerate((k < p.n).tolist())
    ]


def _by_force(p: Profiles, rope: Floats, parts: Sequence[Steady | None]) -> _Seen:
    """Without a load counter: a break-away is seen only where it stands out of what follows, and
    the rope is taken up there, else where the force first comes near the steady one."""
    force = np.array([np.nan if part is None else part.force_N[0] for part in parts])
    start = np.array([0.0 if part is None else part.start_m for part in parts])
    mean = p.rows[:, FORCES + 1] / p.rows[:, DISTANCE]
    full = p.there & (mean >= FULL_SHARE * force[:, None])
    known = (force > 0) & full.any(axis=1)
    k = full.argmax(axis=1)
    lead = ((rope < (start + p.size / 2)[:, None]) & p.there).sum(axis=1)
    leads = np.arange(rope.shape[1]) <= lead[:, None]
    top = np.argmax(np.where(leads, p.tops, -np.inf), axis=1)
    peak = at(p.tops, top)
    out = (lead > 0) & (lead < p.n - 1) & (peak > PEAK_SHARE * median(p.tops, p.there & ~leads))
    k = np.where(out, top, k)
    up = np.where(k > 0, at(rope, np.maximum(k - 1, 0)), 0.0).tolist()
    return [
        (up[s], _finite(float(peak[s])) if out[s] else None) if so else (None, None)
        for s, so in enumerate(known.tolist())
    ]


def drifts(parts: Sequence[Steady | None]) -> list[tuple[float | None, float | None, int]]:
    """Slope of the haul force over rope, N/m, its standard uncertainty, and the pieces it is from.

    A straight line by least squares through the means of the equal pieces; u of the slope from
    their scatter about it (JCGM 100 H.3), n - 2 degrees of freedom.
    """
    force, way = np.full((2, len(parts), BATCHES), np.nan)
    for s, part in enumerate(parts):
        if part is not None:
            force[s, : len(part.batches)] = part.batches[:, 1]
            way[s, : len(part.batches)] = part.batches[:, 0]
    good = np.isfinite(force)
    n = good.sum(axis=1)
    some = np.maximum(n, 1)
    middle = np.where(good, np.cumsum(way, axis=1) - way / 2, 0.0)
    force = np.where(good, force, 0.0)
    x = np.where(good, middle - (in_turn(middle) / some)[:, None], 0.0)
    sxx = in_turn(x * x)
    slope = in_turn(x * force) / sxx
    rest = np.where(good, force - (in_turn(force) / some)[:, None] - slope[:, None] * x, 0.0)
    u = np.sqrt(in_turn(rest * rest) / (n - 2) / sxx)
    return [
        (a, b, pieces) if so else (None, None, pieces)
        for a, b, pieces, so in zip(
            slope.tolist(), u.tolist(), n.tolist(), ((n >= LEAST_PIECES) & (sxx > 0)).tolist(),
            strict=True,
        )
    ]  # fmt: skip


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
