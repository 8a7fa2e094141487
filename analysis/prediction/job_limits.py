"""Judges every part against its limit in every condition and over the whole job.

Conditions are those of `analysis.mechanics.load_cases`: raising, breaking away, held on each capture,
running back.  Where a body stands beside the haul axis the angles change over the job, so the model is
solved again along it; without a stated distance, along the first stroke.

The stop level is a haul tension.  Raising, it takes the greater of the frictionless force and the force
with friction: friction takes force off a part, unless two strands leave it at more than about 162 degrees,
whose pulls nearly cancel while equal, or friction alone loads it.  Held and running back, the load behind a
haul tension is the one that it lifts without friction.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analysis.mechanics.kinematics import TINY
from analysis.mechanics.load_cases import BACK, BREAKING, RAISING, CaseShares, case_shares
from analysis.mechanics.load_resistance import resistance
from analysis.mechanics.model import Model, PartLoad, model, reset_setbacks
from analysis.mechanics.travel import Job, PlannedStroke, job, stroke
from analysis.messages.message import Message, message
from analysis.rig.rig import Floats, Rig

# ends of strokes, and positions between them, at which the model of a job is solved again; chosen by us: the
# force changes smoothly and is mostly greatest at the ends, and each position costs a solution
MOST_ENDS, MOST_BETWEEN = 15, 10
LATER = " later in the job"
MODES = ("each", "together")  # grabs reset one at a time, or all at once
KEPT_RIGS = 8  # speed only: rigs whose solutions over the job are kept


@dataclass(frozen=True)
class HighestUse:
    """The highest force / limit of a part over all conditions and the whole job."""

    use: float  # force / limit
    force_N: float  # the force
    condition: str  # raising | breaking away | held on CAPTURE | running back
    later: bool  # whether it is higher later in the job than at the start


@dataclass(frozen=True)
class LimitLevel:
    """The lowest haul tension, or load force, that brings a rated part to its limit in one condition."""

    level_N: float  # the haul tension or load force
    part_load: PartLoad  # the part, at the start of the job
    limit_N: float  # its limit
    condition: str  # raising | held on CAPTURE | running back
    later: bool  # whether it is lower later in the job than at the start

    @property
    def because(self) -> Message:
        """The part, what sets its limit, and the condition."""
        values = {
            "name": self.part_load.name, "why": self.part_load.why, "condition": self.condition,
            "later": LATER if self.later else "",
        }  # fmt: skip
        if self.part_load.kind == "strand":
            return message("limit_of_a_strand_in", **values)
        return message("limit_of_a_part_in", **values)


# by index into `Model.parts` and condition
Levels = dict[tuple[int, str], LimitLevel]


def planned_jobs(rig_model: Model) -> dict[str, Job]:
    """The job of a rig for both ways of resetting its grabs."""
    setbacks = reset_setbacks(rig_model)
    return {mode: job(rig_model.rig, mode, setbacks) for mode in MODES}


def models_over_job(rig_model: Model, jobs: Mapping[str, Job]) -> tuple[Model, ...]:
    """The model at the start, and where angles change, at positions along the jobs.

    A position at which the rig locks up is left out.
    """
    rig = rig_model.rig
    if not np.any(rig.side_m) or not (_rated(rig_model.parts) or rig_model.haul_force_N):
        return (rig_model,)
    models = [rig_model]
    for x in _positions(rig, jobs):
        try:
            models.append(model(rig, x))
        except np.linalg.LinAlgError:
            continue
    return tuple(models)


@lru_cache(maxsize=KEPT_RIGS)
def job_models(rig: Rig) -> tuple[Model, ...]:
    """`models_over_job` of a rig."""
    rig_model = model(rig)
    return models_over_job(rig_model, planned_jobs(rig_model) if np.any(rig.side_m) else {})


def highest_uses(models: Sequence[Model], given_N: float | None = None) -> dict[int, HighestUse]:
    """The highest use of each rated part, by its index into `Model.parts`.

    models: over the job, the first at its start; given_N: a haul tension in place of the predicted
    one, N.  Empty where neither it nor the load force is known.
    """
    rated = _rated(models[0].parts)
    highest: dict[int, HighestUse] = {}
    if not rated:
        return highest
    for later, there in enumerate(models):
        for condition, force in _forces(there, given_N):
            for k, limit_N in rated:
                use = float(force[k]) / limit_N
                if k not in highest or use > highest[k].use * (1 + TINY):
                    highest[k] = HighestUse(
                        use=use, force_N=float(force[k]), condition=condition, later=later > 0
                    )
    return highest


def stop_levels(models: Sequence[Model]) -> dict[int, LimitLevel]:
    """The lowest stop level of each part that is rated and loaded, by its index into `Model.parts`.

    models: over the job, the first at its start.
    """
    lowest: dict[int, LimitLevel] = {}
    for (k, _), level in levels_by_haul(models).items():
        if k not in lowest or level.level_N < lowest[k].level_N * (1 - TINY):
            lowest[k] = level
    return lowest


def levels_by_haul(models: Sequence[Model]) -> Levels:
    """The lowest haul tension over the job that brings each rated part to its limit in each condition.

    models: over the job, the first at its start.
    """
    return _levels(models, _gains)


def levels_by_load(models: Sequence[Model]) -> Levels:
    """The lowest load force over the job that brings each rated part to its limit, held and running back.

    models: over the job, the first at its start.
    """
    return _levels(
        models, lambda there: tuple(c for c in case_shares(there) if c.condition != RAISING)
    )


def lowest(levels: Iterable[LimitLevel]) -> LimitLevel | None:
    """The first of the lowest of these levels; None where there is none."""
    best: LimitLevel | None = None
    for level in levels:
        if best is None or level.level_N < best.level_N * (1 - TINY):
            best = level
    return best


def _levels(models: Sequence[Model], gains: Callable[[Model], tuple[CaseShares, ...]]) -> Levels:
    """Levels of each rated part in each condition.

    gains: force on each part in each condition, per unit of what the levels are of.
    """
    rated = _rated(models[0].parts)
    levels: Levels = {}
    if not rated:
        return levels
    for later, there in enumerate(models):
        for case in gains(there):
            for k, limit_N in rated:
                gain, key = float(case.share[k]), (k, case.condition)
                if gain <= TINY:
                    continue
                if key not in levels or limit_N / gain < levels[key].level_N * (1 - TINY):
                    levels[key] = LimitLevel(
                        level_N=limit_N / gain, part_load=models[0].parts[k], limit_N=limit_N,
                        condition=case.condition, later=later > 0,
                    )  # fmt: skip
    return levels


def _rated(parts: Sequence[PartLoad]) -> list[tuple[int, float]]:
    """Index and limit, N, of each rated part."""
    return [(k, one.limit_N) for k, one in enumerate(parts) if one.limit_N is not None]


def _gains(rig_model: Model) -> tuple[CaseShares, ...]:
    """Force on each part per haul tension, in each condition."""
    raising = np.array([max(abs(one.ideal), abs(one.model)) for one in rig_model.parts])
    others = (
        CaseShares(case.condition, case.share * rig_model.ideal_ma)
        for case in case_shares(rig_model)
        if case.condition != RAISING
    )
    return (CaseShares(RAISING, raising), *others)


def _forces(rig_model: Model, given_N: float | None) -> list[tuple[str, Floats]]:
    """Force on each part, N, (parts,), in each condition whose load force is known."""
    needs = resistance(rig_model.rig.load)
    forces: list[tuple[str, Floats]] = []
    for case in case_shares(rig_model):
        raising = case.condition == RAISING
        if given_N is not None:
            load_N: float | None = given_N * (rig_model.model_ma if raising else rig_model.ideal_ma)
        elif case.condition == BACK:
            load_N = needs.lower_N
        else:
            load_N = needs.force_N
        if load_N is not None:
            forces.append((case.condition, case.share * load_N))
        if raising and given_N is None and needs.start_N is not None:
            forces.append((BREAKING, case.share * needs.start_N))
    return forces


def _positions(rig: Rig, jobs: Mapping[str, Job]) -> list[Floats]:
    """Positions of the bodies along the jobs, m, each (bodies,); the start is left out."""
    positions: list[Floats] = []
    for done in jobs.values():
        strokes = [item for item in done.steps if isinstance(item, PlannedStroke)]
        positions += _along(strokes)
    if positions:
        return positions
    try:
        return _along([stroke(rig)])
    except np.linalg.LinAlgError:
        return []


def _along(strokes: Sequence[PlannedStroke]) -> list[Floats]:
    """Ends of strokes, and positions between them, m, each (bodies,)."""
    between = [x for item in strokes for x in item.places[:-1]][1:]
    return _thinned([item.end for item in strokes], MOST_ENDS) + _thinned(between, MOST_BETWEEN)


def _thinned(positions: list[Floats], most: int) -> list[Floats]:
    """At most this many of the positions, evenly, the first and the last among them."""
    if len(positions) <= most:
        return positions
    return [positions[k] for k in np.linspace(0, len(positions) - 1, most).round().astype(int)]
