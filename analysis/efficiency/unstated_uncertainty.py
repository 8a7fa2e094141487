"""Leaves out the quantities that rest on a channel whose uncertainty nobody stated.

With nothing stated a budget would count the channel as exact, and its interval would be too narrow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from analysis.efficiency.load_estimators import LoadEstimator
from analysis.messages.message import message
from analysis.signals.channel_roles import Roles
from logger.channels.channel import Channel

if TYPE_CHECKING:
    from analysis.efficiency.estimate import Estimates


def without_unstated(estimates: Estimates, roles: Roles) -> Estimates:
    """The estimates without those that rest on channels that state no uncertainty, with the
    reason, and a caution for each such channel."""
    cells = roles.forces
    counters = {c.name: c for c in (roles.haul_length, roles.progress, roles.load_length) if c}
    unstated = [c for c in (*cells, *counters.values()) if not c.states_u]
    if not unstated:
        return estimates
    cautions = tuple(message("uncertainty_not_stated", channel=c.name) for c in unstated)
    estimates = replace(estimates, warnings=(*cautions, *estimates.warnings))
    under_load = [c for c in _load_cells(cells, estimates.estimator) if not c.states_u]
    at_haul = [c for c in cells[:1] if not c.states_u]
    by_count = [c for c in counters.values() if not c.states_u]
    before = _values(estimates)
    if by_count:
        totals = replace(estimates.totals, efficiency=None)
        estimates = replace(estimates, totals=totals, work_efficiency=None)
    if at_haul:
        estimates = replace(estimates, haul_force=None)
    if under_load:
        estimates = replace(estimates, load_force=None)
    if at_haul or under_load:
        estimates = replace(
            estimates,
            actual_ma=None,
            efficiency=None,
            pulley_efficiency=None,
            work_efficiency=None,
            strokes=(None,) * len(estimates.strokes),
            seen=None,
        )
    if _values(estimates) == before:
        return estimates
    names = list(dict.fromkeys(c.name for c in (*at_haul, *under_load, *by_count)))
    why = message("rests_on_unstated", channels=" and ".join(names), count=len(names))
    return replace(estimates, why_not=(*estimates.why_not, why))


def _values(estimates: Estimates) -> int:
    """How many quantities there are."""
    quantities = (
        estimates.haul_force,
        estimates.load_force,
        estimates.actual_ma,
        estimates.totals.efficiency,
        estimates.work_efficiency,
    )
    return sum(one is not None for one in quantities)


def _load_cells(cells: Sequence[Channel], estimator: LoadEstimator | None) -> list[Channel]:
    """The cells on which the load force rests; without an estimator the haul cell, by the model."""
    if estimator is None:
        return list(cells[:1])
    used = [c for c, share in zip(cells, estimator.share, strict=False) if share]
    by_haul = estimator.same_gain_N or estimator.same_zero
    return list(dict.fromkeys([*(cells[:1] if by_haul else []), *used]))
