"""Determines the steady part of a stroke from its profile over distance, and the means over it."""

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

# load travel, and rope, over which it is decided whether the load stands; chosen by us: several steps of a
# counter; one pull of a hand, within which a stretched rope gives and takes (common practice, no source)
SEEN_LOAD_M, SEEN_ROPE_M = 0.01, 0.6
# pieces of a steady part; chosen by us: as observations they leave 5 degrees of freedom
BATCHES = 6
# The rows of a profile are sums over the cells of each block: rope, load travel, rope with a saturated
# force; then four rows for each force channel: rope with the force measured, force x rope, load travel with
# the force measured, force x load travel; last one row for each of SHIFTS: rope x haul force of so many
# cells earlier.
SHIFTS = (-16, -8, -4, 4, 8, 16)  # cells, up to half a second; chosen by us: denser near zero
MOST_SHIFT = 16  # derived: the largest of SHIFTS
LOAD, SATURATED, FORCES = range(1, 4)
PER_FORCE = 4  # rows a force channel: an index, as above


@dataclass(frozen=True)
class Steady:
    """Means over distance of the steady part of a stroke.

    shifted_N: mean haul force with the force of each of SHIFTS, and in the middle 0, cells earlier, as if
        the counter were late by as much.  It covers the steady part without its first and last half
        second; empty where means are over load travel or the stroke is too short.
    """

    distance_m: float  # rope
    load_travel_m: float  # 0 without a load counter
    start_m: float  # rope from the start of the stroke to the start of the part
    end_m: float  # rope from the start of the stroke to the end of the part
    force_N: tuple[float, ...]  # mean of each force channel, NaN where not measured
    saturated: float  # share of the rope with a force beyond its cell's capacity
    batches: Floats  # (b, 1 + channels) rope, m, and mean forces, N, of up to BATCHES equal pieces
    stands: float  # share of the stroke's rope in which the load stood
    shifted_N: tuple[float, ...] = ()
    ripple: float = 0.0  # standard deviation / mean of the haul force along the rope
    shifted_by: float = 1.0  # factor by which force_N and batches are corrected for a lag


