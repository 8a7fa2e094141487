"""Converts a session's readings to SI arrays, with the zeros in use, for plots, tables and counts."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from analysis.signals.counter_modulus import CounterTurns
from analysis.signals.time_cells import Floats, Ints
from analysis.signals.time_grid import JUMP_M, JUMP_M_S
from analysis.strokes.result import Result
from analysis.strokes.rig_changes import RigSpan, in_order
from logger.channels.channel import Channel
from logger.session.records import Block, Event


def zeros(events: Iterable[Event], channel: str) -> list[tuple[float, float]]:
    """(time s from which it is in use, zero reading) of a channel; an undo carries the earlier zero."""
    return [
        (event.time_s, event.value)
        for event in events
        if event.kind in ("zero", "undo") and event.channel == channel and event.value is not None
    ]


def in_si(block: Block, channel: Channel) -> tuple[Floats, Floats]:
    """Times, s, and values, N or m, of a channel, (n,) each; empty where there is no reading."""
    rows = block.readings.get(channel.name)
    if rows is None or not len(rows.time_s):
        return np.empty(0), np.empty(0)
    zero = np.full(len(rows.time_s), channel.zero)
    for time_s, value in zeros(block.events, channel.name):
        zero[rows.time_s >= time_s] = value
    reading = CounterTurns(channel).followed(rows.time_s, rows.reading)
    return rows.time_s, channel.si(reading - zero, 0.0)


def haul_gains(rigs: Sequence[RigSpan]) -> tuple[tuple[float, float], ...]:
    """(time s, rope at the haul / travel of the counter) of each rig, in order of time."""
    each = (rigs[k] for k in in_order(rigs))
    return tuple(
        (float(math.ceil(r.time_s)) if math.isfinite(r.time_s) else r.time_s, r.roles.progress_gain)
        for r in each
    )


def rope_at_haul(block: Block, result: Result) -> tuple[Floats, Floats]:
    """Times, s, and rope hauled since the first reading, m, (n,) each; empty without a counter.

    Computed from roles.progress, by the gain of the rig in use; jumps of a counter that restarted are left out.
    """
    roles = result.roles
    if roles.progress is None:
        return np.empty(0), np.empty(0)
    time_s, _ = in_si(block, roles.progress)
    if not len(time_s):
        return time_s, time_s
    # only differences count, so a zero that is set meanwhile must not move the rope
    rows = block.readings[roles.progress.name]
    metres = roles.progress.si(CounterTurns(roles.progress).followed(rows.time_s, rows.reading))
    step = np.diff(metres)
    limit = JUMP_M + JUMP_M_S * np.minimum(np.diff(time_s), 1.0)
    step = np.where(np.abs(step) > limit, 0.0, step)
    gain = np.full(len(step), roles.progress_gain)
    for from_s, of_rig in haul_gains(result.rigs):
        gain[time_s[1:] > from_s] = of_rig
    return time_s, np.concatenate(([0.0], np.cumsum(step * gain)))


def thinned(time_s: Floats, value: Floats, columns: int) -> Ints:
    """Indices, in order, of the lowest and highest value in each of `columns` equal spans of time.

    time_s, value: (n,).  At most 2 * columns + 2 indices; all where n is smaller.  No peak is left out.
    """
    n = len(time_s)
    if n <= 2 * columns:
        return np.arange(n)
    span = float(time_s[-1] - time_s[0]) or 1.0
    column = np.minimum(((time_s - time_s[0]) / span * columns).astype(np.int64), columns - 1)
    order = np.lexsort((value, column))
    first = np.flatnonzero(np.diff(column[order], prepend=-1))
    last = np.append(first[1:], n) - 1
    return np.unique(np.concatenate((order[first], order[last], [0, n - 1])))
