"""Arranges the distance profiles of many strokes as arrays, so that they are evaluated in one pass.

Strokes do not influence each other: sums over blocks are whole multiples of a unit, so exact in any
order, and everything else works block by block.
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
    """Profiles of s strokes.  The w blocks of distance in which rope moved come first in each row.

    rows: (s, r, w) sums over each block, rows as `steady_part` names them.
    tops: (s, w) highest haul force of each block, N.
    block: (s, w) number of the block within the stroke.
    n: (s,) number of blocks of each stroke.
    there: (s, w) whether the stroke has this block.
    size: (s,) length of a block, m of rope.
    pace: (s,) mean rope in a cell of time, m.
    fine: (s,) whether the steps of the load counter are fine enough for means over load travel.
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
    """Collect the profiles of strokes.

    rows: (r, blocks) of each stroke; tops: (blocks,) of each, N; size: m; pace: m; fine: of each
    stroke, as `Profiles` has them.
    """
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
    """Column of the first True in each row of so (s, w), (s,); `none` in rows without one."""
    result: Ints = np.where(so.any(axis=1), so.argmax(axis=1), none)
    return result


def starts_of(keys: Ints) -> Ints:
    """Indices at which runs of equal keys (n,) start; n > 0."""
    return np.concatenate((_ZERO, (keys[1:] != keys[:-1]).nonzero()[0] + 1))


def at(values: Floats | Ints, index: Ints) -> Floats:
    """The value in column index (s,) of each row of values (s, w), any unit: (s,)."""
    return np.asarray(values[np.arange(len(values)), index])


def in_turn(values: Floats) -> Floats:
    """Sum of each row of values (s, w), any unit: (s,).  Added in order, so that zeros behind change no bit."""
    return np.asarray(np.add.accumulate(values, axis=1)[:, -1])


def weighted_median(values: Floats, weights: Floats, there: Bools) -> Floats:
    """Weighted median of each row of values (s, w), any unit, with weights (s, w), where `there`: (s,)."""
    order = np.argsort(np.where(there, values, np.inf), axis=1, kind="stable")
    total = np.cumsum(np.take_along_axis(np.where(there, weights, 0.0), order, axis=1), axis=1)
    middle = (total < total[:, -1:] / 2).sum(axis=1)
    return at(values, order[np.arange(len(order)), np.minimum(middle, total.shape[1] - 1)])


def median(values: Floats, there: Bools) -> Floats:
    """Median of each row of values (s, w), any unit, where `there`: (s,); meaningless for an empty row."""
    ordered, n = np.sort(np.where(there, values, np.inf), axis=1), there.sum(axis=1)
    low, high = (
        at(ordered, np.maximum(n - 1, 0) // 2),
        at(ordered, np.minimum(n // 2, ordered.shape[1] - 1)),
    )
    return np.asarray((low + high) / 2)
