"""Cells of all channels brought onto one grid of time, in SI, straight lines between readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.cells import RATE, Bools, Cells, Floats, Ints
from logger.sensors import Channel

LONGEST_GAP_S = 10.0
JUMP_M, JUMP_M_S = 0.5, 10.0  # a counter that moves further than this has restarted


@dataclass(frozen=True)
class ForceGrid:
    """Force in each grid cell, (n,) each: mean over time (NaN: not known), least and largest
    reading, whether a reading was beyond the capacity."""

    mean: Floats
    low: Floats
    high: Floats
    saturated: Bools


@dataclass(frozen=True)
class LengthGrid:
    """Position at the start and the end of each grid cell, (n,) each."""

    start: Floats
    end: Floats


@dataclass(frozen=True)
class Grid:
    """Whole seconds of cells, `cell` (n,) in order with n a multiple of RATE."""

    cell: Ints
    force: dict[str, ForceGrid]
    length: dict[str, LengthGrid]


def gap_s(channel: Channel) -> float:
    """The longest time between readings over which a straight line is taken."""
    return min(max(channel.stale_after_s, 0.25), LONGEST_GAP_S)


def in_si(cells: Cells, channel: Channel, zeros: list[tuple[float, float]]) -> Cells:
    """The same cells in SI; zeros: (from this time on, reading of nothing), in order of time.

    Means go through the curve of a calibration as one reading would: within 1/32 s it is straight.
    """
    if not len(cells):
        return cells
    span = cells.last_s - cells.first_s
    mean = np.where(span > 0, cells.inner / np.where(span > 0, span, 1.0), cells.first)
    parts = (cells.first, cells.last, mean, cells.low, cells.high)
    which = np.searchsorted(np.array([t for t, _ in zeros]), cells.first_s, "right")
    if len(zeros) == 0 or which[0] == which[-1]:
        zero = zeros[which[0] - 1][1] if len(zeros) and which[0] else None
        first, last, mean, a, b = (channel.si(x, zero) for x in parts)
    else:
        values = [channel.zero, *(z for _, z in zeros)]
        rows = [np.empty(len(cells)) for _ in parts]
        for k in np.unique(which):
            here = which == k
            for row, x in zip(rows, parts, strict=True):
                row[here] = channel.si(x[here], float(values[int(k)]))
        first, last, mean, a, b = rows
    return Cells(
        cells.cell, cells.count, cells.first_s, cells.last_s, first, last, mean * span,
        np.minimum(a, b), np.maximum(a, b),
    )  # fmt: skip


def force_grid(cells: Cells, raw: Cells, channel: Channel, grid: Ints) -> ForceGrid:
    """Mean force over each grid cell: the trapezoid rule with straight lines across cell borders.

    cells in SI, raw the same as read, with one cell before the grid and one after where there are.
    """
    start, start_ok = _border(cells, grid, gap_s(channel))
    end, end_ok = _border(cells, grid + 1, gap_s(channel))
    mean = np.where(start_ok & end_ok, (start + end) / 2, np.nan)
    low, high = np.fmin(start, end), np.fmax(start, end)
    saturated = np.zeros(len(grid), bool)
    if len(cells):
        at = np.minimum(np.searchsorted(cells.cell, grid), len(cells) - 1)
        here = np.flatnonzero(cells.cell[at] == grid)
        k = at[here]
        before = np.where(start_ok[here], cells.first_s[k] - grid[here] / RATE, 0.0)
        after = np.where(end_ok[here], (grid[here] + 1) / RATE - cells.last_s[k], 0.0)
        left = np.where(start_ok[here], start[here] + cells.first[k], 0.0) / 2
        right = np.where(end_ok[here], end[here] + cells.last[k], 0.0) / 2
        time = before + after + (cells.last_s[k] - cells.first_s[k])
        total = cells.inner[k] + left * before + right * after
        mean[here] = np.where(time > 0, total / np.where(time > 0, time, 1.0), cells.first[k])
        low[here], high[here] = cells.low[k], cells.high[k]
        saturated[here] = channel.saturated(raw.low[k]) | channel.saturated(raw.high[k])
    return ForceGrid(mean, low, high, saturated)


def length_grid(cells: Cells, channel: Channel, grid: Ints) -> LengthGrid:
    """Position at the borders of grid cells; where readings are too far apart the last one holds."""
    return LengthGrid(*(_held(cells, g, gap_s(channel)) for g in (grid, grid + 1)))


def unjumped(
    cells: Cells, previous: tuple[float, float] | None, shift: float
) -> tuple[Cells, float, int]:
    """Positions with restarts of the counter taken out.

    previous: time and position (as returned) of the last reading before, None at the beginning;
    shift: what has been added so far (from the first reading on the counter counts from 0).  Returns the cells, the new shift, how many restarts.
    """
    if not len(cells):
        return cells, shift, 0
    if previous is None:
        shift = -float(cells.first[0])  # a counter counts from its first reading
    inside = cells.last - cells.first
    inside = np.where(np.abs(inside) > JUMP_M + JUMP_M_S / RATE, -inside, 0.0)
    t0 = cells.first_s[0] if previous is None else previous[0]
    x0 = cells.first[0] + shift if previous is None else previous[1]
    step = np.diff(cells.first, prepend=np.nan)
    step[1:] = cells.first[1:] - cells.last[:-1]
    step[0] = cells.first[0] + shift - x0
    dt = cells.first_s - np.concatenate(([t0], cells.last_s[:-1]))
    between = np.where(np.abs(step) > JUMP_M + JUMP_M_S * np.minimum(dt, 1.0), -step, 0.0)
    if not (inside.any() or between.any()):
        return _shifted(cells, np.full(len(cells), shift), shift), shift, 0
    both = np.empty(2 * len(cells) + 1)
    both[0], both[1::2], both[2::2] = shift, between, inside
    total = np.cumsum(both)
    count = int(np.count_nonzero(inside) + np.count_nonzero(between))
    return _shifted(cells, total[1::2], total[2::2]), float(total[-1]), count


def _shifted(cells: Cells, first: Floats, last: Floats | float) -> Cells:
    return Cells(
        cells.cell, cells.count, cells.first_s, cells.last_s, cells.first + first,
        cells.last + last, cells.inner, cells.low, cells.high,
    )  # fmt: skip


def _border(cells: Cells, border: Ints, gap: float) -> tuple[Floats, Bools]:
    """Value at these borders between a reading before and one at or after, and whether known."""
    if len(cells) < 2:
        return np.full(len(border), np.nan), np.zeros(len(border), bool)
    at = np.searchsorted(cells.cell, border, "left")
    k = np.clip(at, 1, len(cells) - 1)
    t0, t1 = cells.last_s[k - 1], cells.first_s[k]
    known = (at > 0) & (at < len(cells)) & (t1 - t0 <= gap)
    y0, y1 = cells.last[k - 1], cells.first[k]
    value = y0 + (y1 - y0) * ((border / RATE - t0) / (t1 - t0))
    return np.where(known, value, np.nan), known


def _held(cells: Cells, border: Ints, gap: float) -> Floats:
    if not len(cells):
        return np.full(len(border), np.nan)
    value, known = _border(cells, border, gap)
    at = np.searchsorted(cells.cell, border, "left")
    hold = np.where(at > 0, cells.last[np.maximum(at - 1, 0)], cells.first[0])
    return np.where(known, value, hold)
