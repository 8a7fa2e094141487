"""Sums travel and work of a session's haul strokes; computes travel efficiency and work efficiency."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.efficiency.load_estimators import LoadEstimator
from analysis.efficiency.rope_at_rest import given_back_m
from analysis.efficiency.uncertainty import Component, Quantity, type_a
from analysis.mechanics.model import Model
from analysis.signals.lag_from_ripple import MOST, ChannelLag, stated
from analysis.signals.time_cells import RATE, Floats
from analysis.strokes.load_travel import rope_m, why_unknown
from analysis.strokes.result import Result
from analysis.strokes.stroke import Stroke
from logger.channels.channel import Channel

# share of the work by which a silence was filled that is its standard uncertainty; chosen by us: the force of some
# seconds differs so much from the mean of its stroke, at a stroke's beginning more; held by the coverage tests
FILLED = 0.3
# speed of the rope while the force rises and falls / mean speed of the stroke; chosen by us: hands begin slowly; held by the
# coverage tests
AT_ENDS = 0.6
# time of a stroke below which its rope does not come in faster, s; chosen by us: a load that is lifted off its capture
# before it is lowered goes a hand's breadth
SHORTEST_S = 2.0


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
    load = sum(s.load_travel_m or 0.0 for s in haul)
    if not counted:
        return HaulTotals(
            haul_m=haul_m,
            load_m=haul_m / rig_model.travel_ratio,
            method="model",
            in_J=work,
            efficiency=None,
        )
    ratio = None
    if (
        haul_m > 0
        and roles.progress is not roles.load_length
        and roles.progress
        and roles.load_length
    ):
        # from rest to rest: with the slack, and with load and rope where the load comes to rest
        given, given_u = given_back_m(haul, stated(roles.load_length, roles.progress))
        rope = np.array([s.haul_travel_m + s.slack_m for s in haul]) - given
        moved = np.array([s.load_rest_m or 0.0 for s in haul])
        whole, made = float(rope.sum()), float(moved.sum())
        _, scatter = type_a(moved * rig_model.travel_ratio / rope, rope)
        value = made * rig_model.travel_ratio / whole
        parts = [scatter, Component("rope at the load's rest", value * given_u / whole)]
        for channel, total in (
            (roles.progress, whole / roles.progress_gain),
            (roles.load_length, made),
        ):
            u = _length_u(channel, total, len(haul))
            parts.append(Component(f"counter {channel.name}", value * u / max(abs(total), 1e-9)))
        ratio = Quantity(value, tuple(parts), len(haul))
    return HaulTotals(haul_m=haul_m, load_m=load, method="counter", in_J=work, efficiency=ratio)


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
    return float(sum(_of_stroke(estimator, s) for s in haul))


def _of_stroke(estimator: LoadEstimator, stroke: Stroke, late: Floats | float = 1.0) -> float:
    """Work done on the load in one stroke, J; late: (forces,) corrections of means for lags."""
    return float(estimator.share @ (np.array(stroke.out_J) * late)) + estimator.constant_N * (
        stroke.load_rest_m or 0.0
    )


def work_ratio(
    totals: HaulTotals,
    estimator: LoadEstimator,
    result: Result,
    actual: Quantity,
    haul: list[Stroke],
) -> Quantity | None:
    """Work efficiency: work out / work in over whole strokes; None without a counter at the load.

    result: its lags correct the work, for the team's by the rope counter, for the load's by its own counter; actual: actual
    MA, whose uncertainties by the cells enter.
    """
    if totals.method == "model" or not totals.in_J or any(s.work_J <= 0 for s in haul):
        return None
    rope, lags = result.rope_lag, result.load_lags or (ChannelLag(),) * len(estimator.share)
    late = np.array([lag.factor for lag in lags])
    each = np.array([_of_stroke(estimator, s, late) for s in haul])
    work = np.array([s.work_J for s in haul]) * rope.factor
    value = float(each.sum() / work.sum())
    _, scatter = type_a(each / work, work)
    by_cells = {
        j: abs(share) * float(sum(s.out_J[j] for s in haul)) / float(work.sum())
        for j, share in enumerate(estimator.share.tolist()) if share
    }  # fmt: skip
    by_lags = math.hypot(0.0, *(share * lags[j].factor_u for j, share in by_cells.items()))
    parts = [
        scatter,
        *_silences(estimator, haul, float(work.sum()), value),
        # hauling and lowering give one load force for whole strokes, however much it changes with the cell's
        _ends(result, haul, value, min(value, math.hypot(0.0, *by_cells.values()))),
        Component(f"work: {rope.component}", value * rope.factor_u),
        Component(f"work on the load: {lags[0].component}", by_lags),
    ]
    for other in (actual, totals.efficiency):
        if other is not None and other.value:
            scale = abs(value / other.value)
            parts += [
                Component(c.name, c.u * scale, c.degrees)
                for c in other.budget
                if c.name != "scatter"
            ]
    return Quantity(value, tuple(parts), len(haul))


def _ends(result: Result, haul: list[Stroke], value: float, by_cells: float) -> Component:
    """The component by lags between force and travel at the ends of strokes, where no mean corrects it.

    A force that comes late misses the work of the rope that came in meanwhile at the beginning, and makes up for
    nothing at the end, where the rope stands under tension.  value: the work efficiency; by_cells: what of it rests on
    forces of this session, with the load's counter.
    """
    roles = result.roles
    rope_s = _apart_s(result.lag_s, result.lag_u_s)
    by_file = stated(roles.progress, roles.haul_force)
    if by_file is not None:
        rope_s = _apart_s(by_file.lag_s, by_file.u_s)
    by_file = stated(roles.load_length, roles.haul_force)
    load_s = _apart_s(*(None, None) if by_file is None else (by_file.lag_s, by_file.u_s))
    power_W = sum(s.work_J / max(s.end_s - s.start_s, SHORTEST_S) for s in haul)
    at_once = AT_ENDS * power_W / sum(s.work_J for s in haul)
    return Component(
        "work at the ends of strokes: lag between channels",
        at_once * math.hypot(value * rope_s, by_cells * load_s),
    )


def _apart_s(lag_s: float | None, u_s: float | None) -> float:
    """Root mean square of the lag between a cell and a counter, s; of two unknown delays where it is not known."""
    if lag_s is None or u_s is None:
        return MOST / RATE / math.sqrt(6)
    return math.hypot(lag_s, u_s)


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
