"""One stroke: its sums, its profile over distance, and which part of it is steady."""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass

import numpy as np

from analysis.cells import RATE, Bools, Floats

BLOCKS = 128  # blocks of distance in a profile; when full, two become one
FIRST_BLOCK_M = 0.01
SEEN_LOAD_M = 0.01  # load travel over which a load counter decides whether the load stands ...
SEEN_ROPE_M = 0.6  # ... and rope: one pull of a hand, within which a stretched rope gives and takes
BATCHES = 6
# rows of a profile, sums over cells: rope, load travel, time, rope with a saturated force, cells in
# which rope or load made way; then four for each force channel: rope with the force known, force
# x rope, load travel with the force known, force x load travel
DISTANCE, LOAD, TIME, SATURATED, ROPE_CELLS, LOAD_CELLS, FORCES = range(7)
PER_FORCE = 4


@dataclass(frozen=True)
class Steady:
    """Means over distance of the steady part.

    distance_m, load_travel_m (0 without a load counter); start_m, end_m: where it lies in the
    stroke; force_N: per force channel, NaN where not known; saturated: share of the distance
    with a force beyond its cell's capacity; batches: (b, 1 + channels): distance and means of
    up to BATCHES equal pieces; stands: share of the stroke's rope in which the load stood.
    """

    distance_m: float
    load_travel_m: float
    start_m: float
    end_m: float
    force_N: tuple[float, ...]
    saturated: float
    batches: Floats
    stands: float


@dataclass(frozen=True)
class Stroke:
    """Rope hauled (+) or given back under tension (-) between two changes of direction.

    Times s; haul_travel_m is positive for both directions; load_travel_m likewise, None without
    a load counter; work_J: integral of the haul force over its travel; out_J: per force channel
    the integral of that force over the load's travel; steady: None where nothing was steady.
    """

    direction: str
    start_s: float
    end_s: float
    haul_travel_m: float
    load_travel_m: float | None
    work_J: float
    out_J: tuple[float, ...]
    mean_force_N: float | None
    peak_force_N: float
    peak_s: float
    steady: Steady | None
    growing: bool = False


