"""Sums travel and work of a session's haul strokes; computes travel efficiency and work efficiency.

Both are of the strokes that were hauled, not of strokes to come: each stroke is measured, so what slack and ground differ by
from stroke to stroke is part of the value and no uncertainty of it (JCGM 100, 3.1.3 and D.1.1: the measurand).  What is
uncertain are the counters, the cells, and how late each speaks:

    travel efficiency = ratio x sum of load travel / sum of rope,
    work efficiency = sum over j of c_j W_j(k) + C x load travel,  divided by W(l),

with W(l) the work of the haul cell over the rope at a lag of l cells, W_j(k) that of force channel j over the load's travel,
and the load force sum of c_j F_j + C of the estimator.  The lags have the probabilities that the session's lag sums give.
Value and standard uncertainty of each work are its mean and standard deviation under them (JCGM 100, 4.3.3; JCGM 101 for
a distribution of any shape).  As the work is summed over whole strokes, it holds what a lag does to their ends.

A stroke that only takes the load off its capture, before it is lowered, raises nothing and counts in neither.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.efficiency.load_estimators import LoadEstimator
from analysis.efficiency.rope_at_rest import given_back_m
from analysis.efficiency.uncertainty import Component, Quantity, type_a
from analysis.mechanics.model import Model
from analysis.signals.lag_from_ripple import BOTH_MEANS, LAG, STATED, stated
from analysis.signals.time_cells import Floats
from analysis.strokes.lag_correction import WorkLags
from analysis.strokes.load_travel import rope_m, why_unknown
from analysis.strokes.result import Result
from analysis.strokes.steady_part import SEEN_LOAD_M
from analysis.strokes.stroke import Stroke
from analysis.strokes.stroke_sums import WORK_LAGS
from logger.channels.channel import Channel

# share of the work by which a silence was filled that is its standard uncertainty; chosen by us: the force of some
# seconds differs so much from the mean of its stroke, at a stroke's beginning more; held by the coverage tests
FILLED = 0.3
# components of the advantage by what its means over distance leave open; the work of whole strokes does not rest on them
OF_MEANS = ("scatter", LAG, BOTH_MEANS)


@dataclass(frozen=True)
class HaulTotals:
    """Travel and work of all haul strokes; None where they were not measured."""

    haul_m: float | None  # rope at the haul
    load_m: float | None  # load travel
    method: str  # of load_m: counter, or model (rope / travel ratio)
    in_J: float | None  # work of the team: integral of the haul force over rope
    efficiency: Quantity | None  # load travel x travel ratio / rope, rest to rest


NO_TOTALS = HaulTotals(haul_m=None, load_m=None, method="model", in_J=None, efficiency=None)


def haul_totals(rig_model: Model, result: Result, haul: list[Stroke]) -> HaulTotals:
    """Sum travel and work over the strokes `haul` of a result."""
    roles = result.roles
    counted = roles.load_length is not None and result.channels[roles.load_length.name].readings > 0
    if why_unknown(result):
        return HaulTotals(
            haul_m=None,
            load_m=None,
            method="counter" if counted else "model",
            in_J=None,
            efficiency=None,
        )
    haul_m = rope_m(haul)
    work = sum(s.work_J for s in haul)
    if not counted:
        return HaulTotals(
            haul_m=haul_m,
            load_m=haul_m / rig_model.travel_ratio,
            method="model",
            in_J=work,
            efficiency=None,
        )
    return HaulTotals(
        haul_m=haul_m,
        load_m=sum(s.load_travel_m or 0.0 for s in haul),
        method="counter",
        in_J=work,
        efficiency=_travel_ratio(rig_model, result, raised(result.strokes)),
    )


def raised(strokes: tuple[Stroke, ...]) -> list[Stroke]:
    """The haul strokes, without those that only take the load off its capture before it is lowered.

    In these the load does not move, and the rope that they take in is given back with the lowering.
    """
    lowered = [*(s.direction == "lower" for s in strokes[1:]), False]
    return [
        s
        for s, before_lowering in zip(strokes, lowered, strict=False)
        if s.direction == "haul" and not (before_lowering and _stood(s))
    ]


def _stood(stroke: Stroke) -> bool:
    """Whether the load's counter shows no motion in a stroke."""
    return stroke.load_rest_m is not None and stroke.load_rest_m < SEEN_LOAD_M


def _travel_ratio(rig_model: Model, result: Result, haul: list[Stroke]) -> Quantity | None:
    """Travel efficiency from rest to rest: with the slack, and with load and rope where the load comes to rest."""
    rope, load = result.roles.progress, result.roles.load_length
    if not haul or rope is None or load is None or rope is load:
        return None
    given, given_u = given_back_m(haul, stated(load, rope), result.work_lags)
    whole = float(sum(s.haul_travel_m + s.slack_m for s in haul)) - float(given.sum())
    made = float(sum(s.load_rest_m or 0.0 for s in haul))
    if not whole > 0:
        return None
    value = made * rig_model.travel_ratio / whole
    parts = [Component("rope at the load's rest", value * given_u / whole)]
    for channel, total in ((rope, whole / result.roles.progress_gain), (load, made)):
        u = _length_u(channel, total, len(haul))
        parts.append(Component(f"counter {channel.name}", value * u / max(abs(total), 1e-9)))
    return Quantity(value, tuple(parts), len(haul))


