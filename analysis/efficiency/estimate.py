"""Estimates the rig's actual advantage and efficiency from strokes, with uncertainty after the GUM.

`estimate` chooses a load estimator (`load_estimators`, `load_from_lowering`, or one from another session)
and computes every quantity of interface section 6 with its budget.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from analysis.efficiency.load_estimators import (
    LoadEstimator,
    Observations,
    cell_degrees,
    cell_u,
    estimator_from_cells,
    estimator_from_rig_file,
    observations,
)
from analysis.efficiency.load_from_lowering import estimator_from_lowering
from analysis.efficiency.uncertainty import Component, Quantity, type_a
from analysis.efficiency.unit_check import unit_doubts
from analysis.efficiency.unstated_uncertainty import without_unstated
from analysis.efficiency.work import NO_TOTALS, HaulTotals, haul_totals, out_J, work_ratio
from analysis.mechanics.model import Model, common_efficiency
from analysis.messages.message import Message, message
from analysis.rig.rig import Rig
from analysis.strokes.result import Result
from analysis.strokes.stroke import Stroke
from logger.channels.channel import Channel

__all__ = ["Estimates", "estimate", "observations"]

# standard uncertainty of the cell / haul force: above TOO_SMALL nothing is estimated, above SMALL there is a
# warning; chosen by us: U95 is then 40 % and 10 % of the force or more
TOO_SMALL, SMALL = 0.20, 0.05
STOOD = 0.5  # share of the rope hauled with the load at rest, for a warning; chosen by us: the greater part
# share of a stroke's rope beyond a cell's capacity, above which nothing is estimated; chosen by us: a single
# jerk spoils no stroke
SATURATED_SHARE = 0.05
# relative uncertainty by lags, for a warning; chosen by us: U95 of the force is then 6 %
LAGS_MATTER = 0.03


@dataclass(frozen=True)
class Estimates:
    """The `measured` values of a review with their budgets; None where a value was not measured."""

    haul_force: Quantity | None = None  # mean haul force, N
    load_force: Quantity | None = None  # mean load force, N
    method: str = "model"  # of the load force, as interface section 6 names it
    actual_ma: Quantity | None = None  # load force / haul force
    efficiency: Quantity | None = None  # actual MA / ideal MA
    pulley_efficiency: Quantity | None = None  # common efficiency of the pulleys
    totals: HaulTotals = NO_TOTALS  # travel and work of the haul strokes
    work_efficiency: Quantity | None = None  # work out / work in
    work_out_J: float | None = None  # work done on the load
    strokes: tuple[Quantity | None, ...] = ()  # efficiency of each stroke of the result
    why_not: tuple[Message, ...] = ()  # why values are missing
    warnings: tuple[Message, ...] = ()  # warnings about the estimate
    seen: Observations | None = None  # the observations
    estimator: LoadEstimator | None = None  # the load estimator; None where there is none


def estimate(
    rig: Rig, rig_model: Model, result: Result, given: LoadEstimator | None = None
) -> Estimates:
    """Estimate all quantities of a rig from the strokes of a result.

    given: a load estimator to use in any case; None: the best one is chosen.  What rests on a
    channel without a stated uncertainty is left out.
    """
    return without_unstated(_estimate(rig, rig_model, result, given), result.roles)


def _estimate(rig: Rig, rig_model: Model, result: Result, given: LoadEstimator | None) -> Estimates:
    """`estimate`, with channels without a stated uncertainty taken for exact."""
    haul = [s for s in result.strokes if s.direction == "haul"]
    totals = haul_totals(rig_model, result, haul)
    seen = observations(haul, result.lags)
    cell = result.roles.haul_force
    none = (None,) * len(result.strokes)
    if seen is None or cell is None:
        return Estimates(totals=totals, strokes=none, why_not=(_no_strokes(result),))
    warnings: list[Message] = []
    force = haul_force(cell, seen)
    doubt = float(cell.u_si(force.value))
    why = _unusable(cell, force.value, doubt, haul)
    if doubt > SMALL * force.value and why is None:
        warnings.append(message("haul_force_small", force_N=force.value, cell=cell.name,
                                share=doubt / force.value))  # fmt: skip
    if seen.lags[0].factor_u > LAGS_MATTER and force.value > 0:
        warnings.append(message("ripple_and_lag", cell=cell.name, share=2 * seen.lags[0].factor_u))
    stood = _stood(haul) if result.roles.load_length is not None else 0.0
    if stood > STOOD:
        warnings.append(message("load_stood", share=stood))
    if len(seen) == 1:
        warnings.append(message("one_observation"))
    warnings += unit_doubts(rig_model, result, seen)
    estimates = Estimates(force, totals=totals, strokes=none, warnings=tuple(warnings), seen=seen)
    unusable = () if why is None else (why,)
    if not force.value > 0:
        return replace(estimates, why_not=unusable)
    estimator = given or choose_estimator(rig, rig_model, result, seen)
    if estimator is None:
        return replace(
            estimates, load_force=_by_model(rig_model, force),
            why_not=(*unusable, message("load_force_not_known")),
        )  # fmt: skip
    load, actual = (
        load_force(result.roles.forces, estimator, seen),
        advantage(result.roles.forces, estimator, seen),
    )
    if estimator.method == "known" and rig.load.kind != "hanging":
        # the file states one load force; how it varies along the ground shows in the haul force
        apart = type_a(seen.force_N[:, 0], seen.distance_m)[1]
        ground = Component(
            "ground from stroke to stroke", apart.u / force.value * load.value, apart.degrees
        )
        load = _quantity(load.value, [*load.budget, ground], load.n)
    if why is None and not load.value > 0:
        why = message("no_load", load_N=load.value)
    if why is None and actual.value > rig_model.ideal_ma * (1 + 1e-6) + actual.U95:
        why = message("advantage_above_ideal", advantage=actual.value, ideal=rig_model.ideal_ma,
                      advantage_U95=actual.U95)  # fmt: skip
    estimates = replace(
        estimates, load_force=load, method=estimator.method, estimator=estimator, work_out_J=out_J(totals, estimator, load, haul),
        warnings=(*estimates.warnings, *estimator.warnings),
    )  # fmt: skip
    if why is not None:
        return replace(estimates, why_not=(why,))
    return replace(
        estimates,
        actual_ma=actual,
        efficiency=actual.scaled(1 / rig_model.ideal_ma),
        pulley_efficiency=_pulleys(rig, actual),
        work_efficiency=work_ratio(totals, estimator, load, actual, haul),
        strokes=tuple(
            _of_stroke(result, estimator, s, rig_model) if s.direction == "haul" else None
            for s in result.strokes
        ),
    )


def _stood(strokes: list[Stroke]) -> float:
    """Share of the rope hauled during which the load stood."""
    rope = sum(s.haul_travel_m for s in strokes)
    moved = sum(s.steady.distance_m for s in strokes if s.steady is not None)
    return 1 - moved / rope if rope > 0 else 0.0


def choose_estimator(
    rig: Rig, rig_model: Model, result: Result, seen: Observations
) -> LoadEstimator | None:
    """The load estimator to use: cells where they give the load force.

    Otherwise, of the rig file and of hauling and lowering, the one with the smaller uncertainty.
    """
    estimator = estimator_from_cells(rig, rig_model, result, seen)
    if estimator is not None:
        return estimator
    forces = result.roles.forces
    estimators = [
        estimator_from_rig_file(rig_model, len(forces)),
        estimator_from_lowering(rig, rig_model, result, seen),
    ]
    some = [w for w in estimators if w is not None]

    def doubt(estimator: LoadEstimator) -> float:
        """Relative standard uncertainty of the load force."""
        force = load_force(forces, estimator, seen)
        return force.u / force.value

    return min(some, key=doubt, default=None)


def haul_force(cell: Channel, seen: Observations) -> Quantity:
    """The mean haul force while the load moves steadily, N, with its budget."""
    value, scatter = type_a(seen.force_N[:, 0], seen.distance_m)
    late = Component(LAG, value * seen.lags[0].factor_u)
    return _quantity(value, [scatter, *_cell(cell, value, 1.0, 1.0), late], len(seen))


LAG = "lag between channels"


def load_force(
    forces: tuple[Channel, ...], estimator: LoadEstimator, seen: Observations
) -> Quantity:
    """The mean load force, N, with its budget; the error of each cell enters once, by its share."""
    value, scatter = type_a(estimator.force(seen.force_N), seen.distance_m)
    haul = seen.mean(0)
    parts, late = [scatter, *estimator.terms], 0.0
    gain = estimator.share[0] + estimator.same_gain_N / haul
    parts += _cell(forces[0], haul, gain, estimator.share[0] + estimator.same_zero)
    for j in np.flatnonzero(estimator.share):
        share, mean = float(estimator.share[j]), seen.mean(int(j))
        late += (share * mean * seen.lags[j].factor_u) ** 2
        if j:
            parts += _cell(forces[j], mean, share, share)
    return _quantity(value, [*parts, Component(LAG, math.sqrt(late))], len(seen))


def advantage(
    forces: tuple[Channel, ...], estimator: LoadEstimator, seen: Observations
) -> Quantity:
    """The actual MA = F / S, load force / haul force, with its budget.

    dMA = dF / S - MA dS / S, so an error of the haul cell that enters both F and S counts once.  A lag
    common to all channels changes F and S together.
    """
    haul = seen.mean(0)
    each = estimator.force(seen.force_N)
    ma = float(np.average(each, weights=seen.distance_m)) / haul
    _, spread = type_a((each - ma * seen.force_N[:, 0]) / haul, seen.distance_m)
    parts = [spread, *(Component(c.name, c.u / haul, c.degrees) for c in estimator.terms)]
    late = (estimator.constant_N / haul * seen.lags[0].factor_u) ** 2
    gain = (estimator.share[0] * haul + estimator.same_gain_N) / haul - ma
    zero = (estimator.share[0] + estimator.same_zero - ma) / haul
    parts += _cell(forces[0], haul, gain / haul, zero)
    for j in np.flatnonzero(estimator.share):
        if j:
            share, mean = float(estimator.share[j]), seen.mean(int(j))
            parts += _cell(forces[j], mean, share / haul, share / haul)
            late += (share * mean / haul * seen.lags[j].ratio_u) ** 2
    return _quantity(ma, [*parts, Component(LAG, math.sqrt(late))], len(seen))


def _cell(channel: Channel, value: float, gain: float, zero: float) -> list[Component]:
    """The components of a cell's scale and zero at force `value`, N.

    gain, zero: d result / d force for the error that grows with the force, and for the constant one.
    """
    scale_u, zero_u = cell_u(channel, value)
    scale_degrees, zero_degrees = cell_degrees(channel, value)
    return [
        Component(f"{channel.name}: scale", abs(gain) * scale_u, scale_degrees),
        Component(f"{channel.name}: zero", abs(zero) * zero_u, zero_degrees),
    ]


def _quantity(value: float, parts: list[Component], n: int) -> Quantity:
    """A quantity from n observations, without components that are zero."""
    return Quantity(value, tuple(c for c in parts if c.u > 0), n)


def _by_model(rig_model: Model, force: Quantity) -> Quantity:
    """The load force by the model's MA, N: haul force x model MA."""
    scaled = force.scaled(rig_model.model_ma)
    pulleys = Component("pulleys' assumed efficiency", force.value * rig_model.model_ma_u)
    return Quantity(scaled.value, (*scaled.budget, pulleys), force.n)


