"""Checks whether the first strokes fit the rig file: travel ratio, length of a stroke, rope fed back."""

from __future__ import annotations

import math

from analysis.mechanics.model import Model
from analysis.mechanics.travel import stroke
from analysis.messages.message import Message, message
from analysis.rig.rig import Rig
from analysis.strokes.result import Result
from analysis.strokes.stroke import Stroke
from logger.channels.channel import Channel

FIRST = 3  # strokes; chosen by us: another rig shows at once, and the crew can still change it
# share by which a ratio must differ before the crew is asked; chosen by us: more than counters may differ
# (UNEQUAL of `counter_checks`), less than 9 differs from 8
APART = 0.12
# share within which a measured ratio is rounded to a whole number; chosen by us: half of APART
NEAR_WHOLE = 0.06
# allowed length of a stroke / the rig's longest stroke, and rope on top; chosen by us: for stretch, and for
# places that were paced, not taped
LONGER, LONGER_M = 1.15, 0.5


def as_built(rig: Rig, rig_model: Model, result: Result) -> list[Message]:
    """Questions to the crew where the first strokes contradict the rig file."""
    first = [s for s in result.strokes if s.direction == "haul"][:FIRST]
    if not first:
        return []
    lines = [_ratio(rig_model, result, first), _length(rig, first), _fed_back(result, first)]
    return [line for line in lines if line is not None]


def _ratio(rig_model: Model, result: Result, first: list[Stroke]) -> Message | None:
    """Compare rope / load travel of the first strokes with the travel ratio of the rig."""
    roles = result.roles
    rope, load = roles.progress, roles.load_length
    if rope is None or load is None or rope is load or result.channels[load.name].readings == 0:
        return None
    moved = hauled = 0.0
    for s in first:
        # there is no steady part where the load makes less than half the travel that the file expects
        steady = s.steady
        if steady is not None and steady.load_travel_m > 0:
            moved += steady.load_travel_m
            hauled += steady.distance_m
        else:
            moved += s.load_travel_m or 0.0
            hauled += s.haul_travel_m
    if moved <= 0.02 or hauled <= 0.1:
        return None
    ratio = hauled / moved
    doubt = math.hypot(_relative(rope, hauled / roles.progress_gain), _relative(load, moved))
    if abs(ratio / rig_model.travel_ratio - 1) <= max(APART, 3 * doubt):
        return None
    whole = round(ratio)
    looks = whole if whole and abs(ratio / whole - 1) < NEAR_WHOLE else float(f"{ratio:.2g}")
    return message("travel_of_another_rig", looks=looks, file=rig_model.travel_ratio)


def _relative(channel: Channel, travel_m: float) -> float:
    """Relative standard uncertainty of a counter over travel_m."""
    return float(channel.u_si(travel_m)) / max(abs(travel_m), 1e-9)


def _length(rig: Rig, first: list[Stroke]) -> Message | None:
    """Ask about a stroke longer than the rig allows."""
    longest = stroke(rig).haul_m
    most = max(s.haul_travel_m for s in first)
    if not math.isfinite(longest) or most <= LONGER * longest + LONGER_M:
        return None
    return message("stroke_too_long", hauled_m=most, longest_m=longest)


def _fed_back(result: Result, first: list[Stroke]) -> Message | None:
    """Ask about more rope fed back than was hauled before: a stage that is missing in the file."""
    for reset in result.reset_list[:FIRST]:
        before = [s for s in first if s.end_s <= reset.start_s + 0.5]
        if not before:
            continue
        hauled = sum(s.haul_travel_m for s in before)
        if reset.rope_m > LONGER * hauled + LONGER_M:
            return message("too_much_fed_back", fed_back_m=reset.rope_m, hauled_m=hauled)
    return None
