"""Puts the cells of all channels onto one grid of whole seconds, and arranges them by role."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from analysis.signals.channel_feed import Feed
from analysis.signals.channel_roles import Roles
from analysis.signals.spikes import without_spikes
from analysis.signals.time_cells import RATE, Bools, Cells, Floats, Ints
from analysis.signals.time_grid import (
    Grid,
    ends_in_si,
    force_grid,
    highest_in_si,
    in_si,
    length_grid,
    unjumped,
)
from analysis.strokes.steady_part import MOST_SHIFT


@dataclass(frozen=True)
class CellTrack:
    """n cells of whole seconds, arranged for the segmentation.

    first: index of the first cell.
    forces: (f, n) mean of each force channel, N, the haul cell first; NaN where not measured.
    high: (n,) highest force of the haul cell, N.
    saturated: (n,) whether any force channel was beyond its capacity.
    rope: (n + 1,) rope at the haul at the borders of the cells, m; None where it is not counted.
    load: (n + 1,) position of the load likewise, m.
    gap: (n,) whether one of these counters was silent in the cell: its travel is then a straight line between
        readings, and no mean may rest on it.
    around: (MOST_SHIFT,) haul force of the cells that follow, N; in a track that the segmentation
        sums up, (n + 2 MOST_SHIFT,): MOST_SHIFT cells before, all its cells, MOST_SHIFT after.
    """

    first: int
    forces: Floats
    high: Floats
    saturated: Bools
    rope: Floats | None
    load: Floats | None
    gap: Bools
    around: Floats


def take_grid(feeds: Iterable[Feed], begin: int, until: int) -> Grid:
    """Take seconds begin..until from all feeds; update their highest values and exceeded levels."""
    grid = Grid(begin * RATE, (until - begin) * RATE, {}, {})
    for feed in feeds:
        ready, old, split = feed.take(until * RATE)
        put = _put_force if feed.channel.quantity == "force" else _put_length
        high = put(grid, feed, ready, old, split)
        if split > old:
            _judge(feed, ready.cell[old:split], high)
    return grid


def _put_force(grid: Grid, feed: Feed, ready: Cells, old: int, split: int) -> Floats:
    """Put a force channel onto the grid; return the highest force of cells old..split, N, (new,)."""
    before = grid.first + grid.n
    further = split + int(np.searchsorted(ready.cell[split:], before + MOST_SHIFT))
    raw = ready.between(0, further + 3)
    cells = in_si(raw, feed.channel, feed.zeros)
    cells = without_spikes(cells, max(old - 1, 0), further + 1, feed.spike)
    cells = cells.between(0, further + 1)
    grid.force[feed.channel.name] = force_grid(
        cells, raw, feed.channel, grid.first, grid.n + MOST_SHIFT
    )
    return cells.high[old:split]


def _put_length(grid: Grid, feed: Feed, ready: Cells, old: int, split: int) -> Floats:
    """Put a counter onto the grid; return the highest reading of cells old..split, m, (new,).

    Only differences of a counter count, so a zero that is set meanwhile must not move the rope.
    """
    raw = ready.between(0, split + 1)
    cells, shifts, restarts = unjumped(ends_in_si(raw, feed.channel), feed.shift, old, split)
    feed.restarts += restarts
    feed.shift = float(shifts[split - feed.taken]) if len(shifts) else None
    feed.see_steps(cells, old, split)
    grid.length[feed.channel.name] = length_grid(cells, feed.channel, grid.first, grid.n)
    return highest_in_si(raw.between(old, split), feed.channel, feed.zeros)


def _judge(feed: Feed, cell: Ints, high: Floats) -> None:
    """Update the highest value and the exceeded levels of a feed from new cells, (n,) each, SI."""
    k = int(np.argmax(high))
    top = float(high[k])
    if top > feed.highest:
        feed.highest, feed.highest_cell = top, int(cell[k])
    if top > feed.rig_highest:
        feed.rig_highest, feed.rig_highest_cell = top, int(cell[k])
    for watch in feed.level_watches:
        if watch.active and top > watch.threshold:
            watch.intervals.push(cell, high > watch.threshold, high)


def track_of(grid: Grid, roles: Roles) -> CellTrack:
    """Arrange a grid by the roles of its channels; roles.haul_force must not be None."""
    forces, n = [grid.force[c.name] for c in roles.forces], grid.n
    saturated = forces[0].saturated[:n]
    for force in forces[1:]:
        saturated = saturated | force.saturated[:n]
    rope = load = None
    gap = np.zeros(n, bool)
    if roles.progress is not None:
        length = grid.length[roles.progress.name]
        rope, gap = _filled(length.border) * roles.progress_gain, ~length.measured
    if roles.load_length is not None:
        length = grid.length[roles.load_length.name]
        load, gap = _filled(length.border), gap | ~length.measured
    return CellTrack(
        first=grid.first,
        forces=np.array([f.mean[:n] for f in forces]),
        high=forces[0].high[:n],
        saturated=saturated,
        rope=rope,
        load=load,
        gap=gap,
        around=forces[0].mean[n:],
    )


def _filled(position: Floats) -> Floats:
    """Replace NaN, before a counter's first reading, by position 0."""
    unknown = np.isnan(position)
    return np.where(unknown, 0.0, position) if unknown.any() else position
