"""Cells of all channels side by side over whole seconds: from feeds onto the grid, then as a track."""

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
    """n cells of whole seconds, as the segmentation sees them."""

    first: int  # cell at which it begins
    forces: Floats  # (f, n) mean of each force channel, N, the haul cell first; NaN: unknown
    high: Floats  # (n,) highest force of the haul cell, N
    saturated: Bools  # (n,) whether any force channel was beyond its capacity
    rope: Floats | None  # (n + 1,) rope at the haul at the cells' borders, m; None: not counted
    load: Floats | None  # (n + 1,) position of the load likewise
    # haul force of MOST_SHIFT more cells behind the others; where the segmentation sums a track,
    # of all its cells with as many in front too, (n + 2 MOST_SHIFT,)
    around: Floats


def take_grid(feeds: Iterable[Feed], begin: int, until: int) -> Grid:
    """Seconds begin..until of all feeds; highest values and limits passed are kept in the feeds."""
    grid = Grid(begin * RATE, (until - begin) * RATE, {}, {})
    for feed in feeds:
        ready, old, split = feed.take(until * RATE)
        put = _put_force if feed.channel.quantity == "force" else _put_length
        high = put(grid, feed, ready, old, split)
        if split > old:
            _judge(feed, ready.cell[old:split], high)
    return grid


def _put_force(grid: Grid, feed: Feed, ready: Cells, old: int, split: int) -> Floats:
    """Force onto the grid; highest force of the new cells old..split of the ready ones, N."""
    before = grid.first + grid.n
    further = split + int(np.searchsorted(ready.cell[split:], before + MOST_SHIFT))
    raw = ready.part(0, further + 3)
    cells = in_si(raw, feed.channel, feed.zeros)
    cells = without_spikes(cells, max(old - 1, 0), further + 1, feed.spike)
    cells = cells.part(0, further + 1)
    grid.force[feed.channel.name] = force_grid(
        cells, raw, feed.channel, grid.first, grid.n + MOST_SHIFT
    )
    return cells.high[old:split]


def _put_length(grid: Grid, feed: Feed, ready: Cells, old: int, split: int) -> Floats:
    """Length onto the grid likewise, m; only differences of it count, so a zero in between must not
    move the rope."""
    raw = ready.part(0, split + 1)
    cells, shifts, restarts = unjumped(ends_in_si(raw, feed.channel), feed.shift, old, split)
    feed.restarts += restarts
    feed.shift = float(shifts[split - feed.taken]) if len(shifts) else None
    grid.length[feed.channel.name] = length_grid(cells, feed.channel, grid.first, grid.n)
    return highest_in_si(raw.part(old, split), feed.channel, feed.zeros)


def _judge(feed: Feed, cell: Ints, high: Floats) -> None:
    """Highest value and limits passed, from new cells (n,)."""
    k = int(np.argmax(high))
    top = float(high[k])
    if top > feed.highest:
        feed.highest, feed.highest_cell = top, int(cell[k])
    for limit in feed.limits:
        if limit.holds and top > limit.level:
            limit.runs.push(cell, high > limit.level, high)


def track_of(grid: Grid, roles: Roles) -> CellTrack:
    """The grid by what each channel measures; there is a haul cell."""
    forces, n = [grid.force[c.name] for c in roles.forces], grid.n
    saturated = forces[0].saturated[:n]
    for force in forces[1:]:
        saturated = saturated | force.saturated[:n]
    rope = load = None
    if roles.progress is not None:
        rope = _filled(grid.length[roles.progress.name].border) * roles.progress_gain
    if roles.load_length is not None:
        load = _filled(grid.length[roles.load_length.name].border)
    return CellTrack(
        first=grid.first,
        forces=np.array([f.mean[:n] for f in forces]),
        high=forces[0].high[:n],
        saturated=saturated,
        rope=rope,
        load=load,
        around=forces[0].mean[n:],
    )


def _filled(position: Floats) -> Floats:
    """A counter that has not spoken yet stands where it stood."""
    unknown = np.isnan(position)
    return np.where(unknown, 0.0, position) if unknown.any() else position
