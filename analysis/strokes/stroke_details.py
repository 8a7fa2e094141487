"""Computes take-up, break-away, drift and unfollowed rope of strokes from their distance profiles."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.signals.time_cells import Floats
from analysis.strokes.distance_profile import DISTANCE, Profiles, at, in_turn, median
from analysis.strokes.steady_part import BATCHES, FORCES, LOAD, SEEN_LOAD_M, Steady

# share of the steady force at which, without a load counter, take-up ends; chosen by us: near the steady
# force, and below its ripple
FULL_SHARE = 0.9
# least break-away / median of the highest forces, without a load counter; chosen by us: above their scatter
PEAK_SHARE = 1.05
# pieces of the steady part that a slope needs; derived: n - 2 = 2 degrees of freedom (JCGM 100, H.3)
LEAST_PIECES = 4


@dataclass(frozen=True)
class StrokeDetails:
    """Details of a stroke besides its means; None where they were not observed."""

    take_up_m: float | None = None  # rope under rising tension while the load still stands
    break_away_N: float | None = None  # highest force up to where the load starts to move
    drift_N_m: float | None = None  # slope of the haul force over the rope of the steady part, N/m
    drift_u_N_m: float | None = None  # its standard uncertainty, N/m
    drift_pieces: int = 0  # number of pieces behind the slope; degrees of freedom + 2
    unfollowed_m: float | None = None  # rope of the steady part - ratio x load travel


NO_DETAILS = StrokeDetails()


def stroke_details(
    p: Profiles, ratio: float, counted: bool, parts: Sequence[Steady | None]
) -> list[StrokeDetails]:
    """The details of each stroke.

    ratio: rope at the haul / load travel; counted: whether there is a load counter; parts: the steady
    part of each stroke.
    """
    rope = np.cumsum(p.rows[:, DISTANCE], axis=1)
    seen = _with_counter(p, rope, ratio) if counted else _by_force(p, rope, parts)
    details = []
    for n, (take_up, peak), steady, (slope, u, pieces) in zip(
        p.n.tolist(), seen, parts, drifts(parts), strict=True
    ):
        lost = None
        if counted and steady is not None and steady.load_travel_m > 0:
            lost = steady.distance_m - ratio * steady.load_travel_m
        details.append(
            StrokeDetails(
                take_up_m=take_up,
                break_away_N=peak,
                drift_N_m=slope,
                drift_u_N_m=u,
                drift_pieces=pieces,
                unfollowed_m=lost,
            )
            if n
            else NO_DETAILS
        )
    return details


_Seen = list[tuple[float | None, float | None]]  # (take-up m, break-away N) of each stroke


def _with_counter(p: Profiles, rope: Floats, ratio: float) -> _Seen:
    """Take-up and break-away with a load counter; rope: (s, w) rope up to the end of each block, m.

    The load has started where it has moved SEEN_LOAD_M; the rope that it did not follow until there is
    the take-up.
    """
    moved = np.cumsum(p.rows[:, LOAD], axis=1)
    k = ((moved < SEEN_LOAD_M) & p.there).sum(axis=1)
    last = np.minimum(k, moved.shape[1] - 1)
    up = np.maximum(0.0, at(rope, last) - ratio * at(moved, last)).tolist()
    tops = at(np.maximum.accumulate(p.tops, axis=1), last).tolist()
    return [
        (up[s], _finite(tops[s])) if moves else (None, None)
        for s, moves in enumerate((k < p.n).tolist())
    ]


def _by_force(p: Profiles, rope: Floats, parts: Sequence[Steady | None]) -> _Seen:
    """Take-up and break-away without a load counter; rope: (s, w) rope up to the end of each block, m.

    A break-away counts only where it exceeds the forces that follow, and take-up ends there; else take-up
    ends where the force first comes near the steady one.
    """
    force = np.array([np.nan if steady is None else steady.force_N[0] for steady in parts])
    start = np.array([0.0 if steady is None else steady.start_m for steady in parts])
    mean = p.rows[:, FORCES + 1] / p.rows[:, DISTANCE]
    full = p.there & (mean >= FULL_SHARE * force[:, None])
    reached = (force > 0) & full.any(axis=1)
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
        for s, so in enumerate(reached.tolist())
    ]


def drifts(parts: Sequence[Steady | None]) -> list[tuple[float | None, float | None, int]]:
    """(slope of the haul force over rope N/m, its standard uncertainty N/m, number of pieces) per stroke.

    A least-squares line through the means of the equal pieces; u of the slope from their scatter about it
    (JCGM 100, H.3), n - 2 degrees of freedom.  None where there are too few pieces.
    """
    force, rope = np.full((2, len(parts), BATCHES), np.nan)
    for s, steady in enumerate(parts):
        if steady is not None:
            force[s, : len(steady.batches)] = steady.batches[:, 1]
            rope[s, : len(steady.batches)] = steady.batches[:, 0]
    good = np.isfinite(force)
    n = good.sum(axis=1)
    some = np.maximum(n, 1)
    middle = np.where(good, np.cumsum(rope, axis=1) - rope / 2, 0.0)
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
