"""Computes the `Model` of a rig: forces, advantage, limits and warnings for one set of body positions.

Also gives the gain of a force or length channel at any place of the rig.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from analysis.mechanics import working_limits as limits
from analysis.mechanics.kinematics import TINY, Motion, solve_motion
from analysis.mechanics.load_resistance import Resistance, can_run_back, resistance
from analysis.mechanics.tension import (
    System,
    efficiencies,
    hold,
    load_row,
    loaded_side,
    sensitivities,
    sensitivities_back,
    spread,
    spreads,
    system,
    tensions,
)
from analysis.messages.message import Message, message
from analysis.numeric import bisect
from analysis.rig.rig import Floats, Rig
from logger.errors import RigFault
from logger.spelling import cure as cure_for

KEPT_RIGS = (
    8  # speed only: rigs whose model at the start is kept; a page asks for one several times
)
COVERAGE = 2.0  # expanded / standard uncertainty of a prediction, about 95 % (JCGM 100:2008, 6.3.3)


@dataclass(frozen=True)
class PartLoad:
    """The force on one part of a rig (a strand or an element) while hauling, and its limit.

    Forces are per unit of haul tension, dimensionless.
    """

    name: str  # of a strand its two stations, "A1>T1"
    kind: str  # strand | pulley | edge | grab | capture | plate | gear | anchor | load
    on: str  # body or strand that carries it; of gear, the names of what it carries
    ideal: float  # force without friction
    model: float  # force with friction
    model_u: float  # standard uncertainty of `model`
    limit_N: float | None  # allowed force, N; None: not rated
    why: Message | None  # what sets the limit; None: not rated


@dataclass(frozen=True)
class Held:
    """One capture that holds the load alone, with the haul slack."""

    name: str  # of the capture
    station: int  # index into Rig.stations
    ideal: float | None  # its force for a load force of ideal MA; None: it cannot hold alone
    covers: tuple[str, ...]  # grabs without load meanwhile, which can be reset


@dataclass(frozen=True, eq=False)
class Model:
    """The prediction for a rig with its bodies at given positions.

    Tensions are per unit of haul tension, dimensionless; forces in N are None where the rig file
    does not give the load's resistance; fields that end in _u or _u_N are standard uncertainties.
    """

    rig: Rig  # as read from the rig file
    motion: Motion  # rates per metre of load travel
    system: System  # the equations of the strand tensions
    ideal_tension: Floats  # (strands,) without friction
    tension: Floats  # (strands,) with friction
    ideal_ma: float  # load force / haul force without friction
    model_ma: float  # load force / haul force with friction
    model_ma_u: float  # its standard uncertainty
    travel_ratio: float  # rope hauled / load travel
    load_force_N: float | None  # what the load resists while it moves
    load_force_u_N: float | None  # its standard uncertainty
    haul_force_N: float | None  # at the haul, while the load moves
    haul_force_u_N: float | None  # its standard uncertainty
    lower_force_N: float | None  # at the haul, just enough to hold the load while it runs back
    warnings: tuple[Message, ...]  # what to know before relying on these figures
    held: tuple[Held, ...]  # each capture, in rope order
    parts: tuple[PartLoad, ...]  # strands in rope order, then elements; same order as `pieces`
    pieces: tuple[limits.RigPart, ...]  # the same as geometry: how the forces follow from tensions
    gradient: Floats  # (strands, turns) d tension / d efficiency of each turn
    lower_force_u_N: float | None = None  # standard uncertainty of lower_force_N
    start_force_N: float | None = None  # at the haul, to break the load away
    start_force_u_N: float | None = None  # its standard uncertainty

    @property
    def efficiency(self) -> float:
        """Model MA / ideal MA."""
        return self.model_ma / self.ideal_ma

    @property
    def efficiency_u(self) -> float:
        """Standard uncertainty of `efficiency`."""
        return self.model_ma_u / self.ideal_ma

    @cached_property
    def held_tensions(self) -> dict[str, Floats | None]:
        """By capture, strand tensions / load force while it holds alone, (strands,); None: it cannot."""
        toward = self.system.toward
        return {
            one.name: hold(self.rig, self.motion, toward, one.station, 1.0) for one in self.held
        }


def model(rig: Rig, x_m: Floats | None = None) -> Model:
    """Compute the model of a rig with its bodies at x_m, m, (bodies,); default: the start of the job.

    Costs a few linear solves; the last few rigs at their start are kept.  Raises numpy.linalg.LinAlgError
    where the rig locks up at these positions.
    """
    return _at_start(rig) if x_m is None else _model(rig, x_m)


@lru_cache(maxsize=KEPT_RIGS)
def _at_start(rig: Rig) -> Model:
    """The model at the start of the job."""
    return _model(rig, None)


def _model(rig: Rig, x_m: Floats | None) -> Model:
    """`model`, worked out."""
    motion = solve_motion(rig, x_m)
    sys = system(rig, motion, x_m)
    row = load_row(rig, sys.toward)
    ideal = tensions(sys, np.ones(len(rig.turns)))
    e = efficiencies(rig)
    tension = tensions(sys, e)
    gradient = sensitivities(sys, e, tension)
    ma, ma_u = float(row @ tension), spread(rig, row @ gradient)
    ideal_ma = float(row @ ideal)
    needs = resistance(rig.load)
    haul, haul_u = _divided(needs.force_N, needs.force_u_N, ma, ma_u)
    start, start_u = _divided(needs.start_N, needs.start_u_N, ma, ma_u)
    lower, lower_u = _divided(needs.lower_N, needs.lower_u_N, *_running_back(rig, sys, row))
    held = tuple(_held(rig, motion, sys, station, ideal_ma) for station in rig.captures)
    pieces = limits.parts(rig, motion, sys.toward)
    listed = _parts(rig, pieces, ideal, tension, gradient)
    return Model(
        rig=rig,
        motion=motion,
        system=sys,
        ideal_tension=ideal,
        tension=tension,
        ideal_ma=ideal_ma,
        model_ma=ma,
        model_ma_u=ma_u,
        travel_ratio=motion.haul_rate,
        load_force_N=needs.force_N,
        load_force_u_N=needs.force_u_N,
        haul_force_N=haul,
        haul_force_u_N=haul_u,
        lower_force_N=lower,
        warnings=tuple(_warnings(rig, needs, haul, haul_u, start, held)),
        held=held,
        parts=listed,
        pieces=pieces,
        gradient=gradient,
        lower_force_u_N=lower_u,
        start_force_N=start,
        start_force_u_N=start_u,
    )


def parts(rig: Rig) -> tuple[PartLoad, ...]:
    """The force on each strand in rope order, then on each element: `model(rig).parts`."""
    return model(rig).parts


def force_gain(rig: Rig, at: str) -> tuple[float, float]:
    """Force that a cell at a place reads while hauling, per unit of haul tension: (ideal, model).

    at: `haul`, a body, an element, or a strand "A1>T1".  A cell at a body reads the whole force
    along the haul axis.  Raises RigFault if the rig has no such place.
    """
    rig_model = model(rig)
    if at in ("haul", rig.stations[rig.haul].name):
        return 1.0, 1.0
    if at == "load":
        return rig_model.ideal_ma, rig_model.model_ma
    for piece in rig_model.pieces:
        if piece.name == at:
            ideal, real = (piece.reading(t) for t in (rig_model.ideal_tension, rig_model.tension))
            return _clean(ideal), _clean(real)
    raise no_place(rig, at, ["haul", *(one.name for one in rig_model.parts)])


def travel_gain(rig: Rig, at: str) -> float:
    """Length that a counter at a place counts per metre of load travel, m/m.

    at: `haul`, `load`, or a fixed pulley.  Raises RigFault if the rig has no such place.
    """
    motion = solve_motion(rig)
    if at in ("haul", rig.stations[rig.haul].name):
        return motion.haul_rate
    if at == "load":
        return 1.0
    fixed = {}
    for s, station in enumerate(rig.stations):
        if (
            station.kind == "pulley"
            and station.body is not None
            and not rig.bodies[station.body].moves
        ):
            # rope runs toward the haulers in rope order, or against it where they stand first
            fixed[station.name] = float(motion.flow[s] * _toward_haul(rig, s))
    if at in fixed:
        return fixed[at]
    raise no_place(rig, at, ["haul", "load", *fixed])


def _toward_haul(rig: Rig, station: int) -> int:
    """+1 where rope order leads toward the haulers, -1 where it leads away; +1 on ropes without them."""
    return rig.haul_sign if rig.stations[station].rope == rig.stations[rig.haul].rope else 1


def no_place(rig: Rig, at: str, places: list[str]) -> RigFault:
    """Make the fault for a place that the rig does not have; places: the names that it does have."""
    cure = cure_for(at, places, "write one of", 'at = "{}"')
    return RigFault(rig.file, f'the rig has no place "{at}" for this quantity', cure)


def load_from_cell(rig: Rig, at: str) -> tuple[float, float] | None:
    """(a, b) with load force = a * cell + b * haul tension for any pulley efficiencies, or None.

    Solves the rig for several random sets of efficiencies and fits one pair to all of them: a cell
    in line with the load gives (1, 0), one at the only anchor (1, 1) or (1, -1).  None where no pair
    fits.
    """
    if at == "load":
        return 1.0, 0.0
    rig_model = model(rig)
    piece = next((p for p in rig_model.pieces if p.name == at), None)
    if piece is None or piece.combine in ("wrap",):
        return None
    draws = np.random.default_rng(1).uniform(0.4, 1.0, (8, len(rig.turns)))
    stacked = tensions(rig_model.system, draws)
    loads = stacked @ load_row(rig, rig_model.system.toward)
    cells = np.array([piece.reading(t) for t in stacked])
    matrix = np.column_stack([cells, np.ones(len(cells))])
    pair, _, rank, _ = np.linalg.lstsq(matrix, loads, rcond=None)
    if rank < 2:  # the cell reads the same for all efficiencies: it measures the haul tension alone
        return None
    if np.max(np.abs(matrix @ pair - loads)) > 1e-8 * np.max(loads) or abs(pair[0]) < TINY:
        return None
    a, b = (0.0 if abs(x) < TINY else float(x) for x in pair)
    return a, b


def model_ma_with(rig: Rig, e: float) -> float:
    """Model MA if every pulley had efficiency e (0 to 1); captures and edges stay as in the file."""
    motion = solve_motion(rig)
    sys = system(rig, motion)
    return _ma_with(rig, sys, e)


def _ma_with(rig: Rig, sys: System, e: float) -> float:
    values = efficiencies(rig)
    pulleys = np.array([rig.stations[s].kind == "pulley" for s in rig.turns], dtype=bool)
    return float(load_row(rig, sys.toward) @ tensions(sys, np.where(pulleys, e, values)))


def common_efficiency(rig: Rig, actual_ma: float) -> float | None:
    """The pulley efficiency, equal for all pulleys, that gives the model this actual_ma (dimensionless).

    None where no efficiency above 0 and up to 1 does.
    """
    sys = system(rig, solve_motion(rig))
    low, high = 1e-6, 1.0
    if not _ma_with(rig, sys, low) < actual_ma <= _ma_with(rig, sys, high) * (1 + 1e-12):
        return None
    low, high = bisect(lambda e: _ma_with(rig, sys, e) < actual_ma, low, high)
    return (low + high) / 2


def _divided(
    force: float | None, force_u: float | None, ma: float, ma_u: float
) -> tuple[float | None, float | None]:
    """Force / advantage and its standard uncertainty; None where the force is not known."""
    if force is None:
        return None, None
    value = force / ma
    return value, math.hypot((force_u or 0.0) / ma, value * ma_u / ma)


def _running_back(rig: Rig, sys: System, row: Floats) -> tuple[float, float]:
    """Load force / haul tension while the load runs back, and its standard uncertainty."""
    e = efficiencies(rig, hauling=False)
    tension = tensions(sys, e)
    gradient = row @ sensitivities_back(rig, sys, e, tension)
    return float(row @ tension), spread(rig, gradient)


def _parts(
    rig: Rig, pieces: tuple[limits.RigPart, ...], ideal: Floats, tension: Floats, gradient: Floats
) -> tuple[PartLoad, ...]:
    """Load of every part; its uncertainty by the chain rule, d force / d tension x d tension / d efficiency."""
    slopes = np.array([piece.slope(tension) for piece in pieces])
    u = spreads(rig, slopes @ gradient)
    return tuple(
        PartLoad(
            name=piece.name, kind=piece.kind, on=piece.on, ideal=_clean(piece.force(ideal)),
            model=_clean(piece.force(tension)), model_u=float(one), limit_N=piece.limit_N, why=piece.why,
        )
        for piece, one in zip(pieces, u, strict=True)
    )  # fmt: skip


def _held(rig: Rig, motion: Motion, sys: System, station: int, ideal_ma: float) -> Held:
    """The capture at this station holding alone, for a load force of ideal_ma."""
    name = rig.stations[station].name
    tension = hold(rig, motion, sys.toward, station, ideal_ma)
    if tension is None:
        return Held(name, station, None, ())
    source, pull = loaded_side(rig, motion, station)
    free = []
    for s, grab in enumerate(rig.stations):
        if (
            grab.kind == "grab"
            and abs(tension[rig.before[s]] - tension[rig.after[s]]) < TINY * ideal_ma
        ):
            free.append(grab.name)
    return Held(name, station, _clean(float(tension[source] - tension[pull])), tuple(free))


def reset_setbacks(rig_model: Model) -> dict[str, float]:
    """By grab, the load travel lost when it is reset, m: the smallest setback of the captures that cover it."""
    result: dict[str, float] = {}
    for held in rig_model.held:
        lost_m = rig_model.rig.stations[held.station].setback_m
        for grab in held.covers:
            result[grab] = min(result.get(grab, lost_m), lost_m)
    return result


def _warnings(
    rig: Rig,
    needs: Resistance,
    haul: float | None,
    haul_u: float | None,
    start: float | None,
    held: tuple[Held, ...],
) -> list[Message]:
    """Warnings of the model: captures, the team against the haul force, assumed values.

    haul, haul_u, start: haul force, its standard uncertainty, and the haul force to break away, N.
    """
    result = []
    covered = {name for h in held for name in h.covers}
    bare = [name for name in rig.grabs if name not in covered]
    if bare and can_run_back(rig.load):
        result.append(message("no_capture", grabs=", ".join(bare)))
    for h in held:
        if h.ideal is None:
            result.append(message("capture_holds_nothing", capture=h.name))
    if needs.force_N is None:
        result.append(message("forces_are_multiples", why=needs.why))
    team = rig.team_pull_N
    if haul is not None and team is not None:
        wide = COVERAGE * (haul_u or 0.0)
        low, high = max(0.0, haul - wide), haul + wide
        if haul > team:
            result.append(
                message("team_too_weak", team_N=team, haul_N=haul, low_N=low, high_N=high)
            )
        elif high > team:
            result.append(message("team_may_be_too_weak", team_N=team, haul_N=haul, high_N=high))
        if start is not None and start > max(team, haul * (1 + TINY)):
            result.append(message("team_too_weak_to_start", start_N=start, team_N=team))
    if rig.default_assumed:
        result.append(message("efficiency_assumed", uncertainty=rig.default_u))
    for judge in (limits.assumed_knots, limits.slipping_knots, limits.scattering_hitches):
        one = judge(rig)
        result.extend([] if one is None else [one])
    result.extend(rig.notes)
    return result


def _clean(value: float) -> float:
    """The value, with rounding noise below 1e-12 as an exact zero."""
    return 0.0 if abs(value) < 1e-12 else float(value)
