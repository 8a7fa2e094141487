"""Warnings that follow from rope and load counted side by side, stroke by stroke, and from a zero."""

from __future__ import annotations

import math
from collections.abc import Sequence

from analysis.signals.channel_roles import Roles
from analysis.signals.lag_from_edges import LEAST_S, NO_LAG, Lag
from analysis.strokes.segmentation import OFF_SHARE, Segments
from analysis.strokes.stroke import Stroke

# share of the rope that load x ratio may differ from before it is told; chosen by us, no reason is on record
UNEQUAL = 0.10
# share of the floor that a cell's least second may be off nothing; derived: the floor is 4 standard
# uncertainties of the zero or 6 of the noise, so 3 or 4.5 of them.  Share of the steady force from which a
# zero too high is felt; chosen by us: it is 2 % of every force
BEYOND, FELT = 0.75, 0.02
SEEN_M = 0.10  # of rope, the least that is told; chosen by us: several steps of a counter


def notes(
    known: Roles, seg: Segments | None, strokes: Sequence[Stroke], seen: Lag = NO_LAG,
    told: Lag | None = None,
) -> list[str]:
    """What the counters say against each other, and a haul cell against what rope can do.

    seen: the rope counter's lag behind the haul cell in the readings; told: in the sensors file.
    """
    if seg is None:
        return []
    if known.progress is None:
        return _zero(known, seg)
    late = _zero(known, seg) + _late(known, told or seen) + _contradicts(known, seen, told)
    if known.load_length is None:
        hauled = any(s.direction == "haul" for s in strokes)
        lines = ["no counter at the load: a grab that creeps is not visible"] if hauled else []
        if strokes and not hauled and not seg.resets:
            lines.append(
                f"{known.progress.name}: rope only went back under tension: if the team hauled, the "
                "counter runs backwards; turn the sign of its scale"
            )
        return late + lines
    if known.progress is known.load_length:
        return late
    lines = late
    if seg.against_m > SEEN_M:
        lines.append(
            f"{known.progress.name} and {known.load_length.name} run opposite ways: "
            f"{seg.against_m:.2f} m of rope went back under tension while the load came nearer; "
            "turn the sign of one scale"
        )
    return lines + _creep(known, strokes)


def _zero(known: Roles, seg: Segments) -> list[str]:
    """A haul cell's zero that is wrong: rope cannot push, and hangs slack at some time."""
    cell, least = known.haul_force, seg.lowest_N
    if cell is None or not math.isfinite(least):
        return []
    u, beyond = float(cell.u_si(0.0)), BEYOND * seg.settings.floor_N
    cure = f"more than is said of it (u {u:.1f} N), and so is every force: take the zero with the rope slack"
    if least < -beyond:
        return [
            f"{cell.name} reads {least:.0f} N at its least, and rope cannot push: its zero is off by {cure}"
        ]
    steady = seg.steady_N or 0.0
    if max(beyond, FELT * steady) < least < OFF_SHARE * steady:  # else tension was never let off
        return [
            f"{cell.name} never reads less than {least:.0f} N: if the rope hung slack for a second at any "
            f"time, its zero is off by {cure}"
        ]
    return []


def _late(known: Roles, lag: Lag) -> list[str]:
    if not lag.matters or lag.lag_s is None or known.progress is None or known.haul_force is None:
        return []
    rope, cell = known.progress.name, known.haul_force.name
    first, second = (rope, cell) if lag.lag_s > 0 else (cell, rope)
    so = "means over rope are taken with that shift"
    if known.load_length is not None:
        so = "means are over the load's way, which it does not touch"
    return [f"{first} lags {second} by {abs(lag.lag_s):.2f} s (u {lag.u_s:.2f} s): {so}"]


def _contradicts(known: Roles, seen: Lag, told: Lag | None) -> list[str]:
    if told is None or seen.lag_s is None or known.progress is None or known.haul_force is None:
        return []
    apart = seen.lag_s - (told.lag_s or 0.0)
    if abs(apart) <= max(LEAST_S, 2 * math.hypot(seen.u_s or 0.0, told.u_s or 0.0)):
        return []
    return [
        f"{known.progress.name} comes {seen.lag_s:.2f} s (u {seen.u_s:.2f} s) after "
        f"{known.haul_force.name} where tension was let off, and {told.lag_s:.2f} s (u {told.u_s:.2f} s) "
        "by the sensors file, which was believed: see to delay_s and delay_u_s there"
    ]


def _creep(known: Roles, strokes: Sequence[Stroke]) -> list[str]:
    """Rope that the load did not follow in the steady part of a stroke.

    A grab that creeps does it in some strokes; a wrong ratio, a wrong scale or a counter wheel
    that slips all the time does it in all of them alike.
    """
    seen = []
    for number, stroke in enumerate(strokes, 1):
        lost, part = stroke.facts.unfollowed_m, stroke.steady
        if stroke.direction == "haul" and lost is not None and part is not None:
            seen.append((number, lost, lost / part.distance_m))
    if not seen:
        return []
    order = sorted(share for _, _, share in seen)
    usual = min(order[(len(order) - 1) // 2], order[len(order) // 2], key=abs)
    lines = []
    if abs(usual) > UNEQUAL:
        rope, load = known.progress, known.load_length
        assert rope is not None
        assert load is not None
        way = "less" if usual > 0 else "more"
        cause = (
            f"a grab creeps, {rope.name} counts too much, or the rig is not the one in the file"
            if usual > 0
            else f"{rope.name} slips or counts too little, or the rig is not the one in the file"
        )
        lines.append(
            f"the load moved {100 * abs(usual):.0f} % {way} than {rope.name} and the rig's ratio say "
            f"({load.name}): {cause}"
        )
    odd = [x for x in seen if x[2] - max(usual, 0.0) > UNEQUAL and x[1] > SEEN_M]
    for number, lost, share in odd[:5]:
        lines.append(
            f"stroke {number}: {lost:.2f} m of rope ({100 * share:.0f} %) came out that the load did "
            "not follow, more than in the other strokes: a grab crept"
        )
    less = [x for x in seen if min(usual, 0.0) - x[2] > UNEQUAL and -x[1] > SEEN_M]
    for number, lost, share in less[:5]:
        lines.append(
            f"stroke {number}: the load moved {100 * -share:.0f} % more than the rope counted "
            f"({-lost:.2f} m of rope missing): the rope counter slipped"
        )
    more = len(odd[5:]) + len(less[5:])
    return [*lines, f"{more} more strokes in which rope and load disagree"] if more else lines
