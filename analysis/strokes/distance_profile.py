"""Profiles of many strokes side by side, so that a session's strokes cost hardly more than one.

Each stroke is worked out by itself: sums over blocks are sums of whole multiples of a unit, exact in
any order, and the rest is done block by block, so it does not matter which strokes are together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.signals.time_cells import Bools, Floats, Ints

DISTANCE = 0  # index of a row of a profile: rope
_ZERO = np.zeros(1, np.int64)


@dataclass(frozen=True)
class Profiles:
    """s strokes with at most w blocks in which rope was hauled, moved together to the front.

    rows (s, r, w): see `steady`; tops (s, w): highest force of each block; block (s, w): which of the
    profile's blocks it is; n (s,): how many; there (s, w): whether there is one; size (s,): of a
    block, m; pace (s,): rope in a cell, m; fine (s,): whether the load counter's steps are.
    """

    rows: Floats
    tops: Floats
    block: Ints
    n: Ints
    there: Bools
    size: Floats
    pace: Floats
    fine: Bools


def profiles(
    rows: Sequence[Floats],
    tops: Sequence[Floats],
    size: Sequence[float],
    pace: Sequence[float],
    fine: Sequence[bool],
) -> Profiles:
    """rows: (r, blocks) of each stroke, tops: (blocks,)."""
    used = np.array([r[DISTANCE] > 0 for r in rows])
    n = used.sum(axis=1)
    w = max(1, int(n.max()))
    block = np.argsort(~used, axis=1, kind="stable")[:, :w]
    all_rows, all_tops = np.array(rows), np.array(tops)
    if (block != np.arange(w)).any():
        all_rows = np.take_along_axis(all_rows, block[:, None, :], axis=2)
        all_tops = np.take_along_axis(all_tops, block, axis=1)
    return Profiles(
        rows=all_rows[:, :, :w], tops=all_tops[:, :w], block=block, n=n, there=np.arange(w) < n[:, None],
        size=np.array(size), pace=np.array(pace), fine=np.array(fine, bool),
    )  # fmt: skip


def first_true(so: Bools, none: Ints | int) -> Ints:
    """(s,): where the first True of each row of (s, w) is, `none` where there is none."""
    result: Ints = np.where(so.any(axis=1), so.argmax(axis=1), none)
    return result


def starts_of(of: Ints) -> Ints:
    """Where runs of equal values (n,) start; n > 0."""
    return np.concatenate((_ZERO, (of[1:] != of[:-1]).nonzero()[0] + 1))


def at(values: Floats | Ints, index: Ints) -> Floats:
    """(s,): one value of each row of (s, w)."""
    return np.asarray(values[np.arange(len(values)), index])


def in_turn(values: Floats) -> Floats:
    """Sums of each row of (s, w), one value after the other: zeros behind change nothing."""
    return np.asarray(np.add.accumulate(values, axis=1)[:, -1])


def weighted_median(values: Floats, weights: Floats, there: Bools) -> Floats:
    """(s,) from (s, w), of those that are there."""
    order = np.argsort(np.where(there, values, np.inf), axis=1, kind="stable")
    total = np.cumsum(np.take_along_axis(np.where(there, weights, 0.0), order, axis=1), axis=1)
    middle = (total < total[:, -1:] / 2).sum(axis=1)
    return at(values, order[np.arange(len(order)), np.minimum(middle, total.shape[1] - 1)])


def median(values: Floats, there: Bools) -> Floats:
    """(s,) from (s, w), of those that are there; no meaning where none is."""
    ordered, n = np.sort(np.where(there, values, np.inf), axis=1), there.sum(axis=1)
    low, high = (
        at(ordered, np.maximum(n - 1, 0) // 2),
        at(ordered, np.minimum(n // 2, ordered.shape[1] - 1)),
    )
    return np.asarray((low + high) / 2)
