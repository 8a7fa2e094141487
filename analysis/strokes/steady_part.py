"""Which part of a stroke is steady, and the means over it, from the stroke's profile over distance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.signals.time_cells import Bools, Floats, Ints
from analysis.strokes.distance_profile import (
    DISTANCE,
    Profiles,
    at,
    first_true,
    starts_of,
    weighted_median,
)

# SEEN_LOAD_M, SEEN_ROPE_M: chosen by us: several steps of a counter; one pull of a hand (common practice,
# no source)
SEEN_LOAD_M = 0.01  # load travel over which a load counter decides whether the load stands ...
SEEN_ROPE_M = 0.6  # ... and rope: one pull of a hand, within which a stretched rope gives and takes
BATCHES = (
    6  # pieces of a steady part; chosen by us: as observations they leave 5 degrees of freedom
)
# rows of a profile, sums over cells: rope, load travel, rope with a saturated force; then four for
# each force channel: rope with the force known, force x rope, load travel with the force known,
# force x load travel; last, haul force x rope with the force of so many cells before
SHIFTS = (-16, -8, -4, 4, 8, 16)  # cells, up to half a second; chosen by us: denser near nothing
MOST_SHIFT = 16  # derived: the largest of SHIFTS
LOAD, SATURATED, FORCES = range(1, 4)
PER_FORCE = 4  # rows a force channel: an index, as above


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


def steady(p: Profiles, ratio: float, counted: bool) -> list[Steady | None]:
    """The part of each stroke in which the load moves steadily.

    Left out: rope that stretches while the load still stands, the break-away, a slip.  With a
    load counter: blocks in which the load stands, and means are over the load's way, because rope
    that stretches and gives between hands goes to and fro with the force; without one, or where
    its steps are too coarse (not `fine`), over the rope's.  Always: blocks at the beginning and
    the end in which a force differs from its median by more than 5 % and by more than three times
    the median deviation, so that a force that ripples or climbs along the whole stroke keeps them.
    At the end it is a cell that speaks earlier than the counter, and already shows hands that let go.
    """
    distance, n = p.rows[:, DISTANCE], p.n[:, None]
    good = p.there & (p.rows[:, SATURATED] < 0.5 * distance)
    if counted:
        good &= _load_moves(p, ratio)
    else:
        good |= p.there & ~good.any(axis=1, keepdims=True)
    usual = good & _usual(p, good)
    half, block = n // 2, np.arange(good.shape[1])
    lead = np.minimum(first_true(usual, len(block))[:, None], half)
    good &= ~((lead > 0) & (block < np.minimum(lead + 1, half + 1)))
    lag = first_true(usual[:, ::-1], len(block))[:, None] - (len(block) - n)
    lag = np.clip(lag, 0, np.maximum(n - half - 1, 0))
    good &= ~((lag > 0) & (block >= n - np.minimum(lag + 1, half)))
    return _over(p, good, counted)


def _over(p: Profiles, good: Bools, counted: bool) -> list[Steady | None]:
    """Means over the good blocks, None where there is none."""
    found: list[Steady | None] = [None] * len(good)
    some = np.flatnonzero(good.any(axis=1))
    if not len(some):
        return found
    distance = p.rows[:, DISTANCE]
    along = np.cumsum(np.where(good, distance, 0.0), axis=1)
    number = np.minimum(BATCHES, good.sum(axis=1))[:, None]
    share = np.arange(1, BATCHES)
    limit = np.where(share < number, along[:, -1:] / np.maximum(number, 1) * (share + 1e-9), np.inf)
    stroke, block = good.nonzero()
    kept, along = p.rows[stroke, :, block], along[stroke, block]
    piece = BATCHES * stroke + (along[:, None] > limit[stroke]).sum(axis=1)
    begin = starts_of(piece)
    parts = np.add.reduceat(kept, begin, axis=0)
    of = np.searchsorted(stroke[begin], some)  # the first piece of each stroke
    total = np.add.reduceat(parts, of, axis=0)
    part_means = _means(parts, p.fine[stroke[begin]])
    batches = np.concatenate((parts[:, DISTANCE, None], part_means), axis=1)
    means = _means(total, p.fine[some]).tolist()
    rope = distance.sum(axis=1, where=p.there)
    saturated = (p.rows[:, SATURATED].sum(axis=1, where=p.there) / rope).tolist()
    starts = (at(p.block, first_true(good, 0)) * p.size).tolist()
    ends = good.shape[1] - 1 - first_true(good[:, ::-1], 0)
    ends = ((at(p.block, ends) + 1) * p.size).tolist()
    way, load = total[:, DISTANCE], total[:, LOAD].tolist()
    stands = (1.0 - way / rope[some]).tolist()
    shifted = None if counted else _shifted(p, kept, along, stroke)
    borders = [*of.tolist(), len(begin)]
    for k, (s, metres) in enumerate(zip(some.tolist(), way.tolist(), strict=True)):
        found[s] = Steady(
            distance_m=metres,
            load_travel_m=load[k],
            start_m=starts[s],
            end_m=ends[s],
            force_N=tuple(means[k]),
            saturated=saturated[s],
            batches=batches[borders[k] : borders[k + 1]],
            stands=stands[k],
            shifted_N=() if shifted is None else shifted[s],
        )
    return found


def _usual(p: Profiles, good: Bools) -> Bools:
    """Blocks in which every force is near its median over the good ones."""
    distance, usual = p.rows[:, DISTANCE], np.ones(good.shape, bool)
    for row in range(FORCES, p.rows.shape[1] - len(SHIFTS), PER_FORCE):
        known, total = p.rows[:, row], p.rows[:, row + 1]
        there = good & (known > 0.5 * distance)
        mean = total / np.where(known > 0, known, 1.0)
        middle = weighted_median(mean, distance, there)
        away = np.abs(mean - middle[:, None])
        limit = np.maximum(0.05 * np.abs(middle), 3.0 * weighted_median(away, distance, there))
        usual &= (away <= limit[:, None]) | ~there
    return usual


def _shifted(p: Profiles, kept: Floats, along: Floats, stroke: Ints) -> list[tuple[float, ...]]:
    """Means of the inner blocks: a shift brings into the outer ones what the steady part leaves out.

    kept (k, r): the blocks of all strokes, along (k,): rope up to the end of each, stroke (k,): of
    which it is."""
    found: list[tuple[float, ...]] = [()] * len(p.n)
    all_rope = np.zeros(len(p.n))
    all_rope[stroke] = along  # the last stays
    edge = (MOST_SHIFT * p.pace)[stroke]
    inner = (along - kept[:, DISTANCE] >= edge) & (along <= all_rope[stroke] - edge)
    kept, stroke = kept[inner], stroke[inner]
    if len(stroke):
        begin, half = starts_of(stroke), len(SHIFTS) // 2
        sums = np.add.reduceat(kept, begin, axis=0)
        order = [*range(-len(SHIFTS), -half), FORCES + 1, *range(-half, 0)]
        means = (sums[:, order] / sums[:, DISTANCE, None]).tolist()
        enough = 2 * sums[:, DISTANCE] > all_rope[stroke[begin]]
        for s, row, so in zip(stroke[begin].tolist(), means, enough.tolist(), strict=True):
            if so:
                found[s] = tuple(row)
    return found


def _load_moves(p: Profiles, ratio: float) -> Bools:
    """Blocks around which the load makes at least half of its way for the rope hauled."""
    scale = max(SEEN_LOAD_M * ratio, SEEN_ROPE_M)
    reach = np.minimum(np.ceil(scale / p.size / 2).astype(np.int64), p.n // 12)
    reach = np.maximum(1, reach)[:, None]
    block = np.arange(p.there.shape[1])
    low, high = np.maximum(block - reach, 0), np.minimum(block + reach + 1, p.n[:, None])
    high = np.maximum(high, low)

    def near(values: Floats | Bools) -> Floats:
        total = np.zeros((len(values), values.shape[1] + 1))
        np.cumsum(values, axis=1, out=total[:, 1:])
        up, down = (np.take_along_axis(total, k, axis=1) for k in (high, low))
        return np.asarray(up - down)

    moves: Bools = near(p.rows[:, LOAD]) * ratio > 0.5 * near(p.rows[:, DISTANCE])
    # near where it stands the load gathers way or loses it
    stands = near(~moves & p.there) > 0.5
    whole = (p.n[:, None] > 8) & (~stands & p.there).any(axis=1, keepdims=True)
    return np.where(whole, ~stands, moves)


def _means(rows: Floats, by_load: Bools) -> Floats:
    """(pieces, channels): mean of each force channel over load travel or rope; NaN where it was
    mostly unknown.  rows (pieces, r)."""
    forces = rows[:, : -len(SHIFTS)]
    over = by_load[:, None]
    whole = np.where(over, rows[:, LOAD, None], rows[:, DISTANCE, None])
    known, total = (
        np.where(over, forces[:, row + 2 :: PER_FORCE], forces[:, row::PER_FORCE])
        for row in (FORCES, FORCES + 1)
    )
    enough = (known > 0.5 * whole) & (known > 0)
    return np.where(enough, total / np.where(enough, known, 1.0), np.nan)
