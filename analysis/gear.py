"""What each marked item of gear went through: in one session, and over many.

An item is what the crew marked (`item = "P-07"` in the rig file), whatever part it plays in a rig.
Its force is inferred from the haul cell with the frictionless gain, as a review's peaks are: at
least this much was carried while hauling.  A force while the load hangs on a capture is not seen.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from analysis.cells import Floats
from analysis.predict import Part, whole_per_reading
from analysis.review import OfRig
from analysis.series import in_si
from analysis.whole import Whole
from logger.sensors import Channel

AGAIN_BELOW = 0.9  # of a level: until the force falls below, it is the same time above
HALF = 0.5


@dataclass(frozen=True)
class ItemUse:
    """One item in one session.

    peak_N: at least, inferred; limit_N: what it is allowed in that rig, None where unrated; half,
    full: how often the force rose above half the limit, and above it, None where unrated; run_m:
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


def _items_of(whole: Whole, own: OfRig, begin_s: float, end_s: float) -> list[ItemUse]:
    parts: dict[str, Part] = {}
    for part, piece in zip(own.known.parts, own.known.pieces, strict=True):
        # a rope is as loaded as its most used strand
        name = piece.rope if part.kind == "strand" else part.name
        if name not in parts or _heavier(part, parts[name]):
            parts[name] = part
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
        item,
        tuple(sorted({f"{u['kind']}" for u in uses})),
        len({session for session, _, _ in rows}),
        starts[0],
        starts[-1],
        None if peak is None else peak[2]["peak_N"],
        "" if peak is None else peak[0],
        min(limits, default=None),
        _sum(uses, "half"),
        _sum(uses, "full"),
        _sum(uses, "run_m"),
        sum(loaded.values()) / 3600.0 if loaded else None,
    )


def _sum(uses: list[Mapping[str, Any]], key: str) -> Any:
    known = [u[key] for u in uses if u[key] is not None]
    return sum(known) if known else None


def _heavier(one: Part, other: Part) -> bool:
    def weight(part: Part) -> float:
        return abs(part.ideal) / (part.limit_N or 1.0)

    return weight(one) > weight(other)


class _Span:
    """The readings of a session while one of its rigs stood."""

    def __init__(self, whole: Whole, own: OfRig, begin_s: float, end_s: float) -> None:
        self.whole, self.own, self.begin_s, self.end_s = whole, own, begin_s, end_s
        self.haul_cell = whole.result.roles.haul_force
        self.haul = None if self.haul_cell is None else self.force(self.haul_cell)

    def force(self, cell: Channel) -> tuple[Floats, Floats]:
        """time_s and force, N, of finite readings."""
        time_s, force = in_si(self.whole.block, cell)
        good = np.isfinite(force) & (time_s >= self.begin_s) & (time_s < self.end_s)
        return time_s[good], force[good]


def _use(span: _Span, name: str, item: str, part: Part) -> ItemUse:
    carried = np.empty(0)
    if span.haul is not None:
        carried = abs(part.ideal) * np.maximum(span.haul[1], 0.0)
    for cell in span.whole.result.roles.forces:
        if cell.at == part.name and cell is not span.haul_cell:
            own, share = span.force(cell)[1], whole_per_reading(span.own.known, part.name)
            if len(own) and (share is not None or not len(carried)):
                carried = own * (share or 1.0)
    limit = part.limit_N
    rated = limit is not None and limit > 0 and len(carried) > 0
    return ItemUse(
        item,
        name,
        "rope" if part.kind == "strand" else part.kind,
        float(np.max(carried)) if len(carried) else None,
        limit,
        times_above(carried, HALF * limit) if rated and limit else None,
        times_above(carried, limit) if rated and limit else None,
        _run_m(span, name),
        _loaded_s(span),
    )


def _run_m(span: _Span, name: str) -> float | None:
    """Rope over a turn in all strokes: its flow / the haul's, times rope at the haul."""
    own = span.own
    turns = {own.rig.stations[s].name: s for s in own.rig.turns}
    if name not in turns or own.result.roles.progress is None:
        return None
    share = abs(float(own.known.motion.flow[turns[name]])) / abs(own.known.motion.haul_rate)
    return share * sum(abs(s.haul_travel_m) for s in own.result.strokes)


def _loaded_s(span: _Span) -> float | None:
    """Time between readings that show tension; gaps do not count."""
    if span.haul is None or span.haul_cell is None or not len(span.haul[0]):
        return None
    time_s, force = span.haul
    step = np.diff(time_s)
    on = (force[:-1] > span.whole.result.floor_N) & (step <= span.haul_cell.stale_after_s)
    return float(np.sum(step[on]))
