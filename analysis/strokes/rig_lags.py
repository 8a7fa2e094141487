"""Determines the lag of each force channel, and what it does to means over distance, for each rig of a session by itself.

A lag is the device's own and stays, but its correction (mean force corrected / as sent) belongs to the motion over which it was
summed: with the same load, speed of rope and hands, the force that the load's inertia adds is a share of the haul force
that falls with the travel ratio, so a 3:1 takes three times the correction of a 9:1 made of it.  The mean over time
and the mean over distance of two rigs together differ by the rigs, because the load goes at another speed in each, and not by
a lag.  So the sums begin anew with each rig.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.signals.channel_roles import Roles
from analysis.signals.lag_from_edges import Lag
from analysis.signals.lag_from_ripple import ChannelLag, LagSums, stated
from analysis.strokes.lag_correction import force_ripple, means_as_sent, steady_rope_m
from analysis.strokes.stroke import Stroke

NOT_LATE = ChannelLag()


@dataclass(frozen=True)
class RigLagSums:
    """The sums of one rig."""

    hauling: LagSums  # while hauling
    lowering: LagSums  # while lowering
    over_rope: bool  # whether means of its haul strokes are over the rope


@dataclass(frozen=True)
class RigLags:
    """The lags of all force channels while one rig was in use."""

    lags: tuple[ChannelLag, ...] = ()  # of each force channel, in the order of roles.forces
    rope_lag: ChannelLag = NOT_LATE  # of the haul cell, for its work over the rope of whole strokes
    load_lags: tuple[ChannelLag, ...] = ()  # likewise, for the work over the load's travel
    lowering_lags: tuple[ChannelLag, ...] = ()  # likewise, for the means of lowering


def rig_lags(sums: RigLagSums, roles: Roles, delay: Lag, strokes: Sequence[Stroke]) -> RigLags:
    """The lags of one rig.

    delay: the rope counter's lag behind the haul cell by the readings; strokes: of this rig.
    """
    by_rope, by_load = (
        stated(counter, roles.haul_force) for counter in (roles.progress, roles.load_length)
    )
    cells = [stated(cell, roles.haul_force) for cell in roles.forces]
    hauling, steady_m = sums.hauling.ended(), steady_rope_m(strokes, "haul")
    ripple = force_ripple(strokes, "haul")
    return RigLags(
        lags=hauling.result(
            delay,
            by_rope,
            by_load,
            cells,
            sums.over_rope,
            sent=means_as_sent(strokes, "haul"),
            steady_m=steady_m,
            ripple=ripple,
        ),
        rope_lag=hauling.result(
            delay, by_rope, by_load, cells, True, steady_m=steady_m, ripple=ripple
        )[0],
        load_lags=hauling.result(delay, by_rope, by_load, cells, steady_m=steady_m, ripple=ripple),
        lowering_lags=sums.lowering.ended().result(
            delay,
            by_rope,
            by_load,
            cells,
            sent=means_as_sent(strokes, "lower"),
            steady_m=steady_rope_m(strokes, "lower"),
        ),
    )
