"""Computes the work of a stroke at each possible lag between a force and a counter, over the whole stroke.

Work is the integral of force over travel.  A counter that is late by L pairs the force of one moment with the travel of
another, so the true work is W(l) = sum F(i + l) x step(i) over the stroke's cells i, with l = -L in cells.  Where hands stop
and go, rope springs back at each stop, and each stop leaves an area between force and stretch that is not there: means over
distance, which only count rope that comes forth, do not show it.  So W is summed over all cells, with rope that goes back
counted as negative, from before the tension came on to where the counter was furthest:

    l < 0: F(i + l) step(i);    l >= 0: F(i) step(i - l), and F(end) x (travel of the last l cells) at the furthest cell.

The second form needs no later cells; for the last l cells the force at the furthest place stands for that of a moment
later, when the counter stands.

Forces are rounded to NEWTON and positions to METRE, both powers of two, so that every product is a whole multiple of their
product and sums are exact up to 8 MJ, in any order and however the readings are cut.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.signals.time_cells import Floats

MOST_LAG, LAG_STEP = (
    20,
    2,
)  # cells, REACH and STEP of `lag_from_ripple`; values between are interpolated
WORK_LAGS = np.arange(-MOST_LAG, MOST_LAG + 1, LAG_STEP)
NEWTON, METRE = 2.0**-8, 2.0**-22  # units to which forces and positions are rounded; rounding only


@dataclass(frozen=True)
class LaggedCells:
    """n cells of a track with the MOST_LAG cells before them, rounded."""

    forces_N: Floats  # (f, MOST_LAG + n) force of each channel, 0 where it is silent
    rope_m: Floats  # (MOST_LAG + n,) advance of the rope in each cell
    load_m: Floats  # (MOST_LAG + n,) advance of the load in each cell


def lagged_cells(forces: Floats, rope: Floats, load: Floats) -> LaggedCells:
    """The cells, rounded.

    forces: (f, MOST_LAG + n), N, not finite where a channel is silent; rope, load: (MOST_LAG + 1 + n,) positions at the ends
    of the cells and of the one before them, m.
    """
    force = _rounded(np.where(np.isfinite(forces), forces, 0.0), NEWTON)
    return LaggedCells(force, np.diff(_rounded(rope, METRE)), np.diff(_rounded(load, METRE)))


def work_at_lags(
    forces: Floats, step: Floats, start: int, stop: int, furthest: int
) -> tuple[Floats, Floats | None]:
    """Work over cells start..stop, and that up to the furthest one of them, each (f, lags), J; None without such a cell.

    forces: (f, MOST_LAG + n), N; step: (MOST_LAG + n,), m, as `LaggedCells` has them; start, stop: indices among the n cells;
    furthest: index from start on, -1 where the counter did not advance.
    """
    end = start + furthest + 1
    if furthest < 0:
        return _sums(forces, step, start, stop), None
    best = _sums(forces, step, start, end)
    whole = best if end == stop else best + _sums(forces, step, end, stop)
    last = MOST_LAG + end
    late = np.concatenate(([0.0], np.cumsum(step[last - MOST_LAG : last][::-1])))
    missed = late[np.maximum(WORK_LAGS, 0)]
    return whole, best + forces[:, last - 1 : last] * missed


def _sums(forces: Floats, step: Floats, start: int, stop: int) -> Floats:
    """Sums of force x travel over cells start..stop at each lag, (f, lags), J; arguments as for `work_at_lags`."""
    table = np.empty((len(forces), len(WORK_LAGS)))
    a, b = MOST_LAG + start, MOST_LAG + stop
    for k, lag in enumerate(WORK_LAGS.tolist()):
        early, late = min(lag, 0), max(lag, 0)
        table[:, k] = forces[:, a + early : b + early] @ step[a - late : b - late]
    return table


def _rounded(values: Floats, unit: float) -> Floats:
    """Values as whole multiples of unit, a power of two; a copy."""
    large = 1.5 * 2.0**52 * unit
    result: Floats = (values + large) - large
    return result
