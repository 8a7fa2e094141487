"""Names a unit that the sensors file may have wrong: a cell whose forces are some 9.8 or 4.4 times
off what the rig gives."""

from __future__ import annotations

import math

import numpy as np

from analysis.efficiency.load_estimators import Observations
from analysis.mechanics.model import Model
from analysis.messages.message import Message, message
from analysis.strokes.result import Result
from logger.channels.channel import Channel
from logger.device_units import FORCE_UNITS, to_si

# ratio by which a force may miss what the unit would make of it; chosen by us: friction and loads
# that are guessed miss by less, and the units are 2.2 apart
NEAR = 1.4
LEAST_FACTOR = 4.0  # chosen by us: a smaller one may be friction, or another rig
SENT_UNITS = ("N", "kN", "kg", "lbf")  # what devices send


def unit_doubts(rig_model: Model, result: Result, seen: Observations) -> list[Message]:
    """A caution for a cell whose unit seems to be another than in the sensors file.

    The mean haul force is compared with the prediction, and a cell at the load with the load force
    of the rig file; where the file states no load, both cells with each other.
    """
    cells = result.roles.forces
    expected = [(cells[0], seen.mean(0), rig_model.haul_force_N)]
    for k, cell in enumerate(cells):
        if cell.at == "load" and np.isfinite(seen.force_N[:, k]).any():
            expected.append((cell, seen.mean(k), rig_model.load_force_N))
    doubts = []
    for cell, force_N, expected_N in expected:
        sent = None if expected_N is None else _other_unit(cell, force_N, expected_N)
        if sent is not None and expected_N is not None:
            doubts.append(message(
                "unit_looks_wrong", cell=cell.name, force_N=force_N, expected_N=expected_N,
                times=_times(force_N, expected_N), sent=sent, unit=cell.unit,
            ))  # fmt: skip
    if doubts or rig_model.load_force_N is not None or len(expected) < 2:
        return doubts
    (haul, haul_N, _), (load, load_N, _) = expected[:2]
    by_haul_N = haul_N * rig_model.model_ma
    for cell, force_N, other_N in ((haul, by_haul_N, load_N), (load, load_N, by_haul_N)):
        if other_N > 0 and _other_unit(cell, force_N, other_N) is not None:
            return [message("one_unit_looks_wrong", first=haul.name, second=load.name,
                            times=_times(force_N, other_N))]  # fmt: skip
    return []


def _other_unit(cell: Channel, force_N: float, expected_N: float) -> str | None:
    """The unit that the device seems to send; None if the stated one fits, or none does."""
    if cell.unit not in FORCE_UNITS or cell.calibration is not None:
        return None
    if not (force_N > 0 and expected_N > 0):
        return None
    apart = {
        unit: abs(math.log(expected_N / force_N * to_si(cell.unit) / to_si(unit)))
        for unit in SENT_UNITS
        if abs(math.log(to_si(unit) / to_si(cell.unit))) > math.log(LEAST_FACTOR)
    }
    best = min(apart, key=lambda unit: apart[unit], default=None)
    return best if best is not None and apart[best] < math.log(NEAR) else None


def _times(one_N: float, other_N: float) -> float:
    """The ratio of two positive forces, at least 1."""
    return max(one_N / other_N, other_N / one_N)
