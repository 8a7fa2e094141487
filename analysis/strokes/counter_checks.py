"""Checks the counters of rope and load against each other, and the zero of the haul cell; warns."""

from __future__ import annotations

import math
from collections.abc import Sequence

from analysis.messages.message import Message, message
from analysis.signals.channel_roles import Roles
from analysis.signals.lag_from_edges import LEAST_S, NO_LAG, Lag
from analysis.signals.noise_floor import NOISES, ZEROS
from analysis.strokes.segmentation import OFF_SHARE, Reset, Segmentation
from analysis.strokes.stroke import Stroke

# share by which rope and load travel x ratio may differ without a warning; chosen by us, no reason is on record
UNEQUAL = 0.10
# BEYOND: share of the floor by which the lowest second may differ from zero; derived: the floor is ZEROS standard
# uncertainties of the zero or NOISES of the noise, so 3 or 4.5 of them; below zero both at once, as root sum of squares.  FELT: share of the steady force at which a
# zero that is too high matters; chosen by us: it is 2 % of every force
BEYOND, FELT = 0.75, 0.02
# lowest second / highest cell, both without sign, of a cell with a wrong sign; chosen by us: pulls are far
# beyond any error of the zero
REVERSED = 3.0
# DRIFT_U, DRIFT_FELT: standard uncertainties of the zero, and share of the steady force, by which the zero must drift;
# chosen by us: a normal error exceeds the first once in 370, and it is 1 % of a force.  In 360 undisturbed sessions of
# the first simulator of the tests, whose zeros drift within u, none was said to drift (most: 2.8 u), nor in 120 of the
# third.  LEAST_RESTS: chosen by us: two degrees of freedom
DRIFT_U, DRIFT_FELT, LEAST_RESTS = 3.0, 0.01, 4
OPPOSITE = (
    0.3  # of the rope hauled; chosen by us: rope that springs back while a load jerks on is less
)
# rests with the rope slack whose median shows the zero; chosen by us: the fewest with a middle one that noise does not
# decide.  By the lowest second alone 17 of 1,000 undisturbed sessions of the first simulator of the tests were accused
SEVERAL_RESTS = 3
# time between two strokes of one pull; chosen by us: shorter than hands need to feed rope back
AT_ONCE_S = 1.0
# whole stroke / steady part, above which the rope lost in both is the same; chosen by us: take-up is known that well
ALIKE = 0.9
SURE_ENDS = 3.0  # standard uncertainties of the counters' ends; chosen by us: exceeded once in 370
SEEN_M = 0.10  # rope in the smallest difference that is reported; chosen by us: several steps of a counter


def counter_warnings(
    roles: Roles,
    seg: Segmentation | None,
    strokes: Sequence[Stroke],
    ends_u_m: float = 0.0,
    seen: Lag = NO_LAG,
    stated: Lag | None = None,
    noise_N: float = 0.0,
) -> list[Message]:
    """Warnings about counters that contradict each other, and about the zero of the haul cell.

    ends_u_m: standard uncertainty of rope - ratio x load travel by the ends of both counters, m;
    seen: the rope counter's lag behind the haul cell by the readings; stated: by the sensors file;
    noise_N: standard deviation of the haul force over 1/32 s.
    """
    if seg is None:
        return []
    if roles.progress is None:
        return _zero(roles, seg, noise_N)
    late = (
        _zero(roles, seg, noise_N)
        + _late(roles, stated or seen)
        + _contradicts(roles, seen, stated)
    )
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
    least_m = max(SEEN_M, SURE_ENDS * ends_u_m)
    hauled_m = sum(s.haul_travel_m for s in strokes if s.direction == "haul")
    opposite = seg.against_m > max(least_m, OPPOSITE * hauled_m)
    if opposite and not seg.load_went_back and hauled_m > 0:
        return [*lines, message("load_counter_only_up", counter=roles.load_length.name)]
    if opposite:
        lines.append(message("counters_opposite", rope=roles.progress.name, load=roles.load_length.name,
                             against_m=seg.against_m))  # fmt: skip
    return lines + _creep(roles, seg, strokes, least_m)


def _only_up(roles: Roles, seg: Segmentation, strokes: Sequence[Stroke]) -> list[Message]:
    """Warn of a rope counter that never ran back between strokes: it may count up only."""
    hauls = sum(1 for s in strokes if s.direction == "haul")
    if hauls < 2 or seg.went_back or roles.progress is None or roles.progress is roles.load_length:
        return []
    return [message("counter_only_up", counter=roles.progress.name)]


def _zero(roles: Roles, seg: Segmentation, noise_N: float) -> list[Message]:
    """Warn of a wrong zero of the haul cell: rope cannot push, and hangs slack at some time.  A
    cell that reads nothing but negative forces has a wrong sign, not a wrong zero.

    The lowest of n seconds is below the zero by the noise, so both errors count, and being independent they add in squares
    (JCGM 100, 5.1.2).  With the noise of 765 undisturbed sessions, a normal zero is then said to be too low in 1 of 1,200, by
    the greater of both in 1 of 500.
    """
    cell, least = roles.haul_force, seg.lowest_N
    if cell is None or not math.isfinite(least):
        return []
    u_N, beyond = float(cell.u_si(0.0)), BEYOND * seg.settings.floor_N
    if least < -beyond and seg.highest_N <= max(beyond, -least / REVERSED):
        return [message("reads_negative", cell=cell.name, least_N=least)]
    drift = _drift(roles, seg)
    if drift:
        return drift
    slack = seg.slack.result()
    # the lowest of many seconds is lower than the zero by the noise of a second; the median over rests is not
    usual = least if slack is None or slack.rests < SEVERAL_RESTS else slack.offset_N
    low_N = max(beyond, BEYOND * math.hypot(ZEROS * u_N, NOISES * noise_N))
    if least < -low_N and usual < -low_N:
        return [message("zero_too_low", cell=cell.name, least_N=least, u_N=u_N)]
    steady = seg.steady_N or 0.0
    if max(beyond, FELT * steady) < least < OFF_SHARE * steady:  # else tension was never let off
        return [message("zero_too_high", cell=cell.name, least_N=least, u_N=u_N)]
    return []


