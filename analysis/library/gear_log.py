"""What each marked item of gear went through: in one session, and over many.

An item is what the crew marked (`item = "P-07"` in the rig file), whatever part it plays in a rig.
Its force is what its own cell read, where a cell measures it; else it is inferred from the haul
cell with the frictionless gain, as a review's peaks are: at most this much was carried while hauling,
as friction only takes off.  What friction alone puts on a capture, and a force while the load is
lowered or hangs on a capture, is not seen.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from analysis.mechanics.measured_parts import cells_of
from analysis.review.review import RigReview
from analysis.review.reviewed_session import Whole
from analysis.review.si_series import in_si
from analysis.signals.time_cells import Floats
from logger.channels.channel import Channel

# of a level: until the force falls below, it is the same time above; chosen by us: a ripple is one time
AGAIN_BELOW = 0.9
HALF = 0.5  # of what is allowed: the lower level that is counted; chosen by us


@dataclass(frozen=True)
class ItemUse:
    """One item in one session.

    peak_N: by its own cell, else at most, inferred; limit_N: what it is allowed in that rig, None
    where unrated; half, full: how often the force rose above half the limit, and above it, None where unrated; run_m:
    rope run over it under tension, None where none runs over it or no counter tells; loaded_s: time
    with tension on the haul, None where there is no haul cell.
    """

    item: str
    name: str
    kind: str
    peak_N: float | None
    limit_N: float | None
    half: int | None
    full: int | None
    run_m: float | None
    loaded_s: float | None


@dataclass(frozen=True)
class ItemRecord:
    """One item over many sessions; since, last: UTC starts of the first and last; names: what it
    was, session by session; limit_N: the lowest that was stated."""

    item: str
    kinds: tuple[str, ...]
    sessions: int
    since: str
    last: str
    peak_N: float | None
    peak_session: str
    limit_N: float | None
    half: int | None
    full: int | None
    run_m: float | None
    loaded_h: float | None


def items_used(whole: Whole) -> tuple[ItemUse, ...]:
    """Every marked item of a session's rig, in the order of the rig file; of each of its rigs where
    it was changed on the way, from when it was built to when the next one was."""
    found: list[ItemUse] = []
    ends = [*(part.from_s for part in whole.parts[1:]), math.inf]
    for part, end_s in zip(whole.parts, ends, strict=True):
        begin_s = part.from_s if len(whole.parts) > 1 else -math.inf
        found += _items_of(whole, part, begin_s, end_s)
    return tuple(found)


def _items_of(whole: Whole, own: RigReview, begin_s: float, end_s: float) -> list[ItemUse]:
    parts: dict[str, list[int]] = {}
    for k, (part, piece) in enumerate(zip(own.rig_model.parts, own.rig_model.pieces, strict=True)):
        name = piece.rope if part.kind == "strand" else part.name
        parts.setdefault(name, []).append(k)
    span = _Span(whole, own, begin_s, end_s)
    return [
        _use(span, name, rating.item, parts[name]) for name, rating in own.rig.ratings.items()
        if rating.item and name in parts
    ]  # fmt: skip


def times_above(force_N: Floats, level_N: float) -> int:
    """How often the force rose above a level, having been below nine tenths of it before."""
    known = force_N[(force_N > level_N) | (force_N < AGAIN_BELOW * level_N)]
    above = known > level_N
    if not len(above):
        return 0
    return int(above[0]) + int(np.count_nonzero(above[1:] & ~above[:-1]))


def totals(rows: Iterable[tuple[str, str, Mapping[str, Any]]]) -> list[ItemRecord]:
    """Records by item.  rows: (session, its start in UTC, an ItemUse as a mapping)."""
    by_item: dict[str, list[tuple[str, str, Mapping[str, Any]]]] = {}
    for row in rows:
        by_item.setdefault(str(row[2]["item"]), []).append(row)
    return [_record(item, by_item[item]) for item in sorted(by_item)]


def as_row(use: ItemUse) -> dict[str, Any]:
    """Plain values."""
    return asdict(use)


def _record(item: str, rows: list[tuple[str, str, Mapping[str, Any]]]) -> ItemRecord:
    uses = [use for _, _, use in rows]
    peak = max(
        (r for r in rows if r[2]["peak_N"] is not None), key=lambda r: r[2]["peak_N"], default=None
    )
    limits = [u["limit_N"] for u in uses if u["limit_N"] is not None]
    starts = sorted(start for _, start, _ in rows)
    # an item that a rig names twice was loaded once
    loaded: dict[str, float] = {}
    for session, _, use in rows:
        if use["loaded_s"] is not None:
            loaded[session] = max(loaded.get(session, 0.0), use["loaded_s"])
    return ItemRecord(
        item=item,
        kinds=tuple(sorted({f"{u['kind']}" for u in uses})),
        sessions=len({session for session, _, _ in rows}),
        since=starts[0],
        last=starts[-1],
        peak_N=None if peak is None else peak[2]["peak_N"],
        peak_session="" if peak is None else peak[0],
        limit_N=min(limits, default=None),
        half=_sum(uses, "half"),
        full=_sum(uses, "full"),
        run_m=_sum(uses, "run_m"),
        loaded_h=sum(loaded.values()) / 3600.0 if loaded else None,
    )


def _sum(uses: list[Mapping[str, Any]], key: str) -> Any:
    known = [u[key] for u in uses if u[key] is not None]
    return sum(known) if known else None


class _Span:
    """The readings of a session while one of its rigs stood."""

    def __init__(self, whole: Whole, own: RigReview, begin_s: float, end_s: float) -> None:
        self.whole, self.own, self.begin_s, self.end_s = whole, own, begin_s, end_s
        self.haul_cell = whole.result.roles.haul_force
        self.haul = None if self.haul_cell is None else self.force(self.haul_cell)
        self.beyond = {e.channel for e in whole.result.derived_events if e.kind == "saturated"}
        self.cells = cells_of(own.rig_model, whole.result.roles.forces)

    def force(self, cell: Channel) -> tuple[Floats, Floats]:
        """time_s and force, N, of finite readings."""
        time_s, force = in_si(self.whole.block, cell)
        good = np.isfinite(force) & (time_s >= self.begin_s) & (time_s < self.end_s)
        return time_s[good], force[good]


def _use(span: _Span, name: str, item: str, strands: list[int]) -> ItemUse:
    """strands: indices of the item's parts; a rope is as loaded as its most used strand."""

    def weight(k: int) -> tuple[float, float]:
        allowed = parts[k].limit_N or 1.0
        return float(np.max(_carried(span, k), initial=0.0)) / allowed, abs(
            parts[k].ideal
        ) / allowed

    parts = span.own.rig_model.parts
    most = max(strands, key=weight)
    part, force = parts[most], _carried(span, most)
    limit = part.limit_N
    rated = limit is not None and limit > 0 and len(force) > 0
    return ItemUse(
        item=item,
        name=name,
        kind="rope" if part.kind == "strand" else part.kind,
        peak_N=float(np.max(force)) if len(force) else None,
        limit_N=limit,
        half=times_above(force, HALF * limit) if rated and limit else None,
        full=times_above(force, limit) if rated and limit else None,
        run_m=_run_m(span, name),
        loaded_s=_loaded_s(span),
    )


