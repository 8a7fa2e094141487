"""Force channels that were used outside the range in which their cell was calibrated."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import PurePath

from analysis.strokes.result import Result
from analysis.strokes.stroke import Stroke
from logger.calibration.curve import Calibration
from logger.channels.channel import Channel
from logger.errors import one_line

# share of the greatest calibrated force that says nothing hangs on a cell; chosen by us: below it a cell at
# rest would be warned of
NOTHING = 0.01


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
