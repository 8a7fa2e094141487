"""Warns of force channels that were used outside the range of their calibration."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import PurePath

from analysis.messages.message import Message, message
from analysis.strokes.result import Result
from analysis.strokes.stroke import Stroke
from logger.calibration.curve import Calibration
from logger.channels.channel import Channel
from logger.errors import one_line

# share of the greatest calibrated force below which a cell counts as unloaded; chosen by us: without it a cell
# at rest would cause a warning
NOTHING = 0.01


def uncalibrated(result: Result) -> dict[str, Message]:
    """Warnings by name of the force channel that was used outside its calibrated range.

    A calibration is valid from its least to its greatest applied force (ISO 376, ASTM E74; from memory).
    The highest reading is compared with the greatest, and the mean over the steady parts of haul strokes
    with the least: an unloaded cell reads below any range, and that is no fault.
    """
    warnings = {}
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
        values = {"cell": channel.name, "file": file, "verified": _range(start, most)}
        if high is not None:
            values |= {"high_N": high, "high_places": _places(high, most)}
        if low is not None and start is not None:
            values |= {"low_N": low, "low_places": _places(low, start[0])}
        warnings[channel.name] = (
            message("calibrated_below", **values) if low is None
            else message("calibrated_above", **values) if high is None
            else message("calibrated_between", **values)
        )  # fmt: skip
    return warnings


def _range(start: tuple[float, str] | None, most: float) -> Message:
    """The calibrated range in words; start: (least force N, why), most: greatest force, N."""
    if start is None:
        return message("verified_up_to", most_N=most, places=_places(most, 0.0))
    least, why = start
    return message(
        "verified_from_to", least_N=least, why=why, most_N=most, places=_places(least, most)
    )


def _nothing_N(channel: Channel, curve: Calibration) -> float:
    """The force below which a cell counts as unloaded, N; 0 for the haul cell, which is loaded in a haul."""
    if channel.at == "haul":
        return 0.0
    return max(3.0 * float(channel.u_si(0.0)), NOTHING * curve.applied_most)


def _steady_N(strokes: Sequence[Stroke], place: int) -> float | None:
    """Mean over rope of force channel `place` in the steady parts of haul strokes, N; None without any."""
    parts = [s.steady for s in strokes if s.direction == "haul" and s.steady is not None]
    rows = [(p.distance_m, p.force_N[place]) for p in parts if math.isfinite(p.force_N[place])]
    rope = sum(distance for distance, _ in rows)
    return sum(distance * force for distance, force in rows) / rope if rope > 0 else None


def _places(one: float, other: float) -> int:
    """Number of decimal places at which two forces, N, are written differently, 6 at most."""
    least = 0 if max(abs(one), abs(other)) >= 10 else 2
    apart = (n for n in range(least, 6) if f"{one:.{n}f}" != f"{other:.{n}f}")
    return next(apart, 6)