def _carried(span: _Span, k: int) -> Floats:
    """Forces on a part, N: what its own cell read, else the most that the haul cell's readings make
    of it.  A cell beyond its capacity, or beside the axis, read less than there was: then whichever
    reaches higher."""
    part, own = span.own.rig_model.parts[k], span.cells.get(k, ())
    told = []
    for cell in span.whole.result.roles.forces:
        if cell is not span.haul_cell and (cell in own or cell.at == part.name):
            told.append(span.force(cell)[1])
    told = [read for read in told if len(read)]
    rules = any(c is not span.haul_cell for c in own) and not any(
        c.name in span.beyond for c in own
    )
    if span.haul is not None and not (told and rules):
        told.append(abs(part.ideal) * np.maximum(span.haul[1], 0.0))
    return max(told, key=lambda force: float(np.max(force, initial=0.0)), default=np.empty(0))


def _run_m(span: _Span, name: str) -> float | None:
    """Rope over a turn in all strokes: its flow / the haul's, times rope at the haul."""
    own = span.own
    turns = {own.rig.stations[s].name: s for s in own.rig.turns}
    if name not in turns or own.result.roles.progress is None:
        return None
    share = abs(float(own.rig_model.motion.flow[turns[name]])) / abs(own.rig_model.motion.haul_rate)
    return share * sum(abs(s.haul_travel_m) for s in own.result.strokes)


def _loaded_s(span: _Span) -> float | None:
    """Time between readings that show tension; gaps do not count."""
    if span.haul is None or span.haul_cell is None or not len(span.haul[0]):
        return None
    time_s, force = span.haul
    step = np.diff(time_s)
    on = (force[:-1] > span.whole.result.floor_N) & (step <= span.haul_cell.stale_after_s)
    return float(np.sum(step[on]))
