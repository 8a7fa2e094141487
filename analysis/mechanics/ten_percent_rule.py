"""Estimates the haul force by the seaman's rule: 10 % of the load for every sheave.

S = (W + n W / 10) / P with load W, n sheaves and power P (the ideal advantage).  Source: Nicholls's
Seamanship and Nautical Knowledge, pp. 40-44.  The rule departs from a constant efficiency for each
pulley, more so for bigger rigs, and counts a sheave near the team like one near the load.  It is shown
beside the model and never mixed with it.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.mechanics.kinematics import TINY, Motion
from analysis.mechanics.model import Model
from analysis.rig.rig import Rig


@dataclass(frozen=True)
class TenPercent:
    """The result of the rule for one rig."""

    sheaves: int  # pulleys that the rope runs over
    power: float  # ideal advantage
    ma: float  # load force / haul force by the rule
    haul_N: float | None  # haul force; None: the load force is not known


def haul_force(load_N: float, sheaves: int, power: float) -> float:
    """Haul force by the rule, N; power: the ideal advantage, dimensionless."""
    return load_N * (1 + sheaves / 10) / power


def running_sheaves(rig: Rig, motion: Motion) -> int:
    """Number of pulleys over which the rope runs while hauling."""
    return sum(
        rig.stations[s].kind == "pulley" and abs(float(motion.flow[s])) > TINY for s in rig.turns
    )


def ten_percent(rig_model: Model) -> TenPercent:
    """Apply the rule to a rig."""
    n, power = running_sheaves(rig_model.rig, rig_model.motion), rig_model.ideal_ma
    load = rig_model.load_force_N
    return TenPercent(
        n, power, 1 / haul_force(1.0, n, power),
        None if load is None else haul_force(load, n, power),
    )  # fmt: skip
