"""Says where a progress capture would hold the load: a mark for each strand, lines for a menu, a list.

All figures are those of `analysis.prediction.capture_places`.
"""

from __future__ import annotations

from functools import lru_cache

from analysis.mechanics.load_resistance import resistance
from analysis.messages.message import text_of
from analysis.prediction.capture_places import CapturePlace, best_first, capture_places
from analysis.rig.rig import Rig
from analysis.rig_edit.toml_text import document_of
from dashboard.text.units import UNKNOWN, Units, number

HOLDS, HOLDS_NOT = "holds", "not here"  # on the drawing, in place of a strand's tension
HOLD_CLASS, NO_HOLD_CLASS = "would-hold", "would-not-hold"  # of a strand on the drawing
NO_BODY = "no body at either end that a capture could act on"


@lru_cache(maxsize=16)  # speed only: each touch on a strand asks again
def capture_answers(rig: Rig, text: str) -> tuple[CapturePlace, ...]:
    """A capture on each strand of a rig; text: of its rig file."""
    return capture_places(rig, document_of(text))


def strands_that_hold(rig: Rig, places: tuple[CapturePlace, ...]) -> tuple[bool, ...]:
    """Whether a capture would hold the load on each strand, at either end."""
    return tuple(
        any(one.holds for one in of_strand(rig, places, k)) for k in range(len(rig.strands))
    )


def of_strand(
    rig: Rig, places: tuple[CapturePlace, ...], number_of: int
) -> tuple[CapturePlace, ...]:
    """The places on one strand; number_of: index of the strand."""
    strand = rig.strands[number_of]
    ends = tuple(rig.stations[s].name for s in (strand.start, strand.end))
    rope = rig.ropes[strand.rope].name
    return tuple(one for one in places if (one.rope, one.start, one.end) == (rope, *ends))


def capture_line(one: CapturePlace, units: Units) -> str:
    """One place as a line of a menu: what it carries, covers and costs, with units, or why it does not hold."""
    if not one.holds:
        return f"On {one.on}: does not hold; {text_of(one.why, units)}."
    return f"On {one.on}: {_figures(one, units)}."


def _figures(one: CapturePlace, units: Units) -> str:
    """What a capture that holds carries, covers and costs."""
    covers = "covers no reset"
    if one.covers_resets:
        count = "" if one.resets is None else f" ({one.resets} in the job)"
        covers = f"covers the resets of {', '.join(one.covers_resets)}{count}"
    cost = f"load travel lost each time it sets {units.length(one.setback_m)}"
    if one.lost_m is not None and one.haul_more_m is not None:
        cost += (
            f", over the job {units.length(one.lost_m)} and {units.length(one.haul_more_m)} of rope"
        )
    else:
        why = text_of(one.why, units)
        cost += f", over the job {UNKNOWN}" + (f" ({why})" if why else "")
    return (
        f"holds the load; carries {_force(one.held, one.held_N, units)} while held and "
        f"{_force(one.setting, one.setting_N, units)} while it sets; {covers}; {cost}"
    )


def _force(share: float | None, force_N: float | None, units: Units) -> str:
    if share is None:
        return f"a force that is {UNKNOWN}"
    size = f"{number(share)} x the load's force"
    return size if force_N is None else f"{units.force(force_N)} ({size})"


def load_line(rig: Rig, units: Units) -> str:
    """How sure the forces of a list of captures are."""
    load = resistance(rig.load)
    if load.force_N is None:
        return f"The load's force is {UNKNOWN}: {text_of(load.why, units)}."
    return (
        f"Each force is a share of the load's force, {units.force_pm(load.force_N, load.force_u_N)}, "
        "which is uncertain in the same proportion."
    )


def capture_list(rig: Rig, places: tuple[CapturePlace, ...], units: Units) -> tuple[str, ...]:
    """All places as lines: those that hold, the best first; then the strands that do not, by the reason."""
    lines = [
        f"{one.start} to {one.end}, on {one.on}: {_figures(one, units)}."
        for one in best_first(places)
    ]
    refused: dict[str, list[str]] = {}
    for k, holds in enumerate(strands_that_hold(rig, places)):
        strand = rig.strands[k]
        if not holds:
            ends = " to ".join(rig.stations[s].name for s in (strand.start, strand.end))
            why = {text_of(one.why, units) or "" for one in of_strand(rig, places, k)} or {NO_BODY}
            refused.setdefault("; ".join(sorted(why)), []).append(ends)
    return (*lines, *(f"Not on {', '.join(names)}: {why}." for why, names in refused.items()))
