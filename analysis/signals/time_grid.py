"""Brings the cells of all channels onto one time grid, in SI, interpolated between readings."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.signals.time_cells import RATE, Bools, Cells, Floats, Ints
from logger.channels.channel import Channel
from logger.device_units import to_si

# longest time between readings over which values are interpolated, whatever stale_after_s says;
# chosen by us: a haul may stop and start within more
LONGEST_GAP_S = 10.0
# longest silence of a counter that its counts bridge by a straight line; chosen by us: a plug that is touched or
# a radio that is covered loses 1.5 to 3 s (common practice, no source), and a stroke takes longer
BRIDGED_S = 5.0
# a counter that moves further, or faster, has restarted; chosen by us: far above rope through hands, about
# 0.5 m/s (common practice, no source)
JUMP_M, JUMP_M_S = 0.5, 10.0
_ONE = np.zeros(1, np.int64)


@dataclass(frozen=True)
class ForceGrid:
    """Force in each cell of the grid."""

    mean: Floats  # (n,) mean over time, N; NaN where not measured
    high: Floats  # (n,) largest reading, N
    saturated: Bools  # (n,) whether a reading was beyond the capacity


@dataclass(frozen=True)
class LengthGrid:
    """Position of a counter on the grid."""

    border: Floats  # (n + 1,) position at the borders of the cells, m
    measured: Bools  # (n,) whether readings near enough in time give the travel in each cell


@dataclass(frozen=True)
class Grid:
    """Whole seconds of consecutive cells, all channels."""

    first: int  # index of the first cell
    n: int  # number of cells
    force: dict[str, ForceGrid]  # by name of the channel
    length: dict[str, LengthGrid]  # by name of the channel


def gap_s(channel: Channel) -> float:
    """The longest time between readings of this channel over which values are interpolated, s."""
    return min(max(channel.stale_after_s, 0.25), LONGEST_GAP_S)


def wait_s(channel: Channel) -> float:
    """How long a later reading of this channel may still change the cells before it, s."""
    return gap_s(channel) if channel.quantity == "force" else max(gap_s(channel), BRIDGED_S)


def is_si(channel: Channel, zero: float | None = None) -> bool:
    """Whether readings are N or m already, bit for bit.  zero: reading in use as zero, None: the file's."""
    if channel.calibration is not None or (channel.zero if zero is None else zero) != 0.0:
        return False
    return to_si(channel.unit) * channel.scale == 1.0


def in_si(cells: Cells, channel: Channel, zeros: list[tuple[float, float]]) -> Cells:
    """Convert cells from the channel's unit to N or m.

    zeros: (time s from which it holds, reading with nothing on the cell), in order of time.  A mean goes
    through the calibration curve like a single reading: over 1/32 s the curve is straight enough.
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
    """Convert `first` and `last` of a counter's cells to m by the sensors file; the rest stays raw."""
    if is_si(channel):
        return cells
    return replace(cells, first=channel.si(cells.first), last=channel.si(cells.last))


def highest_in_si(cells: Cells, channel: Channel, zeros: list[tuple[float, float]]) -> Floats:
    """The largest reading of each cell in N or m, (n,); zeros: as for `in_si`."""
    if zeros:
        cells = in_si(cells, channel, zeros)
        return np.maximum(cells.low, cells.high)  # a counter's low and high are in no order
    if is_si(channel):
        return np.maximum(cells.low, cells.high)
    high: Floats = np.maximum(channel.si(cells.low), channel.si(cells.high))
    return high


def force_grid(cells: Cells, raw: Cells, channel: Channel, first: int, n: int) -> ForceGrid:
    """The force in each of n cells from index `first` on.

    The mean is the trapezoid rule with interpolation across the borders of the cells.  cells: in N, with
    one cell before the grid and one after it where there are; raw: the same cells as read.
    """
    at = _before(cells, first, n)
    border, known_border, _ = _border(cells, first, at, gap_s(channel))
    start, end = border[:-1], border[1:]
    saturated = np.zeros(n, bool)
    k0, k1 = int(at[0]), int(at[-1])
    k = slice(k0, k1)
    full = k1 - k0 == n
    here = slice(None) if full else cells.cell[k] - first
    y0, y1 = start[here], end[here]
    if known_border.all():
        begin = cells.cell[k] / RATE
        before, after = cells.first_s[k] - begin, begin
        after += 1 / RATE
        after -= cells.last_s[k]
        total, tail = y0 + cells.first[k], y1 + cells.last[k]
        before /= 2
        total *= before
        total += cells.inner[k]
        after /= 2
        tail *= after
        total += tail
        time = before
        time += after
        time *= 2
        time += cells.last_s[k] - cells.first_s[k]
    else:
        total, time = _partly(
            cells.between(k0, k1), known_border[:-1][here], known_border[1:][here], y0, y1
        )
    if n and k1 > k0 and time.min() > 0:
        total /= time
    else:
        total = np.where(time > 0, total / np.where(time > 0, time, 1.0), cells.first[k])
    if full:
        mean, high = total, cells.high[k]
    else:
        mean, high = (start + end) / 2, np.fmax(start, end)  # NaN where a border has no value
        mean[here], high[here] = total, cells.high[k]
    if channel.capacity is not None:
        saturated[here] = channel.saturated(raw.low[k]) | channel.saturated(raw.high[k])
    return ForceGrid(mean, high, saturated)


