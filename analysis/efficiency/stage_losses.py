"""Compares the measured advantage of each stage of a rig with the model, from cells on its strands."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from analysis.efficiency.estimate import Estimates
from analysis.efficiency.load_estimators import cell_u
from analysis.efficiency.uncertainty import Component, Quantity, type_a
from analysis.mechanics.model import Model
from analysis.messages.message import Message, message
from analysis.rig.rig import Rig
from analysis.strokes.result import Result

DRAGS = 1.0  # En beyond which a stage differs from the model; source: ISO/IEC 17043


@dataclass(frozen=True)
class Stage:
    """The force ratio between two measured places, from one to the next toward the load."""

    start: str  # place nearer the haul: haul or a strand
    end: str  # place nearer the load: a strand or load
    ideal: float  # frictionless force at end / force at start
    model: float  # the same ratio by the model
    model_u: float  # standard uncertainty of model
    measured: Quantity  # the measured ratio

    @property
    def en(self) -> float:
        """En of ISO/IEC 17043; the model's U95 is taken as twice its standard uncertainty."""
        both = math.hypot(self.measured.U95, 2 * self.model_u)
        return (self.measured.value - self.model) / both if both > 0 else 0.0


def stages(rig: Rig, rig_model: Model, result: Result, estimates: Estimates) -> list[Stage]:
    """The stages between cells on strands, in order from the haul; empty without such a cell.

    The last stage ends at the load where a load estimator gives its force.
    """
    seen, estimator = estimates.seen, estimates.estimator
    if seen is None or not np.all(seen.force_N[:, 0] > 0):
        return []
    places: dict[str, tuple[float, float, float]] = {"haul": (1.0, 1.0, 0.0)}
    column = {"haul": 0}
    strands = {p.name: p for p in rig_model.parts if p.kind == "strand"}
    for j, channel in enumerate(result.roles.forces):
        strand = strands.get(channel.at)
        if j and strand is not None and np.all(seen.force_N[:, j] > 0):
            places[channel.at] = (strand.ideal, strand.model, strand.model_u)
            column[channel.at] = j
    order = sorted(places, key=lambda name: places[name][0])
    rows = []
    for a, b in itertools.pairwise(order):
        if places[b][0] < places[a][0] * (1 + 1e-9):
            continue
        ratio = seen.force_N[:, column[b]] / seen.force_N[:, column[a]]
        parts = [_cell(result, seen.mean(column[x]), column[x]) for x in (a, b)]
        rows.append(_stage(a, b, places[a], places[b], ratio, seen.distance_m, parts))
    last = order[-1]
    if (
        len(places) > 1
        and estimator is not None
        and rig_model.ideal_ma > places[last][0] * (1 + 1e-9)
    ):
        load = estimator.force(seen.force_N)
        parts = [_cell(result, seen.mean(column[last]), column[last])]
        if estimates.load_force is not None:
            rest = [c for c in estimates.load_force.budget if c.name != "scatter"]
            parts += [
                [Component(c.name, c.u / estimates.load_force.value, c.degrees) for c in rest]
            ]
        end = (rig_model.ideal_ma, rig_model.model_ma, rig_model.model_ma_u)
        rows.append(
            _stage(last, "load", places[last], end, load / seen.force_N[:, column[last]],
                   seen.distance_m, parts)
        )  # fmt: skip
    return rows


def _cell(result: Result, mean: float, column: int) -> list[Component]:
    """Relative uncertainty of the force cell in this column at its mean force, N."""
    channel = result.roles.forces[column]
    return [Component(channel.name, math.hypot(*cell_u(channel, mean)) / abs(mean))]


def _stage(
    a: str, b: str, start: tuple[float, float, float], end: tuple[float, float, float],
    ratio: np.ndarray, weight: np.ndarray, parts: list[list[Component]],
) -> Stage:  # fmt: skip
    """The stage from place a to place b.

    start, end: (ideal, model, model's u) force at each place per haul tension; ratio: (n,) measured force
    ratios; weight: (n,) rope of each, m; parts: relative uncertainties.
    """
    value, scatter = type_a(ratio, weight)
    budget = [scatter, *(Component(c.name, c.u * value, c.degrees) for p in parts for c in p)]
    model = end[1] / start[1]
    # only the pulleys between the two places count: the difference of the two uncertainties
    u = model * abs(end[2] / end[1] - start[2] / start[1])
    return Stage(
        start=a,
        end=b,
        ideal=end[0] / start[0],
        model=model,
        model_u=u,
        measured=Quantity(value, tuple(budget), len(ratio)),
    )


def stage_warnings(compared: list[Stage]) -> list[Message]:
    """Report the stage that falls farthest behind the model; nothing where all are as predicted."""
    if len(compared) < 2:
        return []
    worst = min(compared, key=lambda s: s.en)
    if worst.en >= -DRAGS:
        return []
    m = worst.measured
    return [message("stage_drags", start=worst.start, end=worst.end, ratio=m.value, ratio_U95=m.U95,
                    ideal=worst.ideal, predicted=worst.model)]  # fmt: skip
