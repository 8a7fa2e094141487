"""Computes the load's travel from the rope of the strokes, for the review and the live page alike.

Rope that comes out under tension moves the load, by the travel ratio of the rig in use; rope that is
fed back with the tension off does not, because the load is held meanwhile.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from analysis.messages.message import Message, message
from analysis.strokes.result import Result
from analysis.strokes.stroke import Stroke


@dataclass(frozen=True)
class LoadTravel:
    """The load's travel toward the anchor since the session began, without a counter at the load."""

    hauled_m: float | None  # in haul strokes, as the review has it; None for the reason in why_not
    lowered_m: float | None  # in strokes that gave rope back under tension; None as hauled_m
    rigs: int  # number of rigs of the session that made strokes
    why_not: Message | None = None  # why there is no travel

    @property
    def net_m(self) -> float | None:
        """Distance of the load from where it began, m; None as hauled_m."""
        if self.hauled_m is None or self.lowered_m is None:
            return None
        return self.hauled_m - self.lowered_m


def rope_m(strokes: Iterable[Stroke]) -> float:
    """Rope at the haul in these strokes, m, hauled and lowered added up."""
    return sum(s.haul_travel_m for s in strokes)


def why_unknown(result: Result) -> Message | None:
    """Why the load's travel cannot be computed from strokes; None where it can."""
    rope = result.roles.progress
    if rope is None or result.channels[rope.name].readings == 0:
        return message("travel_not_counted")
    if result.roles.haul_force is None:
        return message("travel_without_haul_cell")
    return None


def by_rope(result: Result) -> LoadTravel:
    """The load's travel from all strokes so far, the growing one included.

    The rope of each stroke is divided by the travel ratio of its own rig.
    """
    why_not = why_unknown(result)
    if why_not is not None:
        return LoadTravel(None, None, 0, why_not)
    ratios = [span.roles.ratio for span in result.rigs] or [result.roles.ratio]
    if len(ratios) == 1:
        return _sum([(result.strokes, ratios[0])])
    return _sum([(tuple(s for s in result.strokes if s.rig == k), r) for k, r in enumerate(ratios)])


def _sum(parts: list[tuple[tuple[Stroke, ...], float]]) -> LoadTravel:
    """The travel of (strokes, travel ratio) of each rig together."""
    hauled, lowered = (
        sum(rope_m(s for s in own if s.direction == direction) / ratio for own, ratio in parts)
        for direction in ("haul", "lower")
    )
    return LoadTravel(hauled, lowered, sum(1 for own, _ in parts if own))