def steady(p: Profiles, ratio: float, counted: bool) -> list[Steady | None]:
    """The steady part of each stroke; None where a stroke has none.

    ratio: rope at the haul / load travel; counted: whether there is a load counter.

    Rope that stretches while the load still stands, the break-away and a slip are left out.  With a load
    counter, blocks in which the load stands are left out, and means are over load travel, because rope
    that stretches and contracts between hands moves to and fro with the force.  Without one, or where its
    steps are too coarse (not `fine`), means are over rope.  Blocks at the beginning and the end are left
    out where a force differs from its median by more than 5 % and by more than three times the median
    deviation, so that a force that ripples or climbs along the whole stroke keeps its blocks.  The end
    may differ because a cell that is earlier than the counter shows the release already.
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
    """Means over the good blocks (s, w) of each stroke; None where there is none."""
    parts: list[Steady | None] = [None] * len(good)
    some = np.flatnonzero(good.any(axis=1))
    if not len(some):
        return parts
    distance = p.rows[:, DISTANCE]
    along = np.cumsum(np.where(good, distance, 0.0), axis=1)
    number = np.minimum(BATCHES, good.sum(axis=1))[:, None]
    share = np.arange(1, BATCHES)
    limit = np.where(share < number, along[:, -1:] / np.maximum(number, 1) * (share + 1e-9), np.inf)
    stroke, block = good.nonzero()
    kept, along = p.rows[stroke, :, block], along[stroke, block]
    piece = BATCHES * stroke + (along[:, None] > limit[stroke]).sum(axis=1)
    begin = starts_of(piece)
    pieces = np.add.reduceat(kept, begin, axis=0)
    first_piece = np.searchsorted(stroke[begin], some)  # of each stroke
    total = np.add.reduceat(pieces, first_piece, axis=0)
    piece_means = _means(pieces, p.fine[stroke[begin]])
    batches = np.concatenate((pieces[:, DISTANCE, None], piece_means), axis=1)
    means = _means(total, p.fine[some]).tolist()
    rope = distance.sum(axis=1, where=p.there)
    saturated = (p.rows[:, SATURATED].sum(axis=1, where=p.there) / rope).tolist()
    starts = (at(p.block, first_true(good, 0)) * p.size).tolist()
    ends = good.shape[1] - 1 - first_true(good[:, ::-1], 0)
    ends = ((at(p.block, ends) + 1) * p.size).tolist()
    steady_rope, load = total[:, DISTANCE], total[:, LOAD].tolist()
    stands = (1.0 - steady_rope / rope[some]).tolist()
    shifted = None if counted else _shifted(p, kept, along, stroke)
    ripple = _ripple(kept[:, FORCES], kept[:, FORCES + 1], starts_of(stroke))
    borders = [*first_piece.tolist(), len(begin)]
    for k, (s, metres) in enumerate(zip(some.tolist(), steady_rope.tolist(), strict=True)):
        parts[s] = Steady(
            distance_m=metres,
            load_travel_m=load[k],
            start_m=starts[s],
            end_m=ends[s],
            force_N=tuple(means[k]),
            saturated=saturated[s],
            batches=batches[borders[k] : borders[k + 1]],
            stands=stands[k],
            shifted_N=() if shifted is None else shifted[s],
            ripple=ripple[k],
        )
    return parts


def _usual(p: Profiles, good: Bools) -> Bools:
    """Whether every force of a block is near its median over the good blocks, (s, w)."""
    distance, usual = p.rows[:, DISTANCE], np.ones(good.shape, bool)
    for row in range(FORCES, p.rows.shape[1] - len(SHIFTS), PER_FORCE):
        measured, total = p.rows[:, row], p.rows[:, row + 1]
        there = good & (measured > 0.5 * distance)
        mean = total / np.where(measured > 0, measured, 1.0)
        middle = weighted_median(mean, distance, there)
        away = np.abs(mean - middle[:, None])
        limit = np.maximum(0.05 * np.abs(middle), 3.0 * weighted_median(away, distance, there))
        usual &= (away <= limit[:, None]) | ~there
    return usual


def _ripple(rope: Floats, work: Floats, begin: Ints) -> list[float]:
    """Standard deviation / mean of the haul force along the rope in each stroke; 0 where it is not known.

    rope, work: (k,) rope with the force measured, m, and force x rope, J, of the blocks of all strokes; begin: (strokes,)
    index of the first block of each.
    """
    square = work**2 / np.where(rope > 0, rope, 1.0)
    metres, joule, squares = (np.add.reduceat(x, begin) for x in (rope, work, square))
    measured = (metres > 0) & (joule > 0)
    variance = squares * metres / np.where(measured, joule, 1.0) ** 2 - 1
    ripple: list[float] = np.sqrt(np.where(measured, np.maximum(variance, 0.0), 0.0)).tolist()
    return ripple


def _shifted(p: Profiles, kept: Floats, along: Floats, stroke: Ints) -> list[tuple[float, ...]]:
    """Mean haul force of each stroke at SHIFTS and 0, N, over the inner blocks of its steady part.

    In the outer blocks a shift would mix in what the steady part leaves out.  kept: (k, r) blocks of all
    strokes; along: (k,) rope up to the end of each block, m; stroke: (k,) index of its stroke.
    """
    shifted: list[tuple[float, ...]] = [()] * len(p.n)
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
                shifted[s] = tuple(row)
    return shifted


def _load_moves(p: Profiles, ratio: float) -> Bools:
    """Whether around a block the load makes at least half the travel for its rope, (s, w)."""
    scale = max(SEEN_LOAD_M * ratio, SEEN_ROPE_M)
    reach = np.minimum(np.ceil(scale / p.size / 2).astype(np.int64), p.n // 12)
    reach = np.maximum(1, reach)[:, None]
    block = np.arange(p.there.shape[1])
    low, high = np.maximum(block - reach, 0), np.minimum(block + reach + 1, p.n[:, None])
    high = np.maximum(high, low)

    def near(values: Floats | Bools) -> Floats:
        """Sum of values (s, w) over the blocks within `reach`, (s, w)."""
        total = np.zeros((len(values), values.shape[1] + 1))
        np.cumsum(values, axis=1, out=total[:, 1:])
        up, down = (np.take_along_axis(total, k, axis=1) for k in (high, low))
        return np.asarray(up - down)

    moves: Bools = near(p.rows[:, LOAD]) * ratio > 0.5 * near(p.rows[:, DISTANCE])
    # beside blocks in which it stands the load speeds up or slows down
    stands = near(~moves & p.there) > 0.5
    whole = (p.n[:, None] > 8) & (~stands & p.there).any(axis=1, keepdims=True)
    return np.where(whole, ~stands, moves)


def _means(rows: Floats, by_load: Bools) -> Floats:
    """Mean of each force channel, N, (pieces, channels), from the rows of pieces, (pieces, r).

    by_load: (pieces,) whether means are over load travel, not rope.  NaN where the channel was silent over
    half of it or more.
    """
    forces = rows[:, : -len(SHIFTS)]
    over = by_load[:, None]
    whole = np.where(over, rows[:, LOAD, None], rows[:, DISTANCE, None])
    measured, total = (
        np.where(over, forces[:, row + 2 :: PER_FORCE], forces[:, row::PER_FORCE])
        for row in (FORCES, FORCES + 1)
    )
    enough = (measured > 0.5 * whole) & (measured > 0)
    return np.where(enough, total / np.where(enough, measured, 1.0), np.nan)