def _of_stroke(
    result: Result, estimator: LoadEstimator, stroke: Stroke, rig_model: Model
) -> Quantity | None:
    """The efficiency of one stroke, with its batches as observations."""
    seen = observations([stroke], result.lags)
    if seen is None or not np.all(np.isfinite(seen.force_N[:, estimator.share != 0])):
        return None
    return advantage(result.roles.forces, estimator, seen).scaled(1 / rig_model.ideal_ma)


def _pulleys(rig: Rig, actual: Quantity) -> Quantity | None:
    """The common pulley efficiency that gives this actual MA; its uncertainty by the local slope."""
    value = common_efficiency(rig, actual.value)
    if value is None:
        return None
    step = max(actual.u, 1e-3 * actual.value)
    ends = []
    for ma in (actual.value - step, actual.value + step):
        e = common_efficiency(rig, ma)
        if e is not None:
            ends.append((ma, e))
    if len(ends) < 2:
        ends.append((actual.value, value))
    if len(ends) < 2:
        return None
    (m0, e0), (m1, e1) = ends[:2]
    slope = abs((e1 - e0) / (m1 - m0))
    parts = tuple(Component(c.name, c.u * slope, c.degrees) for c in actual.budget)
    return Quantity(value, parts, actual.n)


def _unusable(cell: Channel, haul_N: float, doubt: float, strokes: list[Stroke]) -> Message | None:
    """Why the haul force cannot be used; doubt: its standard uncertainty by the cell, N.  None: usable."""
    if haul_N <= 0 or doubt > TOO_SMALL * haul_N:
        return message("haul_force_too_small", force_N=haul_N, cell=cell.name, u_N=doubt)
    used = [s.steady for s in strokes if s.steady is not None]
    if max(s.saturated for s in used) > SATURATED_SHARE:
        return message("hauled_beyond_capacity")
    return None


def _no_strokes(result: Result) -> Message:
    """Why there is no haul force."""
    cell = result.roles.haul_force
    if cell is None:
        return message("no_haul_cell")
    summary = result.channels[cell.name]
    if summary.readings == 0:
        return message("haul_cell_silent", cell=cell.name)
    if result.roles.progress is None:
        return message("no_travel_counter")
    counter = result.channels[result.roles.progress.name]
    if counter.readings == 0:
        return message("counter_silent", counter=result.roles.progress.name)
    highest = result.highest_N
    if highest is None or highest <= result.floor_N:
        return message("nobody_hauled", cell=cell.name, floor_N=result.floor_N)
    if not any(s.direction == "haul" for s in result.strokes):
        return message("no_rope_hauled")
    return message("never_steady")
