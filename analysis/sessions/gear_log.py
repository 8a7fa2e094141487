"""Records the use of each marked item of gear: peak force, times over its limit, rope run, time loaded.

An item is a piece of gear that the crew marked (`item = "P-07"` in the rig file), wherever it is in a rig.
Its peak is that of the review's chapter: what its own cell read, or else the most that it can have carried
while the load was hauled, eased, held or lowered.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from analysis.mechanics.measured_parts import cells_of
from analysis.messages.message import texts
from analysis.review.chapters import Chapter, force_bounds
from analysis.review.peaks import Peak, not_bounded
from analysis.review.reviewed_session import Whole
from analysis.review.si_series import in_si
from analysis.signals.time_cells import Floats
from logger.channels.channel import Channel

# share of a level below which the force must fall before it is counted again; chosen by us: ripple counts once
AGAIN_BELOW = 0.9
# share of the limit: the lower level that is counted; chosen by us, no reason is on record
HALF = 0.5


@dataclass(frozen=True)
class ItemUse:
    """The use of one item of gear in one session."""

    item: str  # the crew's mark
    name: str  # of the part in the rig
    kind: str  # kind of the part
    chapter: int  # index of the session's chapter
    peak_N: float | None  # highest force, by its own cell or else at most; None where not known
    limit_N: float | None  # allowed force in this rig; None where unrated
    half: int | None  # how often the force rose above half the limit; None where not known
    full: int | None  # how often it rose above the limit; None where not known
    run_m: float | None  # rope run over it under tension; None without a counter or a turn
    loaded_s: float | None  # time with tension in the haul strand; None without a haul cell
    why_not: str = ""  # why there is no peak_N though the haul cell read; "" where there is one


@dataclass(frozen=True)
class ItemRecord:
    """The use of one item of gear over many sessions; None where no session has the value."""

    item: str  # the crew's mark
    kinds: tuple[str, ...]  # kinds of part as which it served
    sessions: int  # number of sessions
    since: str  # start of the first session, UTC
    last: str  # start of the last session, UTC
    peak_N: float | None  # highest force; None too where nothing bounds it in one of the sessions
    peak_session: str  # path of the session with the highest force
    peak_chapter: int | None  # number of its chapter there, from 1; None without a force
    limit_N: float | None  # lowest limit that was stated
    half: int | None  # how often the force rose above half the limit
    full: int | None  # how often it rose above the limit
    run_m: float | None  # rope run over it under tension
    loaded_h: float | None  # hours with tension in the haul strand
    why_not: str = ""  # why nothing bounds its force, and in which session; "" where peak_N holds


def items_used(whole: Whole) -> tuple[ItemUse, ...]:
    """The use of every marked item of a session, in the order of the rig file.

    An item has an entry for each chapter whose rig holds it.
    """
    uses: list[ItemUse] = []
    ends_s = [*(c.first_s for c in whole.chapters[1:]), math.inf]
    for chapter, end_s in zip(whole.chapters, ends_s, strict=True):
        uses += _items_of(whole, chapter, end_s)
    return tuple(uses)


def _items_of(whole: Whole, own: Chapter, end_s: float) -> list[ItemUse]:
    """The marked items of one chapter; end_s: first second of the next one."""
    parts: dict[str, list[int]] = {}
    for k, (element, piece) in enumerate(
        zip(own.rig_model.parts, own.rig_model.pieces, strict=True)
    ):
        name = piece.rope if element.kind == "strand" else element.name
        parts.setdefault(name, []).append(k)
    span = _Span(whole, own, end_s)
    return [
        _use(span, name, rating.item, parts[name]) for name, rating in own.rig.ratings.items()
        if rating.item and name in parts
    ]  # fmt: skip


def times_above(force_N: Floats, level_N: float) -> int:
    """How often the force rises above a level; it must fall below nine tenths of it in between.

    force_N: readings in order of time, (n,).
    """
    clear = force_N[(force_N > level_N) | (force_N < AGAIN_BELOW * level_N)]
    above = clear > level_N
    if not len(above):
        return 0
    return int(above[0]) + int(np.count_nonzero(above[1:] & ~above[:-1]))


def totals(rows: Iterable[tuple[str, str, Mapping[str, Any]]]) -> list[ItemRecord]:
    """Combine the uses of each item into records; rows: (session, its start in UTC, ItemUse as a mapping)."""
    by_item: dict[str, list[tuple[str, str, Mapping[str, Any]]]] = {}
    for row in rows:
        by_item.setdefault(str(row[2]["item"]), []).append(row)
    return [_record(item, by_item[item]) for item in sorted(by_item)]


def as_row(use: ItemUse) -> dict[str, Any]:
    """The use as a mapping of plain values, for JSON."""
    return asdict(use)


def _record(item: str, rows: list[tuple[str, str, Mapping[str, Any]]]) -> ItemRecord:
    """Combine the uses of one item; rows: as for `totals`."""
    uses = [use for _, _, use in rows]
    open_ended = next((r for r in rows if r[2]["why_not"]), None)
    peak = None
    if open_ended is None:
        rows_read = (r for r in rows if r[2]["peak_N"] is not None)
        peak = max(rows_read, key=lambda r: r[2]["peak_N"], default=None)
    limits = [u["limit_N"] for u in uses if u["limit_N"] is not None]
    starts = sorted(start for _, start, _ in rows)
    # an item with several entries in one chapter was loaded once
    loaded: dict[tuple[str, int], float] = {}
    for session, _, use in rows:
        if use["loaded_s"] is not None:
            place = session, use["chapter"]
            loaded[place] = max(loaded.get(place, 0.0), use["loaded_s"])
    return ItemRecord(
        item=item,
        kinds=tuple(sorted({f"{u['kind']}" for u in uses})),
        sessions=len({session for session, _, _ in rows}),
        since=starts[0],
        last=starts[-1],
        peak_N=None if peak is None else peak[2]["peak_N"],
        peak_session="" if peak is None else peak[0],
        peak_chapter=None if peak is None else peak[2]["chapter"] + 1,
        limit_N=min(limits, default=None),
        half=_sum(uses, "half"),
        full=_sum(uses, "full"),
        run_m=_sum(uses, "run_m"),
        loaded_h=sum(loaded.values()) / 3600.0 if loaded else None,
        why_not="" if open_ended is None else f"{open_ended[0]}: {open_ended[2]['why_not']}",
    )


def _sum(uses: list[Mapping[str, Any]], key: str) -> Any:
    """Sum of a value over the uses that have it; None where none has."""
    values = [u[key] for u in uses if u[key] is not None]
    return sum(values) if values else None


class _Span:
    """The readings of a session in one chapter.

    own: the chapter.
    haul: times, s, and forces, N, of the haul cell; None without one.
    peaks: by name of the part, its highest force.
    """

    def __init__(self, whole: Whole, own: Chapter, end_s: float) -> None:
        self.whole, self.own, self.begin_s, self.end_s = whole, own, own.first_s, end_s
        self.haul_cell = own.result.roles.haul_force
        self.haul = None if self.haul_cell is None else self.force(self.haul_cell)
        self.peaks = {p.name: p for p in own.peaks}
        self.cells = cells_of(own.rig_model, own.result.roles.forces)
        self.bounds = force_bounds(own.rig_model)

    def force(self, cell: Channel) -> tuple[Floats, Floats]:
        """Times, s, and forces, N, of a cell's finite readings, (n,) each."""
        time_s, force = in_si(self.whole.block, cell)
        good = np.isfinite(force) & (time_s >= self.begin_s) & (time_s < self.end_s)
        return time_s[good], force[good]


