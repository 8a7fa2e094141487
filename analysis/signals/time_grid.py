"""Cells of all channels brought onto one grid of time, in SI, straight lines between readings."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.signals.time_cells import RATE, Bools, Cells, Floats, Ints
from logger.channels.channel import Channel
from logger.device_units import to_si

# the longest time between readings over which a straight line is taken, whatever stale_after_s says;
# chosen by us: a haul may stop and start within more
LONGEST_GAP_S = 10.0
# a counter that moves further than this has restarted; chosen by us: far above rope through hands, some
# 0.5 m/s (common practice, no source)
JUMP_M, JUMP_M_S = 0.5, 10.0
_ONE = np.zeros(1, np.int64)


@dataclass(frozen=True)
class ForceGrid:
    """Force in each grid cell, (n,) each: mean over time (NaN: not known), largest reading,
    whether a reading was beyond the capacity."""

    mean: Floats
    high: Floats
    saturated: Bools


@dataclass(frozen=True)
class LengthGrid:
    """Position at the borders of the grid cells, (n + 1,)."""

    border: Floats


@dataclass(frozen=True)
class Grid:
    """n cells from `first` on without a hole, whole seconds of them."""

    first: int
    n: int
    force: dict[str, ForceGrid]
    length: dict[str, LengthGrid]


def gap_s(channel: Channel) -> float:
    """The longest time between readings over which a straight line is taken."""
    return min(max(channel.stale_after_s, 0.25), LONGEST_GAP_S)


def is_si(channel: Channel, zero: float | None = None) -> bool:
    """Whether readings are in N or m as they come, bit for bit."""
    if channel.calibration is not None or (channel.zero if zero is None else zero) != 0.0:
        return False
    return to_si(channel.unit) * channel.scale == 1.0


def in_si(cells: Cells, channel: Channel, zeros: list[tuple[float, float]]) -> Cells:
    """The same cells in SI; zeros: (from this time on, reading of nothing), in order of time.

    Means go through the curve of a calibration as one reading would: within 1/32 s it is straight.
    """
    if not len(cells):
        return cells
    span = cells.last_s - cells.first_s
    mean = cells.inner / span  # not used where there is no span
    if not np.isfinite(mean).all():
        mean = np.where(span > 0, mean, cells.first)
    parts = (cells.first, cells.last, mean, cells.low, cells.high)
    which = (
        np.searchsorted(np.array([t for t, _ in zeros]), cells.first_s, "right") if zeros else _ONE
    )
    if which[0] == which[-1]:
        zero = zeros[which[0] - 1][1] if which[0] else None
        first, last, mean, a, b = (
            parts if is_si(channel, zero) else (channel.si(x, zero) for x in parts)
        )
    else:
        values = [channel.zero, *(z for _, z in zeros)]
        rows = [np.empty(len(cells)) for _ in parts]
        for k in np.unique(which):
            here = which == k
            for row, x in zip(rows, parts, strict=True):
                row[here] = channel.si(x[here], float(values[int(k)]))
        first, last, mean, a, b = rows
    mean *= span
    if channel.calibration is not None or not channel.scale > 0:  # else in order already
        a, b = np.minimum(a, b), np.maximum(a, b)
    return replace(cells, first=first, last=last, inner=mean, low=a, high=b)


def ends_in_si(cells: Cells, channel: Channel) -> Cells:
    """Cells of a counter with first and last in m from the zero of the sensors file; the rest raw."""
    if is_si(channel):
        return cells
    return replace(cells, first=channel.si(cells.first), last=channel.si(cells.last))


def highest_in_si(cells: Cells, channel: Channel, zeros: list[tuple[float, float]]) -> Floats:
    """The largest reading of each cell in SI."""
    if zeros:
        cells = in_si(cells, channel, zeros)
        return np.maximum(cells.low, cells.high)  # of a counter in no order
    if is_si(channel):
        return np.maximum(cells.low, cells.high)
    high: Floats = np.maximum(channel.si(cells.low), channel.si(cells.high))
    return high


def force_grid(cells: Cells, raw: Cells, channel: Channel, first: int, n: int) -> ForceGrid:
    """Mean force over each of n cells from `first`: the trapezoid rule with straight lines across
    cell borders.

    cells in SI, raw the same as read, with one cell before the grid and one after where there are.
    """
    at = _before(cells, first, n)
    border, known = _border(cells, first, at, gap_s(channel))
    start, end = border[:-1], border[1:]
    saturated = np.zeros(n, bool)
    k0, k1 = int(at[0]), int(at[-1])
    k = slice(k0, k1)
    full = k1 - k0 == n
    here = slice(None) if full else cells.cell[k] - first
    y0, y1 = start[here], end[here]
    if known.all():
        begin = cells.cell[k] / RATE
        before, after = cells.first_s[k] - begin, begin
        after += 1 / RATE
        after -= cells.last_s[k]
        total, part = y0 + cells.first[k], y1 + cells.last[k]
        before /= 2
        total *= before
        total += cells.inner[k]
        after /= 2
        part *= after
        total += part
        time = before
        time += after
        time *= 2
        time += cells.last_s[k] - cells.first_s[k]
    else:
        total, time = _partly(cells.part(k0, k1), known[:-1][here], known[1:][here], y0, y1)
    if n and k1 > k0 and time.min() > 0:
        total /= time
    else:
        total = np.where(time > 0, total / np.where(time > 0, time, 1.0), cells.first[k])
    if full:
        mean, high = total, cells.high[k]
    else:
        mean, high = (start + end) / 2, np.fmax(start, end)  # NaN where one of them is not known
        mean[here], high[here] = total, cells.high[k]
    if channel.capacity is not None:
        saturated[here] = channel.saturated(raw.low[k]) | channel.saturated(raw.high[k])
    return ForceGrid(mean, high, saturated)


def _partly(
    cells: Cells, left: Bools, right: Bools, start: Floats, end: Floats
) -> tuple[Floats, Floats]:
    """Integral and time of cells whose borders are not all known; left, right: which are."""
    before = np.where(left, cells.first_s - cells.cell / RATE, 0.0)
    after = np.where(right, (cells.cell + 1) / RATE - cells.last_s, 0.0)
    total = cells.inner + np.where(left, start + cells.first, 0.0) / 2 * before
    total += np.where(right, end + cells.last, 0.0) / 2 * after
    return total, before + after + (cells.last_s - cells.first_s)


def length_grid(cells: Cells, channel: Channel, first: int, n: int) -> LengthGrid:
    """Position at the borders of n cells; where readings are too far apart the last one holds."""
    if not len(cells):
        return LengthGrid(np.full(n + 1, np.nan))
    at = _before(cells, first, n)
    value, known = _border(cells, first, at, gap_s(channel))
    if not known.all():
        hold = np.where(at > 0, cells.last[np.maximum(at - 1, 0)], cells.first[0])
        value = np.where(known, value, hold)
    return LengthGrid(value)


def unjumped(cells: Cells, shift: float | None, old: int, split: int) -> tuple[Cells, Floats, int]:
    """Positions with restarts of the counter taken out.

    shift: what is added to the first reading here, None at the beginning, where a counter counts
    from its first reading on.  Returns the cells, what was added to the first reading of each
    (n,), and how many restarts there are in cells old..split.
    """
    if not len(cells):
        return cells, np.empty(0), 0
    shift = -float(cells.first[0]) if shift is None else shift
    inside = cells.last - cells.first
    between = cells.first[1:] - cells.last[:-1]
    most, near = JUMP_M + JUMP_M_S / RATE, JUMP_M
    if not (_beyond(inside, most) or _beyond(between, near)):
        return _shifted(cells, shift, shift), np.full(len(cells), shift), 0
    dt = cells.first_s[1:] - cells.last_s[:-1]
    far = np.abs(between) > near + JUMP_M_S * np.minimum(dt, 1.0)
    added = np.zeros(2 * len(cells) + 1)
    added[0] = shift
    added[3::2] = np.where(far, -between, 0.0)
    added[2::2] = np.where(np.abs(inside) > most, -inside, 0.0)
    total = np.cumsum(added)
    count = int(np.count_nonzero(added[1 + 2 * old : 1 + 2 * split]))
    return _shifted(cells, total[1::2], total[2::2]), total[1::2], count


def _beyond(values: Floats, limit: float) -> bool:
    return len(values) > 0 and bool(values.max() > limit or values.min() < -limit)


def _shifted(cells: Cells, first: Floats | float, last: Floats | float) -> Cells:
    return replace(cells, first=cells.first + first, last=cells.last + last)


def _before(cells: Cells, first: int, n: int) -> Ints:
    """How many cells lie before each of the n + 1 borders from cell `first` on."""
    k0, k1 = np.searchsorted(cells.cell, (first, first + n), "left").tolist()
    if k1 - k0 == n:
        return np.arange(k0, k1 + 1)
    marks = np.zeros(n + 1, np.int64)
    marks[0] = k0
    marks[cells.cell[k0:k1] - (first - 1)] = 1
    return np.cumsum(marks)


def _border(cells: Cells, first: int, at: Ints, gap: float) -> tuple[Floats, Bools]:
    """Value at the borders from cell `first` on, between a reading before and one at or after,
    and whether known; at: how many cells lie before each."""
    n = len(at)
    if len(cells) < 2:
        return np.full(n, np.nan), np.zeros(n, bool)
    k0, k1 = int(at[0]), int(at[-1])
    inside = k0 > 0 and k1 < len(cells)
    if k1 - k0 == n - 1 and inside:  # a reading in every cell: slices do
        before, after = slice(k0 - 1, k1), slice(k0, k1 + 1)
        t0, t1 = cells.last_s[before], cells.first_s[after]
        y0, y1 = cells.last[before], cells.first[after]
        span = t1 - t0
        known = span <= gap
    else:
        k = np.clip(at, 1, len(cells) - 1)
        t0, t1 = cells.last_s[k - 1], cells.first_s[k]
        y0, y1 = cells.last[k - 1], cells.first[k]
        span = t1 - t0
        known = (at > 0) & (at < len(cells)) & (span <= gap)
    share = np.arange(first, first + n, dtype=np.float64)
    share /= RATE
    share -= t0
    share /= span
    value = y1 - y0
    value *= share
    value += y0
    if not known.all():
        value = np.where(known, value, np.nan)
    return value, known
