"""The load force from moving the load both ways under tension: friction helps one way, hinders the other.

Hauling F = MA(e) S, giving back F' = MA'(1/e) S', with the forces that the ground asks for both
ways in a known ratio: a hanging load F' = F; on a slope F' / F = (sin - c cos) / (sin + c cos), or,
where the mass is known and c is not, F + F' = 2 m g sin.  The unknown is by what power all losses
of the file's pulleys and edges must be taken; captures are held open while the load runs back.

A mass alone does not always part ground from pulleys (`_parts`).  Then only bounds are known: rope
that loses nothing gives F <= n S and F' >= n S', n the ideal advantage, and ground only hinders,
F >= m g sin; so F is taken as anything between m g sin and the lesser of n S and 2 m g sin - n S'
(rectangular, JCGM 100 4.3.7).

Rope does not lose the same both ways.  In Delaney's table (Physics for Roping Technicians, 2022,
p. 88: rope over tubes, bars and edges, 75 kg up and down) the loss in log tension is (1 - a) and
(1 + a) times its mean with a from 0.15 to 0.66, root mean square 0.36: that is taken as the standard
uncertainty of a, with 11 degrees of freedom, about 0 because nobody knows its sign for pulleys.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from analysis.efficiency.load_estimators import Observations, LoadEstimator, observations
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
# times the losses of the rig file, up to where an answer is looked for; chosen by us: 0.90 ** 30 = 0.04,
# worse than any pulley
MOST_LOSS = 30.0
SCAN = 60  # steps of that search; chosen by us: each half of the file's losses


def estimator_from_lowering(rig: Rig, rig_model: Model, result: Result, seen: Observations) -> LoadEstimator | None:
    """The way where a hanging load, or a slope load with mass or coefficient known, went both ways."""
    load = rig.load
    if load.kind == "slope":
        if load.mass_kg is None and load.coefficient is None:
            return None
    elif load.kind != "hanging":
        return None
    back = observations([s for s in result.strokes if s.direction == "lower"])
    if back is None:
        return None
    haul, lower = seen.mean(0), back.mean(0)
    _, scatter = type_a(back.force_N[:, 0], back.distance_m)
    ground, ground_u = _ground(load)

    def force(x: Floats) -> float:
        """Load force of (haul force, lowering force, ground, asymmetry)."""
        return _solve(rig, rig_model, load, *(float(v) for v in x))

    def middle(x: Floats) -> float:
        low, high = _bounds(rig_model, load, *(float(v) for v in x[:3]))
        return (low + high) / 2

    x = np.array([haul, lower, ground, 0.0])
    value = force(x)
    step = np.array([1e-4 * haul, 1e-4 * lower, max(1e-4 * ground, 1e-9), 0.05])
    between: list[Component] = []
    warnings: tuple[Message, ...] = ()
    if load.kind == "slope" and load.coefficient is None:
        # over a standard uncertainty either way (JCGM 100, 5.1.3 note 2): the load force bends in both
        step[2:] = ground_u or 1e-9, ASYMMETRY_U
        if not _parts(load, value):
            force, value = middle, middle(x)
            low, high = _bounds(rig_model, load, haul, lower, ground)
            if not high > low:
                return None
            between = [Component("ground not told from pulleys", (high - low) / math.sqrt(12))]
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
        Component("ground: " + ("coefficient" if load.coefficient is not None else "mass"), abs(d[2]) * ground_u),
        Component("friction not the same both ways", abs(d[3]) * ASYMMETRY_U, ASYMMETRY_DEGREES),
    ]  # fmt: skip
    return LoadEstimator(
        method="haul-and-lower", share=share, constant_N=value - d[0] * haul, terms=tuple(t for t in [*terms, *between] if t.u > 0),
        same_gain_N=d[1] * lower, same_zero=d[1], warnings=warnings,
    )  # fmt: skip


def _parts(load: Load, force_N: float) -> bool:
    """Whether a known mass parts ground from pulleys.

    F + F' as a function of the losses has its least where F / F' = (1 + a) / (1 - a), so two losses
    may explain the forces; with t = (F - F') / (F + F') the one taken is the true one if t > a.
    That is asked for with two standard uncertainties of a.  force_N: that one, NaN: there is none.
    """
    weight = (load.mass_kg or 0.0) * G * math.sin(load.slope_rad)
    return force_N > (1 + 2 * ASYMMETRY_U) * weight


def _bounds(
    rig_model: Model, load: Load, haul: float, lower: float, mass: float
) -> tuple[float, float]:
    """Least and greatest load force while hauling that a known mass leaves."""
    weight = mass * G * math.sin(load.slope_rad)
    return weight, min(rig_model.ideal_ma * haul, 2 * weight - rig_model.ideal_ma * lower)


def _ground(load: Load) -> tuple[float, float]:
    """What is taken of the ground: its coefficient, else the load's mass, with standard uncertainty."""
    if load.kind == "hanging":
        return 0.0, 0.0
    if load.coefficient is not None:
        return load.coefficient, load.coefficient_u or 0.0
    return load.mass_kg or 0.0, load.mass_u_kg or 0.0


def _solve(
    rig: Rig, rig_model: Model, load: Load, haul: float, lower: float, ground: float, a: float
) -> float:
    """Load force while hauling; NaN where no losses explain the two forces."""

    def up(loss: float) -> float:
        return haul * _ma(rig, rig_model, loss * (1 - a), True)

    def down(loss: float) -> float:
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
        total = 2 * ground * G * sine  # at the loss found above the ground rubs nothing
        loss = _root(lambda s: up(s) + down(s) - total, loss)
    return up(loss) if math.isfinite(loss) else math.nan


def _ma(rig: Rig, rig_model: Model, loss: float, hauling: bool) -> float:
    e = efficiencies(rig)
    captures = np.array([rig.stations[s].kind == "capture" for s in rig.turns], dtype=bool)
    power = np.where(captures, e if hauling else 1.0, e ** (loss if hauling else -loss))
    return float(load_row(rig, rig_model.system.toward) @ tensions(rig_model.system, power))


def _root(f: Callable[[float], float], most: float) -> float:
    """Where f first passes from above to below 0 between 0 and most; 0 where it begins at 0 within
    rounding; NaN where it never does."""
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
