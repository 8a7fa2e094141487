"""Warnings that follow from the channels: rope and load counted side by side, stroke by stroke; forces
outside the range in which their cell was calibrated."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import PurePath

from analysis.lag import LEAST_S, NO_LAG, Lag
from analysis.result import Result
from analysis.roles import Roles
from analysis.segments import Segments
from analysis.strokes import Stroke
from logger.calibration_curve import Calibration
from logger.errors import one_line
from logger.sensors import Channel

UNEQUAL = 0.10  # share of the rope that load x ratio may differ from before it is told
SEEN_M = 0.10  # of rope, the least that is told
NOTHING = 0.01  # share of the greatest calibrated force that says nothing hangs on a cell


def notes(
    known: Roles, seg: Segments | None, strokes: Sequence[Stroke], seen: Lag = NO_LAG,
    told: Lag | None = None,
) -> list[str]:
    """What the counters say against each other; nothing where there is one counter only.

    seen: the rope counter's lag behind the haul cell in the readings; told: in the sensors file.
    """
    if seg is None or known.progress is None:
        return []
    late = _late(known, told or seen) + _contradicts(known, seen, told)
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


def uncalibrated(result: Result) -> dict[str, str]:
    """Name and warning of each force channel that was used outside the range of its calibration.

    A calibration holds from its least to its greatest applied force alone (ISO 376, ASTM E74; from
    memory).  Judged by the highest reading, and by the mean over distance of the steady parts of haul
    strokes: a cell with nothing on it reads below any range, and that is no fault.
    """
    told = {}
    for k, channel in enumerate(result.roles.forces):
        curve = channel.calibration
        if curve is None or curve.applied_most <= 0:
            continue
        file = one_line(PurePath(channel.calibration_file or "its calibration").name, 40)
        start, most = curve.verified_from, curve.applied_most
        steady, highest = _steady_N(result.strokes, k), result.channels[channel.name].highest
        high = highest if highest is not None and highest > most else None
        low = None
        if start is not None and steady is not None:
            low = steady if _nothing_N(channel, curve) < steady < start[0] else None
        if high is None and low is None:
            continue
        said = [f"{_apart(low, start[0])[0]} N in steady hauling"] if low is not None and start else []
        said += [] if high is None else [f"up to {_apart(high, most)[0]} N"]
        fits = "larger cell" if low is None else "smaller cell" if high is None else "cell that fits"
        told[channel.name] = (
            f"{channel.name}: read {' and '.join(said)}; {file} is verified {_range(start, most)} only. Outside, "
            f"its uncertainty does not hold: calibrate over the forces hauled, or take a {fits}"
        )
    return told


def _range(start: tuple[float, str] | None, most: float) -> str:
    if start is None:
        return f"up to {_apart(most, 0.0)[0]} N"
    low, high = _apart(start[0], most)
    return f"from {low} N ({start[1]}) to {high} N"


def _nothing_N(channel: Channel, curve: Calibration) -> float:
    """Below it a cell has nothing on it: its noise; the haul cell hauls, whatever it reads."""
    if channel.at == "haul":
        return 0.0
    return max(3.0 * float(channel.u_si(0.0)), NOTHING * curve.applied_most)


def _steady_N(strokes: Sequence[Stroke], place: int) -> float | None:
    """Mean over distance of one force channel over the steady parts of haul strokes."""
    parts = [s.steady for s in strokes if s.direction == "haul" and s.steady is not None]
    rows = [(p.distance_m, p.force_N[place]) for p in parts if math.isfinite(p.force_N[place])]
    way = sum(distance for distance, _ in rows)
    return sum(distance * force for distance, force in rows) / way if way > 0 else None


def _apart(one: float, other: float) -> tuple[str, str]:
    """Both with as many places as it takes to tell them apart."""
    least = 0 if max(abs(one), abs(other)) >= 10 else 2
    for places in range(least, 7):
        told = f"{one:.{places}f}", f"{other:.{places}f}"
        if told[0] != told[1]:
            break
    return told


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
