"""Estimates the rig's actual advantage and efficiency from strokes, with uncertainty after the GUM.

`estimate` chooses a load estimator (`load_estimators`, `load_from_lowering`, or one from another session)
and computes every quantity of interface section 6 with its budget.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from analysis.efficiency.contradictions import without_contradicted
from analysis.efficiency.ground_scatter import ground_scatter
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
# rope for a step of the load counter, above which it does not show whether the load stands; chosen by us: a pull of
# a hand
COARSE_M = 0.6
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
    ratio: Quantity | None = None  # load force / haul force, also without an actual_ma
    refused: Message | None = None  # the contradiction for which values are left out


def estimate(
    rig: Rig, rig_model: Model, result: Result, given: LoadEstimator | None = None
) -> Estimates:
    """Estimate all quantities of a rig from the strokes of a result.

    given: a load estimator to use in any case; None: the best one is chosen.  What rests on a
    channel without a stated uncertainty is left out.
    """
    all_of_them = _estimate(rig, rig_model, result, given)
    sound = without_contradicted(rig, rig_model, result, all_of_them)
    return without_unstated(sound, result.roles)


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
    force = with_slack(haul_force(cell, seen), result, 1.0)
    doubt = float(cell.u_si(force.value))
    why = _unusable(cell, force.value, doubt, haul)
    if doubt > SMALL * force.value and why is None:
        warnings.append(message("haul_force_small", force_N=force.value, cell=cell.name,
                                share=doubt / force.value))  # fmt: skip
    by_lag = math.sqrt(max(0.0, seen.lags[0].factor_u ** 2 - seen.lags[0].lost_u ** 2))
    if by_lag > LAGS_MATTER and force.value > 0:
        warnings.append(message("ripple_and_lag", cell=cell.name, share=2 * by_lag))
    counter = result.roles.load_length
    coarse = counter is None or result.channels[counter.name].step_m * result.roles.ratio > COARSE_M
    stood = 0.0 if coarse else _stood(haul)
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
    forces = result.roles.forces
    load, actual = load_force(forces, estimator, seen), advantage(forces, estimator, seen)
    # haul-and-lower takes both forces from one cell; else the zero changes the haul force alone
    gain = float(estimator.share[0]) + estimator.same_zero
    load = with_slack(load, result, gain)
    actual = with_slack(actual, result, (gain - actual.value) / force.value)
    if estimator.method == "known" and rig.load.kind != "hanging":
        load, actual = _over_ground(load, actual, seen, ground_scatter(haul))
    if why is None and not load.value > 0:
        why = message("no_load", load_N=load.value)
    if why is None and actual.value > rig_model.ideal_ma * (1 + 1e-6) + actual.U95:
        why = message("advantage_above_ideal", advantage=actual.value, ideal=rig_model.ideal_ma,
                      advantage_U95=actual.U95)  # fmt: skip
    estimates = replace(
        estimates, load_force=load, method=estimator.method, estimator=estimator, work_out_J=out_J(totals, estimator, load, haul), ratio=actual,
        warnings=(*estimates.warnings, *estimator.warnings),
    )  # fmt: skip
    if why is not None:
        return replace(estimates, why_not=(why,))
    return replace(
        estimates,
        actual_ma=actual,
        efficiency=actual.scaled(1 / rig_model.ideal_ma),
        pulley_efficiency=_pulleys(rig, actual),
        work_efficiency=work_ratio(totals, estimator, result, actual),
        strokes=tuple(
            _of_stroke(result, estimator, s, rig_model) if s.direction == "haul" else None
            for s in result.strokes
        ),
    )


def _over_ground(
    load: Quantity, actual: Quantity, seen: Observations, ground: Component
) -> tuple[Quantity, Quantity]:
    """Load force and actual MA over ground that differs from place to place; ground: relative.

    The file states one load force; how it varies along the way shows in the haul force.  The actual MA has that
    in the scatter of whole strokes; where pieces stand for too few strokes, `ground` takes its place.
    """
    apart = type_a(seen.force_N[:, 0], seen.distance_m)[1]
    apart = Component(ground.name, apart.u / seen.mean(0), apart.degrees)
    most = max(apart, ground, key=lambda c: c.u)
    parts = [*load.budget, Component(most.name, most.u * load.value, most.degrees)]
    if seen.by_pieces and ground.u > apart.u:
        rest = [c for c in actual.budget if c.name != "scatter"]
        by_ground = Component(ground.name, ground.u * actual.value, ground.degrees)
        actual = _quantity(actual.value, [*rest, by_ground], actual.n)
    return _quantity(load.value, parts, load.n), actual


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


def with_slack(quantity: Quantity, result: Result, gain: float) -> Quantity:
    """The quantity with what slack rope shows of the haul cell's zero in its budget.

    gain: d quantity / d haul force.  Rope cannot push, so a slack reading below zero is an error of the zero; it
    stays uncorrected, and is at most the error of a mean (JCGM 100, F.2.4.5).  A drift D from nothing leaves errors
    from 0 to D: root mean square D / sqrt(3).  What `u` of the sensors file covers of both is left out.
    """
    slack, cell = result.slack, result.roles.haul_force
    if slack is None or cell is None:
        return quantity
    error_N = math.hypot(min(slack.offset_N, 0.0), slack.drift_N / math.sqrt(3))
    more = error_N**2 - float(cell.u_si(0.0)) ** 2
    if more <= 0:
        return quantity
    zero = Component(f"{cell.name}: zero by slack rope", abs(gain) * math.sqrt(more))
    return _quantity(quantity.value, [*quantity.budget, zero], quantity.n)


def haul_force(cell: Channel, seen: Observations) -> Quantity:
    """The mean haul force while the load moves steadily, N, with its budget."""
    value, scatter = type_a(seen.force_N[:, 0], seen.distance_m)
    late = Component(seen.lags[0].component, value * seen.lags[0].factor_u)
    return _quantity(value, [scatter, *_cell(cell, value, 1.0, 1.0), late], len(seen))


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
    return _quantity(value, [*parts, Component(seen.lags[0].component, math.sqrt(late))], len(seen))


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
    return _quantity(ma, [*parts, Component(seen.lags[0].component, math.sqrt(late))], len(seen))


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
        return (
            message("only_tugged", tugs=result.tugs) if result.tugs else message("no_rope_hauled")
        )
    return message("never_steady")
