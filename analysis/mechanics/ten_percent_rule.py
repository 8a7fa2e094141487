"""The seaman's rule of 10 % of the load for every sheave, beside the model's per-pulley efficiency.

S = (W + n W / 10) / P with n sheaves and the power P (the ideal advantage).  Source: Nicholls's
Seamanship and Nautical Knowledge, pp. 40-44.  It disagrees with a constant efficiency a pulley, by
the more the bigger the rig, and counts a sheave near the hand like one near the load: an estimate
from a handbook, never mixed with the model.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.mechanics.kinematics import TINY, Motion
from analysis.mechanics.model import Model
from analysis.rig.rig import Rig


@dataclass(frozen=True)
class TenPercent:
    """sheaves: pulleys that the rope runs over; ma: load / haul force; haul_N: None without a load."""

    sheaves: int
    power: float
    ma: float
    haul_N: float | None


def haul_force(load_N: float, sheaves: int, power: float) -> float:
    """The rule itself, in the unit of load_N."""
    return load_N * (1 + sheaves / 10) / power


def running_sheaves(rig: Rig, motion: Motion) -> int:
    """Pulleys that the rope really runs over."""
    return sum(
        rig.stations[s].kind == "pulley" and abs(float(motion.flow[s])) > TINY for s in rig.turns
    )


def ten_percent(known: Model) -> TenPercent:
    """The rule for a rig."""
    n, power = running_sheaves(known.rig, known.motion), known.ideal_ma
    load = known.load_force_N
    return TenPercent(
        n, power, 1 / haul_force(1.0, n, power),
        None if load is None else haul_force(load, n, power),
    )  # fmt: skip