class Leg:
    """A stroke while it grows: running sums and a bounded profile.

    sign: +1 hauling, -1 lowering; positions are of rope at the haul, m.
    """

    def __init__(self, sign: int, cell: int, x: float, load: float, forces: int) -> None:
        self.sign, self.first, self.last = sign, cell, cell
        self.x0, self.load0 = x, load
        self.best, self.load_best = x, load  # where the rope was furthest
        self.work = np.zeros(forces)  # force x rope, so far; [0] is the haul cell
        self.out = np.zeros(forces)  # force x load travel, so far
        self.work_best, self.out_best = self.work, self.out
        self.peak, self.peak_cell = -math.inf, cell
        self.size = FIRST_BLOCK_M
        self.load_top = sign * load  # furthest way of the load, in the leg's direction
        self.rows = np.zeros((FORCES + PER_FORCE * forces, BLOCKS))

    @property
    def travel(self) -> float:
        return self.sign * (self.best - self.x0)

    def fork(self) -> Leg:
        other = copy.copy(self)
        other.rows = self.rows.copy()
        return other

    def add_profile(self, progress: Floats, rows: Floats) -> None:
        """progress (n,) not decreasing, metres since the start; rows (FORCES + PER_FORCE f, n)."""
        while len(progress):
            index = (progress / self.size).astype(np.int64)
            fits = int(np.searchsorted(index, BLOCKS, "left"))
            for row, values in zip(self.rows, rows[:, :fits], strict=True):
                np.add.at(row, index[:fits], values)  # one after the other: the cut leaves no mark
            progress, rows = progress[fits:], rows[:, fits:]
            if len(progress):
                half = self.rows[:, 0::2] + self.rows[:, 1::2]
                self.rows = np.concatenate((half, np.zeros_like(half)), axis=1)
                self.size *= 2

    def lowers(self, ratio: float, counted: bool) -> bool:
        """False for a lowering leg in which stretched rope springs back: the load stands, and
        the force falls away along it."""
        if self.sign > 0:
            return True
        if counted and (self.load0 - self.load_best) * ratio < 0.5 * self.travel:
            return False
        used = np.flatnonzero(self.rows[FORCES] > 0)
        if len(used) < 2:
            return False
        mean = self.rows[FORCES + 1, used] / self.rows[FORCES, used]
        whole = abs(float(self.work_best[0])) / max(self.travel, 1e-9)
        return bool(mean[len(used) // 2 :].mean() > 0.5 * whole)

    def stroke(self, ratio: float, counted: bool, growing: bool = False) -> Stroke:
        """As it stands; counted: there is a load counter."""
        part = steady(self.rows, self.size, ratio, counted)
        mean = None
        if part is not None and not math.isnan(part.force_N[0]):
            mean = part.force_N[0]
        return Stroke(
            "haul" if self.sign > 0 else "lower",
            self.first / RATE,
            (self.last + 1) / RATE,
            self.travel,
            self.sign * (self.load_best - self.load0) if counted else None,
            float(self.sign * self.work_best[0]),
            tuple(float(x) for x in self.sign * self.out_best),
            mean,
            self.peak,
            (self.peak_cell + 0.5) / RATE,
            part,
            growing,
        )


def steady(rows: Floats, size: float, ratio: float, counted: bool) -> Steady | None:
    """The part of a stroke in which the load moves steadily.

    Left out: rope that stretches while the load still stands, the break-away, a slip.  With a
    load counter: blocks in which the load stands, and means are over the load's way, because rope
    that stretches and gives between hands goes to and fro with the force; without one, or where
    its steps are too coarse, over the rope's.  Always: blocks at the beginning that differ
    from the median by more than 5 % and by more than three times the median deviation, so that a
    force that ripples or climbs along the whole stroke keeps its beginning.
    """
    used = np.flatnonzero(rows[FORCES] > 0)
    if len(used) == 0:
        return None
    distance = rows[FORCES, used]
    mean = rows[FORCES + 1, used] / distance
    good, fine = np.ones(len(used), bool), False
    if counted:
        good = _load_moves(rows[DISTANCE, used], rows[LOAD, used], size, ratio)
        fine = rows[LOAD_CELLS].sum() > 0.5 * rows[ROPE_CELLS].sum()
    good &= rows[SATURATED, used] < 0.5 * rows[DISTANCE, used]
    if not good.any():
        good = np.ones(len(used), bool) if not counted else good
        if not good.any():
            return None
    median = _median(mean[good], distance[good])
    away = np.abs(mean - median)
    limit = max(0.05 * abs(median), 3.0 * _median(away[good], distance[good]))
    lead = 0
    while lead < len(used) // 2 and not (good[lead] and away[lead] <= limit):
        lead += 1
    if lead:
        good[: min(lead + 1, len(used) // 2 + 1)] = False
    if not good.any():
        return None
    block = used[good]
    kept = rows[:, block]
    stands = 1.0 - float(kept[DISTANCE].sum() / rows[DISTANCE, used].sum())
    return Steady(
        float(kept[DISTANCE].sum()),
        float(kept[LOAD].sum()),
        float(block[0] * size),
        float((block[-1] + 1) * size),
        _means(kept, fine),
        float(rows[SATURATED, used].sum() / rows[DISTANCE, used].sum()),
        _batches(kept, fine),
        stands,
    )


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


def _means(rows: Floats, by_load: bool) -> tuple[float, ...]:
    """Mean of each force channel over load travel or rope; NaN where it was mostly unknown."""
    offset, whole = (2, rows[LOAD].sum()) if by_load else (0, rows[DISTANCE].sum())
    means = []
    for j in range(FORCES + offset, len(rows), PER_FORCE):
        known, total = float(rows[j].sum()), float(rows[j + 1].sum())
        means.append(total / known if known > 0.5 * float(whole) and known > 0 else math.nan)
    return tuple(means)


def _batches(rows: Floats, by_load: bool) -> Floats:
    """Pieces of about equal distance."""
    along = np.cumsum(rows[DISTANCE])
    number = min(BATCHES, len(along))
    piece = np.minimum((along / along[-1] * number - 1e-9).astype(int), number - 1)
    parts = [rows[:, piece == k] for k in range(number)]
    return np.array(
        [[float(p[DISTANCE].sum()), *_means(p, by_load)] for p in parts if p.shape[1] > 0],
        dtype=float,
    )


def _median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])