def _use(span: _Span, name: str, item: str, strands: list[int]) -> ItemUse:
    """The use of one item; strands: indices of its parts, of which the most loaded one counts for a rope."""

    def weight(k: int) -> tuple[float, float]:
        """Peak force / limit of part k, inf where nothing bounds it; then its frictionless gain / limit."""
        allowed, peak = parts[k].limit_N or 1.0, span.peaks.get(parts[k].name)
        force_N = 0.0 if peak is None else math.inf if peak.at_most_N is None else peak.at_most_N
        return force_N / allowed, abs(parts[k].ideal) / allowed

    parts = span.own.rig_model.parts
    most = max(strands, key=weight)
    element, peak = parts[most], span.peaks.get(parts[most].name)
    limit = element.limit_N
    rated = peak is not None and limit is not None and limit > 0
    why_not = "" if peak is None else _why_not(span, peak)
    return ItemUse(
        item=item,
        name=name,
        kind="rope" if element.kind == "strand" else element.kind,
        chapter=span.own.number,
        peak_N=None if peak is None else peak.at_most_N,
        limit_N=limit,
        half=_times(span, most, peak, HALF * limit) if rated and peak and limit else None,
        full=_times(span, most, peak, limit) if rated and peak and limit else None,
        run_m=_run_m(span, name),
        loaded_s=_loaded_s(span),
        why_not=why_not,
    )


