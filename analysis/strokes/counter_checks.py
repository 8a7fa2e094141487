"""Checks the counters of rope and load against each other, and the zero of the haul cell; warns."""

from __future__ import annotations

import math
from collections.abc import Sequence

from analysis.messages.message import Message, message
from analysis.signals.channel_roles import Roles
from analysis.signals.lag_from_edges import LEAST_S, NO_LAG, Lag
from analysis.strokes.segmentation import OFF_SHARE, Segmentation
from analysis.strokes.stroke import Stroke

# share by which rope and load travel x ratio may differ without a warning; chosen by us, no reason is on record
UNEQUAL = 0.10
# BEYOND: share of the floor by which the lowest second may differ from zero; derived: the floor is 4 standard
# uncertainties of the zero or 6 of the noise, so 3 or 4.5 of them.  FELT: share of the steady force at which a
# zero that is too high matters; chosen by us: it is 2 % of every force
BEYOND, FELT = 0.75, 0.02
SEEN_M = 0.10  # rope in the smallest difference that is reported; chosen by us: several steps of a counter


def counter_warnings(
    roles: Roles,
    seg: Segmentation | None,
    strokes: Sequence[Stroke],
    seen: Lag = NO_LAG,
    stated: Lag | None = None,
) -> list[Message]:
    """Warnings about counters that contradict each other, and about the zero of the haul cell.

    seen: the rope counter's lag behind the haul cell by the readings; stated: by the sensors file.
    """
    if seg is None:
        return []
    if roles.progress is None:
        return _zero(roles, seg)
    late = _zero(roles, seg) + _late(roles, stated or seen) + _contradicts(roles, seen, stated)
    late += _only_up(roles, seg, strokes)
    if roles.load_length is None:
        hauled = any(s.direction == "haul" for s in strokes)
        lines = [message("creep_not_visible")] if hauled else []
        if strokes and not hauled and not seg.resets:
            lines.append(message("counter_backwards", counter=roles.progress.name))
        return late + lines
    if roles.progress is roles.load_length:
        return late
    lines = late
    if seg.against_m > SEEN_M:
        lines.append(message("counters_opposite", rope=roles.progress.name, load=roles.load_length.name,
                             against_m=seg.against_m))  # fmt: skip
    return lines + _creep(roles, strokes)


def _only_up(roles: Roles, seg: Segmentation, strokes: Sequence[Stroke]) -> list[Message]:
    """Warn of a rope counter that never ran back between strokes: it may count up only."""
    hauls = sum(1 for s in strokes if s.direction == "haul")
    if hauls < 2 or seg.went_back or roles.progress is None or roles.progress is roles.load_length:
        return []
    return [message("counter_only_up", counter=roles.progress.name)]


def _zero(roles: Roles, seg: Segmentation) -> list[Message]:
    """Warn of a wrong zero of the haul cell: rope cannot push, and hangs slack at some time.  A
    cell that reads nothing but negative forces has a wrong sign, not a wrong zero."""
    cell, least = roles.haul_force, seg.lowest_N
    if cell is None or not math.isfinite(least):
        return []
    u_N, beyond = float(cell.u_si(0.0)), BEYOND * seg.settings.floor_N
    if least < -beyond and seg.highest_N <= beyond:
        return [message("reads_negative", cell=cell.name, least_N=least)]
    if least < -beyond:
        return [message("zero_too_low", cell=cell.name, least_N=least, u_N=u_N)]
    steady = seg.steady_N or 0.0
    if max(beyond, FELT * steady) < least < OFF_SHARE * steady:  # else tension was never let off
        return [message("zero_too_high", cell=cell.name, least_N=least, u_N=u_N)]
    return []


def _late(roles: Roles, lag: Lag) -> list[Message]:
    """Report a lag of the rope counter that is long enough to matter."""
    if not lag.matters or lag.lag_s is None or roles.progress is None or roles.haul_force is None:
        return []
    rope, cell = roles.progress.name, roles.haul_force.name
    first, second = (rope, cell) if lag.lag_s > 0 else (cell, rope)
    values = {"late": first, "early": second, "lag_s": abs(lag.lag_s), "u_s": lag.u_s}
    if roles.load_length is not None:
        return [message("lag_touches_no_mean", **values)]
    return [message("lag_shifted", **values)]


def _contradicts(roles: Roles, seen: Lag, stated: Lag | None) -> list[Message]:
    """Warn where the delays in the sensors file contradict the lag by the readings."""
    if stated is None or seen.lag_s is None or roles.progress is None or roles.haul_force is None:
        return []
    apart = seen.lag_s - (stated.lag_s or 0.0)
    if abs(apart) <= max(LEAST_S, 2 * math.hypot(seen.u_s or 0.0, stated.u_s or 0.0)):
        return []
    return [message(
        "delays_contradict_readings", counter=roles.progress.name, cell=roles.haul_force.name,
        seen_s=seen.lag_s, seen_u_s=seen.u_s, stated_s=stated.lag_s, stated_u_s=stated.u_s,
    )]  # fmt: skip


def _creep(roles: Roles, strokes: Sequence[Stroke]) -> list[Message]:
    """Warn of rope that the load did not follow in the steady part of a stroke.

    A grab that creeps shows in some strokes; a wrong ratio, a wrong scale or a counter wheel that slips
    all the time shows in all of them alike.
    """
    seen = []
    for number, stroke in enumerate(strokes, 1):
        lost, steady = stroke.details.unfollowed_m, stroke.steady
        if stroke.direction == "haul" and lost is not None and steady is not None:
            seen.append((number, lost, lost / steady.distance_m))
    if not seen:
        return []
    order = sorted(share for _, _, share in seen)
    usual = min(order[(len(order) - 1) // 2], order[len(order) // 2], key=abs)
    lines = []
    if abs(usual) > UNEQUAL:
        rope, load = roles.progress, roles.load_length
        assert rope is not None
        assert load is not None
        values = {"share": abs(usual), "rope": rope.name, "load": load.name}
        lines.append(
            message("load_moved_less", **values)
            if usual > 0
            else message("load_moved_more", **values)
        )
    odd = [x for x in seen if x[2] - max(usual, 0.0) > UNEQUAL and x[1] > SEEN_M]
    for number, lost, share in odd[:5]:
        lines.append(message("grab_crept", stroke=number, lost_m=lost, share=share))
    less = [x for x in seen if min(usual, 0.0) - x[2] > UNEQUAL and -x[1] > SEEN_M]
    for number, lost, share in less[:5]:
        lines.append(message("counter_slipped", stroke=number, missing_m=-lost, share=-share))
    more = len(odd[5:]) + len(less[5:])
    return [*lines, message("more_strokes_disagree", strokes=more)] if more else lines
