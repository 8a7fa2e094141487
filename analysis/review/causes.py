"""Orders the messages of a review so that the cause which explains most of what is wrong is told first.

How much a cause explains is the share by which it may have changed the force, the advantage or the travel: a zero that is off by
30 N under 300 N explains a tenth, a rig of 4:1 for one of 5:1 a fifth, a unit that is 2.2 times off 1.2.  A cause for which values
are left out explains all.  Messages that name no cause, and limits, keep their places.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from analysis.messages.message import Message

ALL = 1.0  # a cause that spoils every value of its kind; derived: the whole of it

_Share = Callable[[Mapping[str, Any], float, float], float]


def _whole(values: Mapping[str, Any], force_N: float, hauled_m: float) -> float:
    """A cause that spoils everything."""
    return ALL


def _stated(values: Mapping[str, Any], force_N: float, hauled_m: float) -> float:
    """The share that the message tells."""
    return abs(float(values["share"]))


def _apart(one: str, other: str) -> _Share:
    """By how much the value `one` of a message differs from its value `other`, as a share of that."""

    def share(values: Mapping[str, Any], force_N: float, hauled_m: float) -> float:
        """That share."""
        return _over(float(values[one]) - float(values[other]), float(values[other]))

    return share


def _of_force(name: str) -> _Share:
    """The value `name`, N, as a share of the haul force."""
    return lambda values, force_N, hauled_m: _over(float(values[name]), force_N)


def _of_rope(name: str) -> _Share:
    """The value `name`, m, as a share of the rope hauled."""
    return lambda values, force_N, hauled_m: _over(float(values[name]), hauled_m)


def _over(amount: float, whole: float) -> float:
    """abs(amount / whole), inf where whole is 0."""
    return abs(amount / whole) if whole else math.inf


EXPLAINS: dict[str, _Share] = {
    "reads_negative": _whole,
    "channel_silent": _whole,
    "counter_backwards": _whole,
    "counter_only_up": _whole,
    "load_counter_only_up": _whole,
    "cells_may_be_misread": _whole,
    "unit_looks_wrong": lambda values, force_N, hauled_m: float(values["times"]) - 1,
    "one_unit_looks_wrong": lambda values, force_N, hauled_m: float(values["times"]) - 1,
    "travel_of_another_rig": _apart("looks", "file"),
    "stroke_too_long": _apart("hauled_m", "longest_m"),
    "too_much_fed_back": _apart("fed_back_m", "hauled_m"),
    "counters_opposite": _of_rope("against_m"),
    "load_moved_less": _stated,
    "load_moved_more": _stated,
    "grab_crept": _of_rope("lost_m"),
    "counter_slipped": _of_rope("missing_m"),
    "cells_disagree": _apart("one_N", "others_N"),
    "zero_too_low": _of_force("least_N"),
    "zero_too_high": _of_force("least_N"),
    "zero_drifts": _of_force("drift_N"),
    "haul_force_small": _stated,
    "ripple_and_lag": _stated,
    "load_stood": _stated,
    "stage_drags": _apart("ratio", "predicted"),
}


def explains(
    line: Message, refused: Message | None, force_N: float, hauled_m: float
) -> float | None:
    """The share that a message's cause explains; None where it names none.

    refused: the message for which values are left out, which explains all; force_N: the steady haul force;
    hauled_m: rope of the haul strokes.
    """
    if refused is not None and line.code == refused.code:
        return math.inf
    share = EXPLAINS.get(line.code)
    return None if share is None or line.level == "stop" else share(line.values, force_N, hauled_m)


def greatest_first(
    lines: Sequence[Message], refused: Message | None, force_N: float, hauled_m: float
) -> list[Message]:
    """The messages, those that name a cause in order of what they explain; arguments as `explains`.

    Causes change places among themselves alone; of two that explain the same, the one that came first stays first.
    """
    shares = [explains(line, refused, force_N, hauled_m) for line in lines]
    places = [k for k, share in enumerate(shares) if share is not None]
    order = sorted(places, key=lambda k: -(shares[k] or 0.0))
    ordered = list(lines)
    for place, k in zip(places, order, strict=True):
        ordered[place] = lines[k]
    return ordered