def _why_not(span: _Span, peak: Peak) -> str:
    """Why nothing bounds the force on a part; "" where something does."""
    return " ".join(texts(not_bounded([peak], span.own.result)))


def _times(span: _Span, k: int, peak: Peak, level_N: float) -> int | None:
    """How often the force on part k rose above a level: by the readings, or at rest after a stroke.

    Readings above the peak are spikes of one cell of time, which the review leaves out.  None where nothing bounds
    the force and no reading shows that it rose so high.
    """
    times = _times_shown(span, k, peak, level_N)
    return None if times == 0 and peak.at_most_N is None else times


def _times_shown(span: _Span, k: int, peak: Peak, level_N: float) -> int:
    """How often readings, or the load at rest, show the force on part k above a level."""
    series = _carried(span, k, peak)
    read = max((times_above(np.minimum(one, peak.rules_N), level_N) for one in series), default=0)
    if peak.how == "cell":
        return read
    rest = [need.share(span.bounds, k) * need.at_most_N for need in span.own.rest]
    return max(read, sum(force > level_N for force in rest))


def _carried(span: _Span, k: int, peak: Peak) -> list[Floats]:
    """Forces on part k, N, (n,) each: by its own cells, and where they do not rule, by the haul cell."""
    name = span.own.rig_model.parts[k].name
    cells = [c for c in span.own.result.roles.forces if c in span.cells.get(k, ()) or c.at == name]
    series = [span.force(cell)[1] for cell in cells]
    gain = float(span.bounds.hauling[k])
    if peak.how == "model" and span.haul is not None and math.isfinite(gain):
        series.append(gain * np.maximum(span.haul[1], 0.0))
    return series


def _run_m(span: _Span, name: str) -> float | None:
    """Rope run over the turn `name` in all strokes, m: rope at the haul x flow there / flow at the haul."""
    own = span.own
    turns = {own.rig.stations[s].name: s for s in own.rig.turns}
    if name not in turns or own.result.roles.progress is None:
        return None
    share = abs(float(own.rig_model.motion.flow[turns[name]])) / abs(own.rig_model.motion.haul_rate)
    return share * sum(abs(s.haul_travel_m) for s in own.result.strokes)


def _loaded_s(span: _Span) -> float | None:
    """Time with tension in the haul strand, s; gaps between readings do not count."""
    if span.haul is None or span.haul_cell is None or not len(span.haul[0]):
        return None
    time_s, force = span.haul
    step = np.diff(time_s)
    on = (force[:-1] > span.whole.result.floor_N) & (step <= span.haul_cell.stale_after_s)
    return float(np.sum(step[on]))
