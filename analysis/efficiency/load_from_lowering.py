"""Estimates the load force from hauling and lowering: friction opposes the one and assists the other.

Hauling needs the load force F = MA(e) S, lowering F' = MA'(1/e) S', where S and S' are the haul forces.
The ratio of F and F' is given: F' = F for a hanging load; F' / F = (sin - c cos) / (sin + c cos) on a
slope with the coefficient c; or, where the mass is given and c is not, F + F' = 2 m g sin.  Solved for is
the exponent by which the losses of all pulleys and edges in the file must be raised.  Captures are held
open while the load goes back.

A mass alone does not always separate ground from pulleys (`_separates`).  Then there are only bounds: rope
without losses gives F <= n S and F' >= n S', n the ideal advantage, and ground only resists, F >= m g sin.
So F is taken as uniform between m g sin and the lesser of n S and 2 m g sin - n S' (JCGM 100, 4.3.7).

Rope does not lose the same in both directions.  In Delaney's table (Physics for Roping Technicians, 2022,
p. 88: rope over tubes, bars and edges, 75 kg up and down) the loss in log tension is (1 - a) and (1 + a)
times its mean with a from 0.15 to 0.66, root mean square 0.36.  That is taken as the standard uncertainty
of a, with 11 degrees of freedom, about 0, because its sign for pulleys is unknown.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from analysis.efficiency.load_estimators import LoadEstimator, Observations, observations
from analysis.efficiency.uncertainty import Component, slopes, type_a
from analysis.mechanics.load_resistance import G
from analysis.mechanics.model import Model
from analysis.mechanics.tension import efficiencies, load_row, tensions
from analysis.messages.message import Message, message
from analysis.numeric import bisect
from analysis.rig.rig import Load, Rig
from analysis.signals.time_cells import Floats
from analysis.strokes.result import Result

ASYMMETRY_U, ASYMMETRY_DEGREES = 0.36, 11  # source: Delaney's table, see above
# largest exponent of the rig file's losses that is searched; chosen by us: 0.90 ** 30 = 0.04, worse than any
# pulley
MOST_LOSS = 30.0
SCAN = 60  # steps of the search; chosen by us: each is half of the file's losses


def estimator_from_lowering(
    rig: Rig, rig_model: Model, result: Result, seen: Observations
) -> LoadEstimator | None:
    """The estimator from strokes in both directions; None where the load or the strokes do not allow it.

    The load must hang, or lie on a slope with its mass or coefficient in the file.
    """
    load = rig.load
    if load.kind == "slope":
        if load.mass_kg is None and load.coefficient is None:
            return None
    elif load.kind != "hanging":
        return None
    back = observations([s for s in result.strokes if s.direction == "lower"], result.lowering_lags)
    if back is None:
        return None
    haul, lower = seen.mean(0), back.mean(0)
    _, scatter = type_a(back.force_N[:, 0], back.distance_m)
    ground, ground_u = _ground(load)

    def force(x: Floats) -> float:
        """Load force, N; x: (haul force N, lowering force N, ground, asymmetry)."""
        return _solve(rig, rig_model, load, *(float(v) for v in x))

    def middle(x: Floats) -> float:
        """Middle of the bounds of the load force, N; x: as for `force`."""
        low, high = _bounds(rig_model, load, *(float(v) for v in x[:3]))
        return (low + high) / 2

    x = np.array([haul, lower, ground, 0.0])
    value = force(x)
    step = np.array([1e-4 * haul, 1e-4 * lower, max(1e-4 * ground, 1e-9), 0.05])
    between: list[Component] = []
    warnings: tuple[Message, ...] = ()
    if load.kind == "slope" and load.coefficient is None:
        # steps of a standard uncertainty (JCGM 100, 5.1.3 note 2), as the load force is curved in both
        step[2:] = ground_u or 1e-9, ASYMMETRY_U
        if not _separates(load, value):
            force, value = middle, middle(x)
            low, high = _bounds(rig_model, load, haul, lower, ground)
            if not high > low:
                return None
            between = [Component("ground not separated from pulleys", (high - low) / math.sqrt(12))]
            warnings = (message("ground_or_pulleys", low_N=low, high_N=high),)
    if not math.isfinite(value) or value <= 0:
        return None
    d = slopes(force, x, step)
    if not np.all(np.isfinite(d)):
        return None
    share = np.zeros(len(result.roles.forces))
    share[0] = d[0]
    terms = [
        Component("lowering: scatter", abs(d[1]) * scatter.u, scatter.degrees),
        Component(f"lowering: {back.lags[0].component}", abs(d[1]) * lower * back.lags[0].factor_u),
        Component("ground: " + ("coefficient" if load.coefficient is not None else "mass"), abs(d[2]) * ground_u),
        Component("friction differs between hauling and lowering", abs(d[3]) * ASYMMETRY_U, ASYMMETRY_DEGREES),
    ]  # fmt: skip
    return LoadEstimator(
        method="haul-and-lower", share=share, constant_N=value - d[0] * haul, terms=tuple(t for t in [*terms, *between] if t.u > 0),
        same_gain_N=d[1] * lower, same_zero=d[1], warnings=warnings,
    )  # fmt: skip


def _separates(load: Load, force_N: float) -> bool:
    """Whether the mass separates ground from pulleys; force_N: the load force by the mass, NaN without one.

    F + F' as a function of the losses has its minimum where F / F' = (1 + a) / (1 - a), so two losses may
    explain the forces.  With t = (F - F') / (F + F') the solution used is the true one if t > a.  Here
    t must exceed two standard uncertainties of a.
    """
    weight = (load.mass_kg or 0.0) * G * math.sin(load.slope_rad)
    return force_N > (1 + 2 * ASYMMETRY_U) * weight


def _bounds(
    rig_model: Model, load: Load, haul: float, lower: float, mass: float
) -> tuple[float, float]:
    """Least and greatest load force while hauling, N.

    haul, lower: mean haul forces of both directions, N; mass: of the load, kg.
    """
    weight = mass * G * math.sin(load.slope_rad)
    return weight, min(rig_model.ideal_ma * haul, 2 * weight - rig_model.ideal_ma * lower)


def _ground(load: Load) -> tuple[float, float]:
    """(coefficient or else mass in kg, standard uncertainty): what describes the ground; zeros if it hangs."""
    if load.kind == "hanging":
        return 0.0, 0.0
    if load.coefficient is not None:
        return load.coefficient, load.coefficient_u or 0.0
    return load.mass_kg or 0.0, load.mass_u_kg or 0.0


def _solve(
    rig: Rig, rig_model: Model, load: Load, haul: float, lower: float, ground: float, a: float
) -> float:
    """Load force while hauling, N; NaN where no losses explain the two forces.

    haul, lower: mean haul forces of both directions, N; ground: as `_ground`; a: asymmetry of the losses.
    """

    def up(loss: float) -> float:
        """Load force while hauling, N; loss: exponent of the file's losses."""
        return haul * _ma(rig, rig_model, loss * (1 - a), True)

    def down(loss: float) -> float:
        """Load force while lowering, N; loss: exponent of the file's losses."""
        return lower * _ma(rig, rig_model, loss * (1 + a), False)

    sine, cosine = math.sin(load.slope_rad), math.cos(load.slope_rad)
    ratio = 1.0
    by_mass = load.kind == "slope" and load.coefficient is None
    if load.kind == "slope" and not by_mass:
        ratio = (sine - ground * cosine) / (sine + ground * cosine)
        if ratio <= 0:
            return math.nan
    loss = _root(lambda s: ratio * up(s) - down(s), MOST_LOSS)
    if by_mass and math.isfinite(loss):
        total = 2 * ground * G * sine  # the loss so far is that of ground without friction
        loss = _root(lambda s: up(s) + down(s) - total, loss)
    return up(loss) if math.isfinite(loss) else math.nan


def _ma(rig: Rig, rig_model: Model, loss: float, hauling: bool) -> float:
    """Load force / haul force with the file's efficiencies raised to `loss`, inverted while lowering."""
    e = efficiencies(rig)
    captures = np.array([rig.stations[s].kind == "capture" for s in rig.turns], dtype=bool)
    power = np.where(captures, e if hauling else 1.0, e ** (loss if hauling else -loss))
    return float(load_row(rig, rig_model.system.toward) @ tensions(rig_model.system, power))


def _root(f: Callable[[float], float], most: float) -> float:
    """The first root of f between 0 and most, from above to below 0; NaN where there is none.

    f and its argument: without unit.  0 where f begins at 0 within rounding.
    """
    first = f(0.0)
    if first <= 0:
        return 0.0 if first > -1e-9 * abs(f(most)) else math.nan
    low = high = 0.0
    for k in range(1, SCAN + 1):
        low, high = high, most * k / SCAN
        if f(high) <= 0:
            break
    else:
        return math.nan
    low, high = bisect(lambda x: f(x) > 0, low, high)
    return (low + high) / 2