def _partly(
    cells: Cells, left: Bools, right: Bools, start: Floats, end: Floats
) -> tuple[Floats, Floats]:
    """Integral (unit x s) and time (s) of cells, (n,) each, where some borders have no value.

    left, right: whether the border before and after each cell has a value; start, end: these values.
    """
    before = np.where(left, cells.first_s - cells.cell / RATE, 0.0)
    after = np.where(right, (cells.cell + 1) / RATE - cells.last_s, 0.0)
    total = cells.inner + np.where(left, start + cells.first, 0.0) / 2 * before
    total += np.where(right, end + cells.last, 0.0) / 2 * after
    return total, before + after + (cells.last_s - cells.first_s)


def length_grid(cells: Cells, channel: Channel, first: int, n: int) -> LengthGrid:
    """Position at the borders of n cells, m, from index `first` on.

    Across a gap the position runs straight, and the cells count as not measured; across a silence longer
    than `wait_s`, and behind the last reading, the last one holds.
    """
    if not len(cells):
        return LengthGrid(np.full(n + 1, np.nan), np.zeros(n, bool))
    at = _before(cells, first, n)
    value, interpolated, span = _border(cells, first, at, wait_s(channel))
    if span.max() <= gap_s(channel):
        return LengthGrid(value, np.ones(n, bool))
    if not interpolated.all():
        hold = np.where(at > 0, cells.last[np.maximum(at - 1, 0)], cells.first[0])
        value = np.where(interpolated, value, hold)
    # held exactly from the last reading on, and before the first one
    bridged, held = interpolated & (span > gap_s(channel)), ~interpolated & (at > 0)
    unsure = bridged[1:] | bridged[:-1] | held[:-1] | (held[1:] & (at[1:] == at[:-1]))
    return LengthGrid(value, ~unsure)


def unjumped(cells: Cells, shift: float | None, old: int, split: int) -> tuple[Cells, Floats, int]:
    """Remove the jumps of a counter that restarts.

    shift: m to add to the first reading here; None at the beginning of a session, where the position
    becomes 0.  Returns the cells, the m added to the first reading of each, (n,), and the number of
    restarts in cells old..split.
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
    """Number of cells before each of the n + 1 borders from index `first` on, (n + 1,)."""
    k0, k1 = np.searchsorted(cells.cell, (first, first + n), "left").tolist()
    if k1 - k0 == n:
        return np.arange(k0, k1 + 1)
    marks = np.zeros(n + 1, np.int64)
    marks[0] = k0
    marks[cells.cell[k0:k1] - (first - 1)] = 1
    return np.cumsum(marks)


def _border(cells: Cells, first: int, at: Ints, gap: float) -> tuple[Floats, Bools, Floats]:
    """Interpolated value at the borders from index `first` on, whether there is one, and the time between the
    readings beside it, s, (k,) each.

    at: number of cells before each border, (k,); gap: longest time between the readings, s.
    """
    n = len(at)
    if len(cells) < 2:
        return np.full(n, np.nan), np.zeros(n, bool), np.full(n, np.inf)
    k0, k1 = int(at[0]), int(at[-1])
    inside = k0 > 0 and k1 < len(cells)
    if k1 - k0 == n - 1 and inside:  # a reading in every cell: slices do
        before, after = slice(k0 - 1, k1), slice(k0, k1 + 1)
        t0, t1 = cells.last_s[before], cells.first_s[after]
        y0, y1 = cells.last[before], cells.first[after]
        span = t1 - t0
        near = span <= gap
    else:
        k = np.clip(at, 1, len(cells) - 1)
        t0, t1 = cells.last_s[k - 1], cells.first_s[k]
        y0, y1 = cells.last[k - 1], cells.first[k]
        span = t1 - t0
        span[(at == 0) | (at == len(cells))] = np.inf
        near = span <= gap
    share = np.arange(first, first + n, dtype=np.float64)
    share /= RATE
    share -= t0
    share /= span
    value = y1 - y0
    value *= share
    value += y0
    if not near.all():
        value = np.where(near, value, np.nan)
    return value, near, span
