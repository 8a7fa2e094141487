"""What a stroke tells beside its mean: take-up, break-away, drift along the ground, rope that the
load did not follow.  All from its profile over distance; a metre that is not seen is None."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.cells import Floats
from analysis.steady import DISTANCE, FORCES, LOAD, SEEN_LOAD_M, Steady

FULL_SHARE = 0.9  # of the steady force: without a load counter the rope is taken up there
PEAK_SHARE = 1.05  # a break-away that is seen without a load counter / the highest steady force
LEAST_PIECES = 4  # of the steady part, for a slope with an uncertainty


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


def facts(
    rows: Floats, tops: Floats, size: float, ratio: float, counted: bool, part: Steady | None
) -> Facts:
    """rows: the profile (see `steady`); tops: highest force of each of its blocks."""
    used = (rows[DISTANCE] > 0).nonzero()[0]
    if len(used) == 0:
        return Facts()
    rope = np.cumsum(rows[DISTANCE, used])
    if counted:
        take_up, peak = _with_counter(rope, rows[LOAD, used], tops[used], ratio)
    else:
        take_up, peak = _by_force(rows[:, used], rope, tops[used], part, size)
    slope, u, pieces = (None, None, 0) if part is None else drift(part)
    lost = None
    if counted and part is not None and part.load_travel_m > 0:
        lost = part.distance_m - ratio * part.load_travel_m
    return Facts(take_up, peak, slope, u, pieces, lost)


def _with_counter(
    rope: Floats, load: Floats, tops: Floats, ratio: float
) -> tuple[float | None, float | None]:
    """The load has started where it has made SEEN_LOAD_M: all rope that it did not follow until
    there was taken up."""
    way = np.cumsum(load)
    k = int(np.searchsorted(way, SEEN_LOAD_M))
    if k >= len(way):
        return None, None
    return max(0.0, float(rope[k] - ratio * way[k])), _finite(float(tops[: k + 1].max()))


def _by_force(
    rows: Floats, rope: Floats, tops: Floats, part: Steady | None, size: float
) -> tuple[float | None, float | None]:
    """Without a load counter: a break-away is seen only where it stands out of what follows, and
    the rope is taken up there, else where the force first comes near the steady one."""
    if part is None or not part.force_N[0] > 0:
        return None, None
    mean = rows[FORCES + 1] / rows[DISTANCE]
    full = (mean >= FULL_SHARE * part.force_N[0]).nonzero()[0]
    if len(full) == 0:
        return None, None
    k, peak = int(full[0]), None
    lead = int(np.searchsorted(rope, part.start_m + size / 2))
    if 0 < lead < len(rope) - 1:
        top = int(np.argmax(tops[: lead + 1]))
        if tops[top] > PEAK_SHARE * float(np.median(tops[lead + 1 :])):
            k, peak = top, _finite(float(tops[top]))
    return float(rope[k - 1]) if k else 0.0, peak


def drift(part: Steady) -> tuple[float | None, float | None, int]:
    """Slope of the haul force over rope, N/m, its standard uncertainty, and the pieces it is from.

    A straight line by least squares through the means of the equal pieces; u of the slope from
    their scatter about it (JCGM 100 H.3), n - 2 degrees of freedom.
    """
    force, way = part.batches[:, 1], part.batches[:, 0]
    good = np.isfinite(force)
    middle, force = (np.cumsum(way) - way / 2)[good], force[good]
    n = len(force)
    if n < LEAST_PIECES:
        return None, None, n
    x = middle - middle.mean()
    sxx = float((x * x).sum())
    if not sxx > 0:
        return None, None, n
    slope = float((x * force).sum()) / sxx
    rest = force - force.mean() - slope * x
    return slope, math.sqrt(float((rest * rest).sum()) / (n - 2) / sxx), n


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
