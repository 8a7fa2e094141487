"""What each marked item of gear went through: in one session, and over many.

An item is what the crew marked (`item = "P-07"` in the rig file), whatever part it plays in a rig.
Its force is inferred from the haul cell with the frictionless gain, as a review's peaks are: at
least this much was carried while hauling.  A force while the load hangs on a capture is not seen.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from analysis.cells import Floats
from analysis.predict import Part
from analysis.series import in_si
from analysis.whole import Whole

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
    """Every marked item of a session's rig, in the order of the rig file."""
    rig = whole.rig
    parts: dict[str, Part] = {}
    for part, piece in zip(whole.known.parts, whole.known.pieces, strict=True):
        # a rope is as loaded as its most used strand
        name = piece.rope if part.kind == "strand" else part.name
        if name not in parts or _heavier(part, parts[name]):
            parts[name] = part
    force = _haul_force(whole)
    found = []
    for name, rating in rig.ratings.items():
        if rating.item and name in parts:
            found.append(_use(whole, name, rating.item, parts[name], force))
    return tuple(found)


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
    peak = max((r for r in rows if r[2]["peak_N"] is not None), key=lambda r: r[2]["peak_N"], default=None)
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


def _haul_force(whole: Whole) -> tuple[Floats, Floats] | None:
    cell = whole.result.roles.haul_force
    if cell is None:
        return None
    time_s, force = in_si(whole.block, cell)
    good = np.isfinite(force)
    return (time_s[good], force[good]) if good.any() else None


def _use(
    whole: Whole, name: str, item: str, part: Part, haul: tuple[Floats, Floats] | None
) -> ItemUse:
    carried = None if haul is None else abs(part.ideal) * np.maximum(haul[1], 0.0)
    for cell in whole.result.roles.forces:
        if cell.at == part.name and cell is not whole.result.roles.haul_force:
            _, own = in_si(whole.block, cell)
            carried = own[np.isfinite(own)] if len(own) else carried
    some = carried is not None and len(carried) > 0
    limit = part.limit_N
    rated = some and limit is not None and limit > 0
    return ItemUse(
        item,
        name,
        "rope" if part.kind == "strand" else part.kind,
        float(np.max(carried)) if some and carried is not None else None,
        limit,
        times_above(carried, HALF * limit) if rated and carried is not None and limit else None,
        times_above(carried, limit) if rated and carried is not None and limit else None,
        _run_m(whole, name),
        _loaded_s(whole, haul),
    )


def _run_m(whole: Whole, name: str) -> float | None:
    """Rope over a turn in all strokes: its flow / the haul's, times rope at the haul."""
    turns = {whole.rig.stations[s].name: s for s in whole.rig.turns}
    if name not in turns or whole.result.roles.progress is None:
        return None
    share = abs(float(whole.known.motion.flow[turns[name]])) / abs(whole.known.motion.haul_rate)
    return share * sum(abs(s.haul_travel_m) for s in whole.result.strokes)


def _loaded_s(whole: Whole, haul: tuple[Floats, Floats] | None) -> float | None:
    """Time between readings that show tension; gaps do not count."""
    if haul is None:
        return None
    time_s, force = haul
    cell = whole.result.roles.haul_force
    step = np.diff(time_s)
    on = (force[:-1] > whole.result.floor_N) & (step <= (cell.stale_after_s if cell else 1.0))
    return float(np.sum(step[on]))