def _drift(roles: Roles, seg: Segmentation) -> list[Message]:
    """Warn of a zero that drifts by more than its uncertainty, and enough to matter."""
    cell, slack = roles.haul_force, seg.slack.result()
    if cell is None or slack is None or slack.rests < LEAST_RESTS:
        return []
    u_N = float(cell.u_si(0.0))
    if abs(slack.drift_N) <= max(DRIFT_U * u_N, DRIFT_FELT * (seg.steady_N or 0.0)):
        return []
    return [message("zero_drifts", cell=cell.name, drift_N=slack.drift_N, u_N=u_N)]


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


def _pulls(strokes: Sequence[Stroke], resets: Sequence[Reset]) -> list[list[int]]:
    """Indices of the haul strokes of each pull: strokes that follow each other at once, without a reset, are one.

    Where the tension drops for a moment, a pull falls into pieces, and each begins and ends with another stretch
    of the rope, so that rope and load of a short piece differ by what one piece leaves to the next.
    """
    pulls: list[list[int]] = []
    for k, stroke in enumerate(strokes):
        if stroke.direction != "haul":
            continue
        before = strokes[k - 1] if pulls and pulls[-1][-1] == k - 1 else None
        goes_on = before is not None and stroke.start_s - before.end_s < AT_ONCE_S
        if goes_on and before is not None:
            goes_on = not any(before.end_s <= r.start_s <= stroke.start_s for r in resets)
        if goes_on:
            pulls[-1].append(k)
        else:
            pulls.append([k])
    return pulls


def _lost(strokes: Sequence[Stroke], ratio: float) -> tuple[float, float] | None:
    """Rope that the load did not follow in a pull, m, and its share, as far as steady parts and whole strokes agree.

    Where the load moves in jerks, the steady part leaves out rope that only stretches, and begins and ends at
    another speed, so that two counters with delays differ; the whole stroke, less its take-up, does not.  The
    smaller of the two counts where they differ by more than a tenth.  None where it is not known.  strokes: of the pull; ratio: rope at the haul / load travel.
    """
    lost = steady_m = whole = over = 0.0
    for stroke in strokes:
        unfollowed, steady = stroke.details.unfollowed_m, stroke.steady
        if unfollowed is None or steady is None:
            continue
        take_up = stroke.details.take_up_m
        lost, steady_m = lost + unfollowed, steady_m + steady.distance_m
        if take_up is None or stroke.load_travel_m is None:
            whole, over = whole + unfollowed, over + steady.distance_m
        else:
            hauled = stroke.haul_travel_m - take_up
            whole, over = whole + hauled - ratio * stroke.load_travel_m, over + hauled
    if not steady_m > 0:
        return None
    if lost * whole <= 0 or not over > 0:
        return 0.0, 0.0
    if abs(whole) >= ALIKE * abs(lost):
        whole = lost
    return whole, min(lost / steady_m, whole / over, key=abs)


def _creep(
    roles: Roles, seg: Segmentation, strokes: Sequence[Stroke], least_m: float
) -> list[Message]:
    """Warn of rope that the load did not follow in the steady part of a stroke.

    A grab that creeps shows in some strokes; a wrong ratio, a wrong scale or a counter wheel that slips
    all the time shows in all of them alike.  least_m: least rope that is reported, m.
    """
    seen = []
    for pull in _pulls(strokes, seg.resets):
        unfollowed = _lost([strokes[k] for k in pull], seg.settings.ratio)
        if unfollowed is not None:
            longest = max(pull, key=lambda k: strokes[k].haul_travel_m)
            seen.append((longest + 1, *unfollowed))
    if not seen:
        return []
    order = sorted(share for _, _, share in seen)
    usual = min(order[(len(order) - 1) // 2], order[len(order) // 2], key=abs)
    lines = []
    if abs(usual) > UNEQUAL and max(abs(lost) for _, lost, _ in seen) > least_m:
        rope, load = roles.progress, roles.load_length
        assert rope is not None
        assert load is not None
        values = {"share": abs(usual), "rope": rope.name, "load": load.name}
        lines.append(
            message("load_moved_less", **values)
            if usual > 0
            else message("load_moved_more", **values)
        )
    odd = [x for x in seen if x[2] - max(usual, 0.0) > UNEQUAL and x[1] > least_m]
    for number, lost, share in odd[:5]:
        lines.append(message("grab_crept", stroke=number, lost_m=lost, share=share))
    less = [x for x in seen if min(usual, 0.0) - x[2] > UNEQUAL and -x[1] > least_m]
    for number, lost, share in less[:5]:
        lines.append(message("counter_slipped", stroke=number, missing_m=-lost, share=-share))
    more = len(odd[5:]) + len(less[5:])
    return [*lines, message("more_strokes_disagree", strokes=more)] if more else lines
