"""Judges the `over_limit` events of rated parts by the condition in which the load was (interface section 6).

The analyser finds when the haul force, times the frictionless gain, is above a part's limit.  That gain gives the
most only while the load is hauled.  While it is lowered, friction helps to hold it, and the parts carry more.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from analysis.mechanics.model import PartLoad
from analysis.messages.message import Message, message
from analysis.review.chapters import Chapter, force_bounds
from analysis.review.force_bounds import ForceBounds
from analysis.review.peaks import AT_REST, HAULING, LOWERING, Peak
from analysis.strokes.derived_events import DerivedEvent
from analysis.strokes.result import Result
from analysis.strokes.stroke import Stroke

BY_HAUL_CELL = "over_limit_by_haul_cell"


def with_limits_passed(result: Result, every: Sequence[Chapter]) -> tuple[DerivedEvent, ...]:
    """The derived events, each judged by its condition; and for each part over its limit without one, an event.

    result: of the whole session; every: its chapters.  The analyser judges the haul force alone, so a load that
    rests on a part shows in the peaks alone.
    """
    cell = result.roles.haul_force
    events = [
        _judged(e, every) if e.message.code == BY_HAUL_CELL else e for e in result.derived_events
    ]
    for chapter in every:
        passed = {_part_of(e) for e in chapter.result.derived_events if e.kind == "over_limit"}
        for peak in chapter.peaks:
            if peak.use is None or peak.use <= 1 or peak.name in passed:
                continue
            rig_part = next(p for p in chapter.rig_model.parts if p.name == peak.name)
            events.append(
                DerivedEvent(
                    time_s=peak.time_s,
                    end_s=peak.time_s,
                    kind="over_limit",
                    channel="" if cell is None else cell.name,
                    value=peak.rules_N,
                    message=_limit_passed(rig_part, peak),
                )
            )
    return tuple(sorted(events, key=lambda e: e.time_s))


def _judged(event: DerivedEvent, every: Sequence[Chapter]) -> DerivedEvent:
    """An event of the haul cell with the most that the part carried in the conditions of its time."""
    chapter = next((c for c in reversed(every) if c.first_s <= event.time_s), every[0])
    names = [p.name for p in chapter.rig_model.parts]
    if _part_of(event) not in names or event.value is None:
        return event
    bounds, k = force_bounds(chapter.rig_model), names.index(_part_of(event))
    if bounds.ideal[k] <= 0:
        return event
    haul_N = event.value / float(bounds.ideal[k])
    allowed = event.message.values["allowed"]
    hauled_N = haul_N * float(bounds.hauling[k])
    if not math.isfinite(hauled_N) or _beyond_capacity(event, chapter.result):
        about_N = haul_N * max(float(bounds.ideal[k]), float(bounds.model[k]))
        return replace(event, value=about_N, message=message("over_limit_about", allowed=allowed))
    most = [
        (hauled_N, event.message),
        *((n, message("over_limit_lowering", allowed=allowed)) for n in _lowered_N(event, chapter, bounds, k, haul_N)),
        *((n, message("over_limit_at_rest", allowed=allowed)) for n in _at_rest_N(event, chapter, bounds, k)),
    ]  # fmt: skip
    value, said = max(most, key=lambda row: row[0])
    return replace(event, value=value, message=said)


def _lowered_N(
    event: DerivedEvent, chapter: Chapter, bounds: ForceBounds, k: int, haul_N: float
) -> list[float]:
    """Forces on part k, N, if the load was lowered before any hauling during the event, as in `peaks`.

    haul_N: highest haul force of the event.
    """
    if chapter.rest and chapter.rest[0].time_s <= chapter.from_s and chapter.number:
        return []  # it was hauled in a chapter before
    gain = float(bounds.back_per_haul[k])
    strokes = chapter.result.strokes
    if chapter.result.roles.progress is None:
        return [haul_N * gain]
    first_s = next((s.start_s for s in strokes if s.direction == "haul"), math.inf)
    lowered = (s for s in _during(event, strokes) if s.direction == "lower" and s.start_s < first_s)
    return [min(haul_N, s.peak_force_N) * gain for s in lowered]


def _at_rest_N(event: DerivedEvent, chapter: Chapter, bounds: ForceBounds, k: int) -> list[float]:
    """The force on part k, N, by what the load last needed; none while it was hauled all the time."""
    directions = [s.direction for s in _during(event, chapter.result.strokes)]
    if "lower" not in directions and "haul" in directions:
        return []
    before = [need for need in chapter.rest if need.time_s < _end_s(event)]
    return [need.share(bounds, k) * need.at_most_N for need in before[-1:]]


def _during(event: DerivedEvent, strokes: Sequence[Stroke]) -> list[Stroke]:
    """The strokes that overlap an event."""
    return [s for s in strokes if s.start_s < _end_s(event) and event.time_s < s.end_s]


def _end_s(event: DerivedEvent) -> float:
    """End of an event, s; inf while it goes on."""
    return math.inf if event.end_s is None else event.end_s


def _beyond_capacity(event: DerivedEvent, own: Result) -> bool:
    """Whether the event's channel was beyond its capacity during it."""
    return any(
        e.kind == "saturated" and e.channel == event.channel
        and e.time_s <= _end_s(event) and event.time_s <= _end_s(e)
        for e in own.derived_events
    )  # fmt: skip


def _limit_passed(rig_part: PartLoad, peak: Peak) -> Message:
    """The event of a part whose peak is over its limit."""
    values = {"name": rig_part.name, "limit_N": rig_part.limit_N, "why": rig_part.why}
    allowed = (
        message("strand_allowed", **values) if rig_part.kind == "strand"
        else message("part_allowed", **values)
    )  # fmt: skip
    if peak.at_most_N is None:
        return message("over_limit_about", allowed=allowed)
    if peak.when == AT_REST:
        return message("over_limit_at_rest", allowed=allowed)
    if peak.when == LOWERING:
        return message("over_limit_lowering", allowed=allowed)
    if peak.when == HAULING:
        return message("over_limit_while_hauling", allowed=allowed)
    return message("over_limit_by_own_cell", allowed=allowed)


def _part_of(event: DerivedEvent) -> str:
    """Name of the part whose limit was passed; "" where it is a level of a channel."""
    allowed = event.message.values.get("allowed")
    return str(allowed.values["name"]) if isinstance(allowed, Message) else ""
