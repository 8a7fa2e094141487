"""Names what an alarm is about in a few words, and the force that it is allowed: a headline."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analysis.mechanics.model import Model, PartLoad
from analysis.mechanics.working_limits import ASSUMED_STRENGTH
from analysis.messages.message import Message, message, text_of
from analysis.prediction.alarm_rows import part_texts
from analysis.rig.rig import Rig, Station

KNOTTED = frozenset({"knotted_strength", "assumed_knot_strength", "named_knot_strength"})


@dataclass(frozen=True)
class PartAtRisk:
    """The rated part that an alarm is about."""

    what: Message  # what would fail, in a few words
    limit_N: float  # the force that it is allowed


def parts_at_risk(rig_model: Model) -> Mapping[str, PartAtRisk]:
    """By label of an alarm, as it is recorded, the rated part of the rig that it is about."""
    by_label = {
        (one.name, text_of(one.why)): one for one in rig_model.parts if one.limit_N is not None
    }
    at_risk: dict[str, PartAtRisk] = {}
    for recorded_label, label in part_texts(rig_model).items():
        if label.code == "alarm_told":  # of an alarm with its level
            continue
        rated = by_label.get((label.values["name"], text_of(label.values["why"])))
        if rated is not None and rated.limit_N is not None:
            at_risk[recorded_label] = PartAtRisk(_what(rig_model.rig, rated), rated.limit_N)
    return at_risk


def _what(rig: Rig, rated: PartLoad) -> Message:
    """What would fail: the knot where it sets the limit, else the part by its kind and name."""
    if rated.kind == "strand" and rated.why is not None and rated.why.code in KNOTTED:
        tie = _weakest_tie(rig, rated.name)
        if tie is not None and tie.body is not None:
            return message("knot_at", place=_place(rig.bodies[tie.body].name))
    if rated.name in ("anchor", "load"):
        return message("body_at_risk", name=rated.name)
    return message("part_at_risk", kind=rated.kind, name=rated.name)


def _place(body: str) -> str:
    return f"the {body}" if body in ("anchor", "load") else body


def _weakest_tie(rig: Rig, strand_name: str) -> Station | None:
    """The tie at an end of this strand whose knot keeps the least."""
    ends = [
        rig.stations[end]
        for strand in rig.strands
        if strand.name == strand_name
        for end in (strand.start, strand.end)
    ]
    ties = [station for station in ends if station.kind == "tie"]
    return min(
        ties,
        key=lambda tie: ASSUMED_STRENGTH if tie.strength is None else tie.strength,
        default=None,
    )
