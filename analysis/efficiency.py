"""From strokes to the rig's actual advantage and efficiency, with uncertainty after the GUM.

A way of knowing the load force is a `Way`: it gives the load force of an observation and its
sensitivities.  `choose_way` picks the best that the session allows; another way is one more maker
in that list.  Every quantity keeps its budget of components.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.analyser import Result
from analysis.bodies import Rig
from analysis.cells import Floats
from analysis.predict import Model, common_efficiency, load_from_cell
from analysis.strokes import Stroke
from analysis.uncertainty import Component, Quantity, type_a
from logger.sensors import Channel

TOO_SMALL = 0.20  # standard uncertainty of the cell / force: no answer beyond
SMALL = 0.05  # ... and a warning beyond
SATURATED_SHARE = 0.05
FEW = 3  # strokes; with fewer, pieces of strokes are the independent observations

MEASURE_LOAD = (
    "the load's force is not known: put a cell at the load, or write the load's mass, slope and "
    "resistance_coefficient (or resistance_N) in the rig file"
)
USUAL_CAUSES = (
    "usual causes: someone pulled ahead of the haul cell, a wrong zero or scale, the wrong load, "
    "or another rig than the one in the file"
)


@dataclass(frozen=True)
class Observations:
    """Independent observations: distance_m (n,) and mean forces (n, channels), haul cell first."""

    distance_m: Floats
    force_N: Floats

    def __len__(self) -> int:
        return len(self.distance_m)

    def mean(self, channel: int) -> float:
        return float(np.average(self.force_N[:, channel], weights=self.distance_m))


@dataclass(frozen=True)
class Way:
    """How the load force is known.

    method: as in interface section 6; force(obs): load force of each observation (n,);
    terms(haul_N): [(name, d load force / d input * u of the input)] of everything but the haul
    cell; haul_share: d load force / d haul force.
    """

    method: str
    force: Callable[[Floats], Floats]
    terms: tuple[Component, ...]
    haul_share: float
    channel: int | None = None
    pair: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Estimates:
    """What `measured` of a review holds, as quantities with their budgets; None: not known."""

    haul_force: Quantity | None = None
    load_force: Quantity | None = None
    method: str = "model"
    actual_ma: Quantity | None = None
    efficiency: Quantity | None = None
    pulley_efficiency: Quantity | None = None
    travel_efficiency: Quantity | None = None
    work_efficiency: Quantity | None = None
    haul_travel_m: float | None = None
    load_travel_m: float | None = None
    load_travel_method: str = "model"
    work_in_J: float | None = None
    work_out_J: float | None = None
    strokes: tuple[Quantity | None, ...] = ()  # efficiency of each stroke of the result
    why_not: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def observations(strokes: list[Stroke]) -> Observations | None:
    """Strokes with a steady part; fewer than FEW give their batches instead."""
    rows = [[s.steady.distance_m, *s.steady.force_N] for s in strokes if s.steady is not None]
    if not rows:
        return None
    table = np.array(rows)
    if len(rows) < FEW:
        table = np.concatenate([s.steady.batches for s in strokes if s.steady is not None])
    table = table[np.isfinite(table[:, 1]) & (table[:, 0] > 0)]
    return Observations(table[:, 0], table[:, 1:]) if len(table) else None


def estimate(rig: Rig, known: Model, result: Result) -> Estimates:
    """Everything that these strokes tell about this rig."""
    haul = [s for s in result.strokes if s.direction == "haul"]
    warnings: list[str] = []
    travel = _travel(known, result, haul)
    seen = observations(haul)
    cell = result.roles.haul_force
    if seen is None or cell is None:
        nothing = Estimates(strokes=(None,) * len(result.strokes), why_not=(_no_strokes(result),))
        return _with(nothing, travel)
    haul_N = seen.mean(0)
    cell_u = float(cell.u_si(haul_N))
    _, scatter = type_a(seen.force_N[:, 0], seen.distance_m)
    haul_force = Quantity(haul_N, (scatter, Component(f"cell {cell.name}", cell_u)), len(seen))
    why = _unusable(cell, haul_N, cell_u, haul)
    if cell_u > SMALL * haul_N and not why:
        warnings.append(
            f"the haul force, {haul_N:.0f} N, is small for {cell.name}: its uncertainty is "
            f"{100 * cell_u / haul_N:.0f} % of it"
        )
    if len(seen) == 1:
        warnings.append("one observation only: how far results scatter is not known")
    way = choose_way(rig, known, result, seen)
    if way is None:
        model_force = haul_force.scaled(known.model_ma)
        load = Quantity(
            model_force.value,
            (*model_force.budget, Component("pulleys", haul_N * known.model_ma_u)),
            len(seen),
        )
        found = Estimates(
            haul_force, load, "model", strokes=(None,) * len(result.strokes),
            why_not=tuple(x for x in (why, MEASURE_LOAD) if x), warnings=tuple(warnings),
        )  # fmt: skip
        return _with(found, travel)
    load, actual = _advantage(cell, way, seen)
    per_stroke = tuple(
        _of_stroke(cell, way, s, known) if s.direction == "haul" and not why else None
        for s in result.strokes
    )
    if not why and actual.value > known.ideal_ma * (1 + 1e-6) + actual.U95:
        why = (
            f"the measured advantage, {actual.value:.3g}, is above the ideal {known.ideal_ma:.3g} "
            f"by more than its uncertainty {actual.U95:.2g}, which cannot be; {USUAL_CAUSES}"
        )
        per_stroke = (None,) * len(result.strokes)
    good = actual if not why else None
    found = Estimates(
        haul_force,
        load,
        way.method,
        good,
        good.scaled(1 / known.ideal_ma) if good else None,
        _pulleys(rig, good) if good else None,
        strokes=per_stroke,
        why_not=(why,) if why else (),
        warnings=tuple(warnings),
    )
    return _work(_with(found, travel), known, result, haul, way, seen, cell)


def choose_way(rig: Rig, known: Model, result: Result, seen: Observations) -> Way | None:
    """A cell that gives the load force whatever the pulleys do, else the rig file, else None."""
    ways = []
    for j, channel in enumerate(result.roles.forces):
        pair = load_from_cell(rig, channel.at) if j else None
        if pair is not None and np.all(np.isfinite(seen.force_N[:, j])):
            ways.append(_cell_way(channel, j, pair, seen.mean(j)))
    if ways:
        haul_u = float(result.roles.forces[0].u_si(seen.mean(0)))
        return min(ways, key=lambda w: math.hypot(w.terms[0].u, w.haul_share * haul_u))
    if known.load_force_N is not None and known.load_force_N > 0:
        force = known.load_force_N
        u = Component("load in the rig file", known.load_force_u_N or 0.0)
        return Way("known", lambda rows: np.full(len(rows), force), (u,), 0.0)
    return None


def _cell_way(channel: Channel, j: int, pair: tuple[float, float], mean: float) -> Way:
    a, b = pair
    u = Component(f"cell {channel.name}", abs(a) * float(channel.u_si(mean)))
    return Way("cell", lambda rows: a * rows[:, j] + b * rows[:, 0], (u,), b, j, pair)


def _advantage(cell: Channel, way: Way, seen: Observations) -> tuple[Quantity, Quantity]:
    """Load force F and actual MA = F / S; the haul cell enters both F (where it does) and S, once.

    d(F/S)/dS = (dF/dS - F/S) / S.
    """
    haul = seen.mean(0)
    each = way.force(seen.force_N)
    force, scatter = type_a(each, seen.distance_m)
    cell_u = float(cell.u_si(haul))
    own = Component(f"cell {cell.name}", abs(way.haul_share) * cell_u)
    load = Quantity(force, (scatter, *way.terms, own), len(seen))
    ma = force / haul
    _, spread = type_a(each / seen.force_N[:, 0], seen.distance_m)
    parts = (
        spread,
        *(Component(c.name, c.u / haul, c.degrees) for c in way.terms),
        Component(own.name, abs(way.haul_share - ma) / haul * cell_u),
    )
    return load, Quantity(ma, parts, len(seen))


def _of_stroke(cell: Channel, way: Way, stroke: Stroke, known: Model) -> Quantity | None:
    """Efficiency of one stroke; its batches are the observations."""
    seen = observations([stroke])
    needed = [0] if way.channel is None else [0, way.channel]
    if seen is None or not np.all(np.isfinite(seen.force_N[:, needed])):
        return None
    return _advantage(cell, way, seen)[1].scaled(1 / known.ideal_ma)


def _pulleys(rig: Rig, actual: Quantity) -> Quantity | None:
    """The common pulley efficiency that gives this MA; uncertainty by the local slope."""
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


def _unusable(cell: Channel, haul_N: float, cell_u: float, strokes: list[Stroke]) -> str:
    if haul_N <= 0 or cell_u > TOO_SMALL * haul_N:
        return (
            f"the haul force, {haul_N:.0f} N, is too small for {cell.name}, whose standard "
            f"uncertainty is {cell_u:.0f} N: take a smaller cell or a heavier load"
        )
    used = [s.steady for s in strokes if s.steady is not None]
    if max(s.saturated for s in used) > SATURATED_SHARE:
        return "a cell was beyond its capacity while hauling: take a larger cell"
    return ""


def _no_strokes(result: Result) -> str:
    """Why nothing can be said of the haul force."""
    cell = result.roles.haul_force
    if cell is None:
        return 'no force channel sits at = "haul": put a cell between the team and the rig'
    summary = result.channels[cell.name]
    if summary.readings == 0:
        return f"{cell.name} has no reading"
    if result.roles.progress is None:
        return (
            "no counter of rope or load travel, so steady hauling cannot be told from holding: "
            'add a length channel at = "haul"'
        )
    counter = result.channels[result.roles.progress.name]
    if counter.readings == 0:
        return f"{result.roles.progress.name} has no reading, so no travel is known"
    highest = result.highest_N
    if highest is None or highest <= result.floor_N:
        return (
            f"{cell.name} never rose above {result.floor_N:.1f} N, which is all that it can tell "
            "from nothing: nobody hauled, or the cell reads too little"
        )
    if not any(s.direction == "haul" for s in result.strokes):
        return "there was tension but no rope was hauled: no stroke to take a mean over"
    return "in no stroke did the load move steadily"


@dataclass(frozen=True)
class _Travel:
    haul_m: float | None
    load_m: float | None
    method: str
    work_J: float | None
    efficiency: Quantity | None


def _travel(known: Model, result: Result, haul: list[Stroke]) -> _Travel:
    roles = result.roles
    counted = roles.load_length is not None and result.channels[roles.load_length.name].readings > 0
    rope = roles.progress is not None and result.channels[roles.progress.name].readings > 0
    if not rope or roles.haul_force is None:
        return _Travel(None, None, "counter" if counted else "model", None, None)
    way = sum(s.haul_travel_m for s in haul)
    work = sum(s.work_J for s in haul)
    load = sum(s.load_travel_m or 0.0 for s in haul)
    if not counted:
        return _Travel(way, way / known.travel_ratio, "model", work, None)
    ratio = None
    if way > 0 and roles.progress is not roles.load_length and roles.progress and roles.load_length:
        each = np.array(
            [(s.load_travel_m or 0.0) * known.travel_ratio / s.haul_travel_m for s in haul]
        )
        _, scatter = type_a(each, np.array([s.haul_travel_m for s in haul]))
        value = load * known.travel_ratio / way
        parts = [scatter]
        for channel, total in (
            (roles.progress, way / roles.progress_gain),
            (roles.load_length, load),
        ):
            u = _length_u(channel, total, len(haul))
            parts.append(Component(f"counter {channel.name}", value * u / max(abs(total), 1e-9)))
        ratio = Quantity(value, tuple(parts), len(haul))
    return _Travel(way, load, "counter", work, ratio)


def _length_u(channel: Channel, total: float, strokes: int) -> float:
    """Of a sum over strokes: the scale is common to all, the two ends of each are independent."""
    whole = float(channel.u_si(total))
    ends = float(channel.u_si(0.0))
    scale = math.sqrt(max(0.0, whole * whole - ends * ends))
    return math.hypot(scale, ends * math.sqrt(2 * max(strokes, 1)))


def _with(found: Estimates, travel: _Travel) -> Estimates:
    return Estimates(
        **{
            **found.__dict__,
            "haul_travel_m": travel.haul_m,
            "load_travel_m": travel.load_m,
            "load_travel_method": travel.method,
            "work_in_J": travel.work_J,
            "travel_efficiency": travel.efficiency,
        }
    )


def _work(
    found: Estimates, known: Model, result: Result, haul: list[Stroke], way: Way,
    seen: Observations, cell: Channel,
) -> Estimates:  # fmt: skip
    """Work out, and its ratio to work in where a counter at the load tells its travel."""
    if found.load_travel_m is None or found.load_force is None or not found.work_in_J:
        return found
    if found.load_travel_method == "model":
        out = found.load_force.value * found.load_travel_m
        return Estimates(**{**found.__dict__, "work_out_J": out})
    if way.channel is None:
        each = [found.load_force.value * (s.load_travel_m or 0.0) for s in haul]
    else:
        a, b = way.pair
        each = [a * s.out_J[way.channel] + b * s.out_J[0] for s in haul]
    out = float(sum(each))
    value = out / found.work_in_J
    ratio = None
    if found.actual_ma is not None and all(s.work_J > 0 for s in haul):
        _, scatter = type_a(
            np.array(each) / np.array([s.work_J for s in haul]),
            np.array([s.work_J for s in haul]),
        )
        scale = value / found.actual_ma.value
        parts = [
            Component(c.name, c.u * scale) for c in found.actual_ma.budget if c.name != "scatter"
        ]
        if found.travel_efficiency is not None:
            scale = value / found.travel_efficiency.value if found.travel_efficiency.value else 0.0
            parts += [
                Component(c.name, c.u * abs(scale))
                for c in found.travel_efficiency.budget
                if c.name != "scatter"
            ]
        ratio = Quantity(value, (scatter, *parts), len(haul))
    return Estimates(**{**found.__dict__, "work_out_J": out, "work_efficiency": ratio})
