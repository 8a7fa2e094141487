"""Checks whether the strokes fit the rig file: travel ratio, length of a stroke, rope fed back."""

from __future__ import annotations

import math

import numpy as np

from analysis.efficiency.uncertainty import t_quantile, type_a
from analysis.mechanics.model import Model
from analysis.mechanics.travel import stroke
from analysis.messages.message import Message, message
from analysis.rig.rig import Rig
from analysis.strokes.result import Result
from analysis.strokes.stroke import Stroke
from logger.channels.channel import Channel

FIRST = 3  # strokes; chosen by us: another rig shows at once, and the crew can still change it
# share by which a ratio must differ before the crew is asked; chosen by us: less than 8 differs from 9.  None of
# 1,040 undisturbed sessions of both simulators of the tests was asked: fewer than 1 in 346 (95 %, rule of three)
APART = 0.09
# least travel of load and rope in a ratio, m; chosen by us: several steps of a counter
LEAST_LOAD_M, LEAST_ROPE_M = 0.02, 0.1
# share within which a measured ratio is rounded to a whole number; chosen by us: half of APART
NEAR_WHOLE = 0.06
# allowed length of a stroke / the rig's longest stroke, and rope on top; chosen by us: for stretch, and for
# places that were paced, not taped
LONGER, LONGER_M = 1.15, 0.5


def as_built(rig: Rig, rig_model: Model, result: Result) -> list[Message]:
    """Questions to the crew where the first strokes contradict the rig file."""
    haul = [s for s in result.strokes if s.direction == "haul"]
    first = haul[:FIRST]
    if not first:
        return []
    looks = measured_ratio(rig_model, result)
    lines = [_length(rig, first), _fed_back(result, first)]
    if looks is not None:
        lines.insert(0, message("travel_of_another_rig", looks=looks, file=rig_model.travel_ratio))
    return [line for line in lines if line is not None]


def measured_ratio(rig_model: Model, result: Result) -> float | None:
    """Rope / load travel by the counters where it contradicts the rig's travel ratio; None where it does not.

    Two ratios are taken: over the steady parts, and over whole strokes less the rope that was taken up before
    the load moved.  Where a stretching rope moves the load in jerks, the first is too small, because rope that
    only stretches is left out; the second is too large where rope stretches further on the way.  Only what both
    contradict is reported, by the one nearer to the file.  It must differ by more than APART and by more
    than the expanded uncertainty of counters and scatter.
    """
    roles = result.roles
    rope, load = roles.progress, roles.load_length
    if rope is None or load is None or rope is load or result.channels[load.name].readings == 0:
        return None
    if any(line.code == "load_counter_only_up" for line in result.warnings):
        return None  # its travel is too large, whatever the rig
    rows = [
        (s.haul_travel_m - s.details.take_up_m, s.load_travel_m, s.steady)
        for s in result.strokes
        if s.direction == "haul" and s.load_travel_m and s.details.take_up_m is not None
    ]
    hauled = np.array([row[0] for row in rows])
    moved = np.array([row[1] for row in rows], float)
    if moved.sum() <= LEAST_LOAD_M or hauled.sum() <= LEAST_ROPE_M:
        return None
    ratios = [float(hauled.sum() / moved.sum())]
    parts = [s for _, _, s in rows if s is not None and s.load_travel_m > 0]
    if parts:
        ratios.append(sum(p.distance_m for p in parts) / sum(p.load_travel_m for p in parts))
    apart = [ratio / rig_model.travel_ratio - 1 for ratio in ratios]
    if min(apart) < 0 < max(apart):
        return None
    ratio = min(ratios, key=lambda x: abs(x / rig_model.travel_ratio - 1))
    doubt = math.hypot(
        _relative(rope, float(hauled.sum()) / roles.progress_gain),
        _relative(load, float(moved.sum())),
        *(
            result.channels[c.name].step_m / math.sqrt(6 * len(rows)) / max(float(m.mean()), 1e-9)
            for c, m in ((rope, hauled / roles.progress_gain), (load, moved))
        ),
    )
    scatter = 0.0
    if len(rows) > 1:
        _, spread = type_a(hauled / moved, moved)
        scatter = t_quantile(len(rows) - 1) * spread.u / ratio
    if min(abs(x) for x in apart) <= max(APART, math.hypot(2 * doubt, scatter)):
        return None
    whole = round(ratio)
    return whole if whole and abs(ratio / whole - 1) < NEAR_WHOLE else float(f"{ratio:.2g}")


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
