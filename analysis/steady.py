"""Which part of a stroke is steady, and the means over it, from the stroke's profile over distance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.cells import Bools, Floats

SEEN_LOAD_M = 0.01  # load travel over which a load counter decides whether the load stands ...
SEEN_ROPE_M = 0.6  # ... and rope: one pull of a hand, within which a stretched rope gives and takes
BATCHES = 6
# rows of a profile, sums over cells: rope, load travel, rope with a saturated force; then four for
# each force channel: rope with the force known, force x rope, load travel with the force known,
# force x load travel; last, haul force x rope with the force of so many cells before
SHIFTS = (-16, -8, -4, 4, 8, 16)
MOST_SHIFT = 16
DISTANCE, LOAD, SATURATED, FORCES = range(4)
PER_FORCE = 4


@dataclass(frozen=True)
class Steady:
    """Means over distance of the steady part.

    distance_m, load_travel_m (0 without a load counter); start_m, end_m: where it lies in the
    stroke; force_N: per force channel, NaN where not known; saturated: share of the distance
    with a force beyond its cell's capacity; batches: (b, 1 + channels): distance and means of
    up to BATCHES equal pieces; stands: share of the stroke's rope in which the load stood;
    shifted_N: mean haul force with the force of SHIFTS (and in the middle 0) cells before, as if
    the counter were late by as much, over what lies half a second inside the steady part; empty
    where means are not over rope or the stroke is too short.
    """

    distance_m: float
    load_travel_m: float
    start_m: float
    end_m: float
    force_N: tuple[float, ...]
    saturated: float
    batches: Floats
    stands: float
    shifted_N: tuple[float, ...] = ()
    shifted_by: float = 1.0  # what force_N and batches were multiplied by for a lag


def steady(
    rows: Floats, size: float, ratio: float, counted: bool, fine: bool, pace: float = 0.0
) -> Steady | None:
    """The part of a stroke in which the load moves steadily.

    Left out: rope that stretches while the load still stands, the break-away, a slip.  With a
    load counter: blocks in which the load stands, and means are over the load's way, because rope
    that stretches and gives between hands goes to and fro with the force; without one, or where
    its steps are too coarse (not `fine`), over the rope's.  Always: blocks at the beginning and
    the end in which a force differs from its median by more than 5 % and by more than three times
    the median deviation, so that a force that ripples or climbs along the whole stroke keeps them.
    At the end it is a cell that speaks earlier than the counter, and already shows hands that let go.
    pace: rope in a cell, m.
    """
    used = np.flatnonzero(rows[DISTANCE] > 0)
    if len(used) == 0:
        return None
    rows = rows[:, used]
    distance = rows[DISTANCE]
    good = rows[SATURATED] < 0.5 * distance
    if counted:
        good &= _load_moves(distance, rows[LOAD], size, ratio)
    if not good.any():
        if counted:
            return None
        good = np.ones(len(used), bool)
    usual = good & _usual(rows, good)
    half = len(used) // 2
    for side, lot in ((1, usual[:half]), (-1, usual[::-1][: len(used) - half - 1])):
        found = np.flatnonzero(lot)
        lead = int(found[0]) if len(found) else len(lot)
        if lead:
            good[::side][: min(lead + 1, half + (side > 0))] = False
    block = np.flatnonzero(good)
    if len(block) == 0:
        return None
    kept = rows[:, block]
    along = np.cumsum(kept[DISTANCE])
    number = min(BATCHES, len(along))
    borders = np.searchsorted(along, along[-1] / number * (np.arange(1, number) + 1e-9), "right")
    parts = np.add.reduceat(kept, sorted({0, *borders.tolist()}), axis=1)
    total = parts.sum(axis=1, keepdims=True)
    means = _means(np.concatenate((parts, total), axis=1), fine)
    all_rope = float(distance.sum())
    return Steady(
        float(total[DISTANCE, 0]),
        float(total[LOAD, 0]),
        float(used[block[0]] * size),
        float((used[block[-1]] + 1) * size),
        tuple(means[:, -1].tolist()),
        float(rows[SATURATED].sum()) / all_rope,
        np.concatenate((parts[DISTANCE, :, None], means[:, :-1].T), axis=1),
        1.0 - float(total[DISTANCE, 0]) / all_rope,
        () if counted else _shifted(kept, along, pace),
    )


def _usual(rows: Floats, good: Bools) -> Bools:
    """Blocks in which every force is near its median over the good ones."""
    distance, usual = rows[DISTANCE], np.ones(rows.shape[1], bool)
    forces = rows[: -len(SHIFTS)]
    for known, total in zip(
        forces[FORCES::PER_FORCE], forces[FORCES + 1 :: PER_FORCE], strict=True
    ):
        there = good & (known > 0.5 * distance)
        if not there.any():
            continue
        mean = total / np.where(known > 0, known, 1.0)
        median = _median(mean[there], distance[there])
        away = np.abs(mean - median)
        limit = max(0.05 * abs(median), 3.0 * _median(away[there], distance[there]))
        usual &= (away <= limit) | ~there
    return usual


def _shifted(kept: Floats, along: Floats, pace: float) -> tuple[float, ...]:
    """Means of the inner blocks: a shift brings into the outer ones what the steady part leaves out."""
    edge = MOST_SHIFT * pace
    inner = (along - kept[DISTANCE] >= edge) & (along <= along[-1] - edge)
    if not 2 * float(kept[DISTANCE, inner].sum()) > along[-1]:
        return ()
    sums, half = kept[:, inner].sum(axis=1), len(SHIFTS) // 2
    means = (sums / sums[DISTANCE]).tolist()
    shifts = means[-len(SHIFTS) :]
    return (*shifts[:half], means[FORCES + 1], *shifts[half:])


def _load_moves(distance: Floats, load: Floats, size: float, ratio: float) -> Bools:
    """Blocks around which the load makes at least half of its way for the rope hauled."""
    scale = max(SEEN_LOAD_M * ratio, SEEN_ROPE_M)
    reach = max(1, min(math.ceil(scale / size / 2), len(load) // 12))
    kernel = np.ones(2 * reach + 1)
    near = slice(reach, reach + len(load))
    way = np.convolve(load, kernel)[near] * ratio
    rope = np.convolve(distance, kernel)[near]
    good: Bools = way > 0.5 * rope
    if len(good) > 8:  # near where it stands the load gathers way or loses it
        stands = np.convolve(~good, kernel)[near] > 0.5
        if not stands.all():
            good = ~stands
    return good


def _means(rows: Floats, by_load: bool) -> Floats:
    """(channels, pieces): mean of each force channel over load travel or rope; NaN where it was
    mostly unknown."""
    whole = rows[LOAD] if by_load else rows[DISTANCE]
    offset = FORCES + (2 if by_load else 0)
    forces = rows[: -len(SHIFTS)]
    known, total = forces[offset::PER_FORCE], forces[offset + 1 :: PER_FORCE]
    enough = (known > 0.5 * whole) & (known > 0)
    return np.where(enough, total / np.where(enough, known, 1.0), np.nan)


def _median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])