def _length_u(channel: Channel, total: float, strokes: int) -> float:
    """Standard uncertainty of a counter's total over strokes, m; total: m.

    The error of the scale is common to all strokes; the errors at the two ends of each are independent.
    """
    whole = float(channel.u_si(total))
    ends = float(channel.u_si(0.0))
    scale = math.sqrt(max(0.0, whole * whole - ends * ends))
    return math.hypot(scale, ends * math.sqrt(2 * max(strokes, 1)))


def out_J(
    totals: HaulTotals, estimator: LoadEstimator, load: Quantity, haul: list[Stroke]
) -> float | None:
    """Work done on the load, J; None without travel or work.  load: load force."""
    if totals.load_m is None or not totals.in_J:
        return None
    if totals.method == "model":
        return load.value * totals.load_m
    return float(
        sum(
            estimator.share @ np.array(s.out_J) + estimator.constant_N * (s.load_rest_m or 0.0)
            for s in haul
        )
    )


def work_ratio(
    totals: HaulTotals, estimator: LoadEstimator, result: Result, actual: Quantity
) -> Quantity | None:
    """Work efficiency: work out / work in over whole strokes; None without a counter at the load.

    result: its lags correct the work, for the team's by the rope counter, for the load's by its own counter; actual: actual
    MA, whose uncertainties by the cells enter.
    """
    haul = raised(result.strokes)
    if totals.method == "model" or not totals.in_J or any(s.work_J <= 0 for s in haul):
        return None
    if not haul or any(not s.lagged_J for s in haul):
        return None
    by_rope, by_load = (
        _over_rope(haul, result.work_lags),
        _over_load(haul, estimator, result.work_lags),
    )
    put_in = by_rope.each.sum()
    if not put_in > 0:
        return None
    value = float(by_load.each.sum() / put_in)
    parts = [
        *_silences(estimator, haul, float(put_in), value),
        Component(f"work: {LAG}", value * by_rope.u_J / float(put_in)),
        Component(f"work on the load: {LAG}", by_load.u_J / float(put_in)),
    ]
    if estimator.constant_N:
        # one load force stands for all strokes, so what it differs by from stroke to stroke shows here
        parts.append(type_a(by_load.each / by_rope.each, by_rope.each)[1])
    for other in (actual, totals.efficiency):
        if other is not None and other.value:
            scale = abs(value / other.value)
            parts += [
                Component(c.name, c.u * scale, c.degrees)
                for c in other.budget
                if c.name not in OF_MEANS
            ]
    return Quantity(value, tuple(parts), len(haul))


@dataclass(frozen=True)
class _Work:
    """Work of n strokes under the possible lags."""

    each: Floats  # (n,) mean of each stroke, J
    u_J: float  # standard deviation of the sum, J


def _over_rope(haul: list[Stroke], lags: WorkLags) -> _Work:
    """Work of the team in each stroke."""
    table = np.array([s.lagged_J[0] for s in haul])
    return _under(_at(table, 0.0), np.array(lags.rope), np.array([s.filled_J for s in haul]))


def _over_load(haul: list[Stroke], estimator: LoadEstimator, lags: WorkLags) -> _Work:
    """Work on the load in each stroke; the channels have one counter, and so one lag, in common."""
    rest = np.array([estimator.constant_N * (s.load_rest_m or 0.0) for s in haul])
    rest += np.array([estimator.share @ np.array(s.filled_out_J) for s in haul])
    table, doubt = np.zeros((len(haul), len(STATED))), 0.0
    for j in np.flatnonzero(estimator.share):
        behind, u = lags.apart[j]
        own = np.array([s.lagged_J[1 + j] for s in haul]) * estimator.share[j]
        table += _at(own, behind)
        if u:
            ends = (_at(own, behind + u) - _at(own, behind - u)).sum(axis=0) / 2
            doubt = math.hypot(doubt, float(np.array(lags.load) @ ends))
    summed = _under(table, np.array(lags.load), rest)
    return _Work(summed.each, math.hypot(summed.u_J, doubt))


def _at(table: Floats, behind: float) -> Floats:
    """Work at STATED and so many cells behind, (n, k), from the work at WORK_LAGS, (n, lags), J."""
    return np.array([np.interp(STATED + behind, WORK_LAGS, row) for row in table])


def _under(table: Floats, likely: Floats, rest: Floats) -> _Work:
    """Work of each stroke, J: table (n, k) at STATED, their probabilities (k,), and rest (n,) at any lag."""
    whole = table.sum(axis=0)
    u = math.sqrt(float(likely @ (whole - likely @ whole) ** 2))
    return _Work(table @ likely + rest, u)


def _silences(
    estimator: LoadEstimator, haul: list[Stroke], work_J: float, value: float
) -> list[Component]:
    """The components of a work efficiency by silences that were filled with the mean force of their stroke.

    work_J: of the team in all strokes; value: the work efficiency.
    """
    by_haul = [s.filled_J / work_J * value for s in haul]
    by_load = [
        float(estimator.share @ np.array(s.filled_out_J)) / work_J for s in haul if s.filled_out_J
    ]
    u = FILLED * math.hypot(0.0, *by_haul, *by_load)
    return [Component("work while a cell was silent", u)] if u > 0 else []
