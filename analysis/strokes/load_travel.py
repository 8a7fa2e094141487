"""How far the load has moved, from the rope of the strokes: one sum for the review and the live page.

Rope that comes out under tension moves the load, by the travel ratio of the rig that holds then; rope
that is fed back with the tension off does not, because the load is held meanwhile.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from analysis.messages.message import Message, message
from analysis.strokes.result import Result
from analysis.strokes.stroke import Stroke


@dataclass(frozen=True)
class LoadWay:
    """The load's way toward the anchor since the session began, without a counter at the load.

    hauled_m: sum over haul strokes, as the review has it; lowered_m: sum over strokes that gave rope
    back under tension; both None where that cannot be known, for the reason in why_not; rigs: with
    how many rigs of the session strokes were made.
    """

    hauled_m: float | None
    lowered_m: float | None
    rigs: int
    why_not: Message | None = None

    @property
    def net_m(self) -> float | None:
        """How far the load is from where it began, m."""
        if self.hauled_m is None or self.lowered_m is None:
            return None
        return self.hauled_m - self.lowered_m


def rope_m(strokes: Iterable[Stroke]) -> float:
    """Rope at the haul in these strokes, m, whichever way it went."""
    return sum(s.haul_travel_m for s in strokes)


def why_unknown(result: Result) -> Message | None:
    """Why strokes tell nothing of the load's way; None where they do."""
    rope = result.roles.progress
    if rope is None or result.channels[rope.name].readings == 0:
        return message("travel_not_counted")
    if result.roles.haul_force is None:
        return message("travel_without_haul_cell")
    return None


def by_rope(result: Result) -> LoadWay:
    """The load's way by the strokes found so far, the one that goes on among them; each stroke's rope
    is divided by the travel ratio of its own rig.  Cost: one look at each stroke."""
    why_not = why_unknown(result)
    if why_not is not None:
        return LoadWay(None, None, 0, why_not)
    ratios = [span.roles.ratio for span in result.rigs] or [result.roles.ratio]
    if len(ratios) == 1:
        return _sum([(result.strokes, ratios[0])])
    return _sum([(tuple(s for s in result.strokes if s.rig == k), r) for k, r in enumerate(ratios)])


def _sum(parts: list[tuple[tuple[Stroke, ...], float]]) -> LoadWay:
    hauled, lowered = (
        sum(rope_m(s for s in own if s.direction == direction) / ratio for own, ratio in parts)
        for direction in ("haul", "lower")
    )
    return LoadWay(hauled, lowered, sum(1 for own, _ in parts if own))
