"""Makes the JSON of `haul predict`: forces, limits, stroke, job, rope and warnings of a rig."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis.mechanics.load_cases import RAISING
from analysis.mechanics.model import Held, Model, PartLoad, model
from analysis.mechanics.travel import Job, PlannedStroke, needed_rope, rope_in_rig, stroke
from analysis.messages.message import Message, message
from analysis.prediction.job_limits import (
    LATER,
    HighestUse,
    LimitLevel,
    highest_uses,
    job_models,
    levels_by_haul,
    lowest,
    models_over_job,
    planned_jobs,
)
from analysis.rig.rig import Rig

# how much the haul force must grow over the job to be told; chosen by us: less is lost in its uncertainty
GROWS = 1.02


@dataclass(frozen=True)
class FirstLimit:
    """The haul tension at which the first rated part reaches its limit, in any condition of the job."""

    haul_force_N: float | None  # None: nothing that the haul loads is rated
    because: Message  # the part, what sets its limit, and the condition
    rated: int  # number of parts that have a limit
    parts: int  # number of all parts


def predict(rig: Rig, haul_force_N: float | None = None) -> dict[str, Any]:
    """The JSON object of `haul predict`; haul_force_N replaces the predicted haul force."""
    return prediction(rig, haul_force_N)[0]


def prediction(
    rig: Rig, haul_force_N: float | None = None
) -> tuple[dict[str, Any], tuple[Message, ...]]:
    """The JSON object of `haul predict`, and its warnings as messages.

    haul_force_N replaces the predicted haul force.
    """
    rig_model = model(rig)
    haul = rig_model.haul_force_N if haul_force_N is None else haul_force_N
    haul_u = rig_model.haul_force_u_N if haul_force_N is None else 0.0
    first = stroke(rig)
    jobs = planned_jobs(rig_model)
    models = models_over_job(rig_model, jobs)
    uses = highest_uses(models, haul_force_N)
    strands: list[dict[str, Any]] = []
    elements: list[dict[str, Any]] = []
    over: list[Message] = []
    for k, part_load in enumerate(rig_model.parts):
        force = None if haul is None else part_load.model * haul
        highest = uses.get(k)
        if highest is not None and highest.use > 1:
            over.append(_over(part_load, highest))
        row: dict[str, Any] = {"ideal": part_load.ideal, "model": part_load.model}
        judged = {
            "limit_N": part_load.limit_N,
            "use": None if highest is None else highest.use,
            "use_in": None if highest is None else highest.condition,
        }
        if part_load.kind == "strand":
            piece = rig_model.pieces[len(strands)]
            strands.append(
                {"rope": piece.rope, "from": piece.ends[0], "to": piece.ends[1]} | row
                | {"tension_N": force} | judged
            )  # fmt: skip
        else:
            elements.append(
                {"name": part_load.name, "kind": part_load.kind, "on": part_load.on} | row
                | {"force_N": force} | judged
            )  # fmt: skip
    holds = [_hold_row(rig_model, held) for held in rig_model.held]
    for row in holds:
        named = any(one.values["name"] == row["name"] for one in over)
        if row["use"] is not None and row["use"] > 1 and not named:
            over.append(message("capture_over_limit", name=row["name"], force_N=row["force_N"]))
    ropes = _rope_rows(rig, jobs, first)
    short = [
        message("rope_too_short", rope=r["name"], needed_m=r["needed_m"], length_m=r["length_m"])
        for r in ropes if r["enough"] is False
    ]  # fmt: skip
    stop = first_limit(rig_model, lowest(levels_by_haul(models).values()))
    warnings = (
        *(w for w in rig_model.warnings if w.level == "stop"),
        *over,
        *([] if over else _above_stop(haul, stop)),
        *([] if haul_force_N is not None else _growing(models)),
        *(w for w in rig_model.warnings if w.level != "stop"),
        *_travel_warnings(rig, jobs),
        *short,
    )
    result = {
        "title": rig.title,
        "ideal_ma": rig_model.ideal_ma,
        "model_ma": rig_model.model_ma,
        "model_ma_u": rig_model.model_ma_u,
        "efficiency": rig_model.efficiency,
        "travel_ratio": rig_model.travel_ratio,
        "load_force_N": rig_model.load_force_N,
        "load_force_u_N": rig_model.load_force_u_N,
        "haul_force_N": haul,
        "haul_force_u_N": haul_u,
        "lower_force_N": rig_model.lower_force_N,
        "strands": strands,
        "elements": elements,
        "stroke": {
            "haul_travel_m": first.haul_m,
            "load_travel_m": first.load_m,
            "stopped_by": list(first.stopped_by),
        },
        "job": {mode: _job_row(rig, jobs[mode]) for mode in jobs},
        "rope": ropes,
        "hold": holds,
        "stop_hauling_at": {
            "haul_force_N": stop.haul_force_N, "because": stop.because.text(),
            "rated": stop.rated, "of": stop.parts,
        },
        "warnings": [one.text() for one in warnings],
    }  # fmt: skip
    return result, warnings


def _over(part_load: PartLoad, highest: HighestUse) -> Message:
    """The warning of a part that is over its limit."""
    values = {
        "name": part_load.name, "force_N": highest.force_N, "limit_N": part_load.limit_N,
        "why": part_load.why,
    }  # fmt: skip
    if highest.condition == RAISING and highest.later:
        return message("part_over_limit_on_the_way", **values)
    if highest.condition == RAISING:
        return message("part_over_limit", **values)
    later = LATER if highest.later else ""
    return message("part_over_limit_in", condition=highest.condition, later=later, **values)


def _above_stop(haul_N: float | None, stop: FirstLimit) -> list[Message]:
    """A warning where the haul force is above the stop level."""
    if haul_N is None or stop.haul_force_N is None or haul_N <= stop.haul_force_N:
        return []
    return [
        message(
            "haul_force_above_stop", haul_N=haul_N, stop_N=stop.haul_force_N, because=stop.because
        )
    ]


def _growing(models: tuple[Model, ...]) -> list[Message]:
    """A warning of the greatest haul force over the job, where strands turn away from the haul axis.

    models: over the job, the first at its start.
    """
    first = models[0].haul_force_N
    if first is None:
        return []
    most = max(there.haul_force_N or 0.0 for there in models)
    return [message("haul_force_grows", haul_N=most)] if most >= GROWS * first else []


def stop_hauling_at(rig_model: Model) -> FirstLimit:
    """The lowest haul tension that brings a part to its limit, in any condition of the whole job."""
    return first_limit(rig_model, lowest(levels_by_haul(job_models(rig_model.rig)).values()))


def first_limit(rig_model: Model, level: LimitLevel | None) -> FirstLimit:
    """A stop level with the number of rated parts; level: None where no part is rated and loaded."""
    return FirstLimit(
        haul_force_N=None if level is None else level.level_N,
        because=message("nothing_is_rated") if level is None else level.because,
        rated=sum(one.limit_N is not None for one in rig_model.parts),
        parts=len(rig_model.parts),
    )


def _hold_row(rig_model: Model, held: Held) -> dict[str, Any]:
    """One of `hold` of the JSON: a capture that holds the load alone."""
    force = use = None
    if held.ideal is not None and rig_model.load_force_N is not None:
        force = held.ideal * rig_model.load_force_N / rig_model.ideal_ma
        own = next(p for p in rig_model.parts if p.name == held.name and p.kind == "capture")
        use = None if own.limit_N is None else force / own.limit_N
    return {
        "name": held.name,
        "ideal": held.ideal,
        "force_N": force,
        "use": use,
        "covers_resets": list(held.covers),
    }


def _rope_rows(rig: Rig, jobs: dict[str, Job], first: PlannedStroke) -> list[dict[str, Any]]:
    """`rope` of the JSON: for each rope, the length in the rig and the length that the job needs."""
    rows = []
    lengths = rope_in_rig(rig, rig.start_m)
    places = [first.places, *(j.places for j in jobs.values())]
    for k, rope in enumerate(rig.ropes):
        needed = max(needed_rope(rig, k, x) for group in places for x in group)
        rows.append(
            {
                "name": rope.name,
                "in_rig_m": lengths[k],
                "needed_m": needed,
                "length_m": rope.length_m,
                "enough": None if rope.length_m is None else rope.length_m >= needed,
            }
        )
    return rows


def _job_row(rig: Rig, done: Job) -> dict[str, Any] | None:
    """One of `job` of the JSON: None where it cannot be done, None values where the distance is not stated."""
    if rig.load.pull_distance_m is None:
        none: dict[str, Any] = {"load_travel_m": None, "haul_travel_m": None, "strokes": None}
        return none | {"resets": dict.fromkeys(rig.grabs)}
    if done.why_not:
        return None
    return {
        "load_travel_m": done.load_m,
        "haul_travel_m": done.haul_m,
        "strokes": done.strokes,
        "resets": dict(done.resets),
    }


def _travel_warnings(rig: Rig, jobs: dict[str, Job]) -> list[Message]:
    """Why the job, or a way to reset its grabs, has no answer."""
    if rig.load.pull_distance_m is None:
        return [message("job_not_known")]
    return [
        message("job_not_done", mode=mode, why=done.why_not)
        for mode, done in jobs.items() if done.why_not
    ]  # fmt: skip
