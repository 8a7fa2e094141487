"""Makes the JSON of `haul predict`: forces, limits, stroke, job, rope and warnings of a rig."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.mechanics.kinematics import TINY
from analysis.mechanics.model import (
    Held,
    Model,
    PartLoad,
    model,
    reset_setbacks,
)
from analysis.mechanics.travel import Job, PlannedStroke, job, needed_rope, rope_in_rig, stroke
from analysis.messages.message import Message, message
from analysis.rig.rig import Rig

# body positions over the job at which the model is solved again; chosen by us: the force changes smoothly,
# and each position costs a solution
MOST_SOLVED = 50


@dataclass(frozen=True)
class FirstLimit:
    """The haul tension at which the first rated part reaches its limit."""

    haul_force_N: float | None  # None: nothing that the haul loads is rated
    because: Message  # the part and what sets its limit
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
    jobs = {mode: job(rig, mode, reset_setbacks(rig_model)) for mode in ("each", "together")}
    strands: list[dict[str, Any]] = []
    elements: list[dict[str, Any]] = []
    over: list[Message] = []
    for part_load in rig_model.parts:
        force = None if haul is None else part_load.model * haul
        use = None if force is None or part_load.limit_N is None else abs(force) / part_load.limit_N
        if use is not None and use > 1:
            over.append(
                message(
                    "part_over_limit", name=part_load.name, force_N=abs(force or 0.0),
                    limit_N=part_load.limit_N, why=part_load.why,
                )
            )  # fmt: skip
        row: dict[str, Any] = {"ideal": part_load.ideal, "model": part_load.model}
        if part_load.kind == "strand":
            piece = rig_model.pieces[len(strands)]
            strands.append(
                {"rope": piece.rope, "from": piece.ends[0], "to": piece.ends[1]} | row
                | {"tension_N": force, "limit_N": part_load.limit_N, "use": use}
            )  # fmt: skip
        else:
            elements.append(
                {"name": part_load.name, "kind": part_load.kind, "on": part_load.on} | row
                | {"force_N": force, "limit_N": part_load.limit_N, "use": use}
            )  # fmt: skip
    holds = [_hold_row(rig_model, held) for held in rig_model.held]
    for row in holds:
        if row["use"] is not None and row["use"] > 1:
            over.append(message("capture_over_limit", name=row["name"], force_N=row["force_N"]))
    ropes = _rope_rows(rig, jobs, first)
    short = [
        message("rope_too_short", rope=r["name"], needed_m=r["needed_m"], length_m=r["length_m"])
        for r in ropes if r["enough"] is False
    ]  # fmt: skip
    warnings = (
        *(w for w in rig_model.warnings if w.level == "stop"),
        *over,
        *_on_the_way(rig_model, haul_force_N, jobs),
        *(w for w in rig_model.warnings if w.level != "stop"),
        *_travel_warnings(rig, jobs),
        *short,
    )
    stop = stop_hauling_at(rig_model)
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


def _on_the_way(rig_model: Model, given_N: float | None, jobs: dict[str, Job]) -> list[Message]:
    """Warnings of forces that grow over the job because strands turn away from the haul axis.

    They name the greatest haul force, and each part that is within its limit at the start and over it
    then.  Empty where a haul force is given.
    """
    if rig_model.haul_force_N is None or given_N is not None or not np.any(rig_model.rig.side_m):
        return []
    worst: Model | None = None
    for done in jobs.values():
        ends = [item.end for item in done.steps if isinstance(item, PlannedStroke)]
        for x in ends[:: max(1, len(ends) // MOST_SOLVED)]:
            try:
                there = model(rig_model.rig, x)
            except np.linalg.LinAlgError:
                continue
            if (there.haul_force_N or 0.0) > ((worst.haul_force_N or 0.0) if worst else 0.0):
                worst = there
    if (
        worst is None
        or worst.haul_force_N is None
        or worst.haul_force_N < 1.02 * rig_model.haul_force_N
    ):
        return []
    result = [message("haul_force_grows", haul_N=worst.haul_force_N)]
    for before, after in zip(rig_model.parts, worst.parts, strict=True):
        if before.limit_N is None:
            continue
        now, then = (
            abs(one.model) * (m.haul_force_N or 0.0)
            for one, m in ((before, rig_model), (after, worst))
        )
        if now <= before.limit_N < then:
            result.append(
                message(
                    "part_over_limit_on_the_way", name=before.name, force_N=then,
                    limit_N=before.limit_N, why=before.why,
                )
            )  # fmt: skip
    return result


def first_limit(rig_model: Model) -> PartLoad | None:
    """The rated part that reaches its limit at the lowest haul tension, or None."""
    rated = [p for p in rig_model.parts if p.limit_N is not None and abs(p.ideal) > TINY]
    return min(rated, key=lambda p: (p.limit_N or 0.0) / abs(p.ideal), default=None)


def stop_hauling_at(rig_model: Model) -> FirstLimit:
    """The haul tension at which the first rated part reaches its limit, with frictionless forces."""
    parts = len(rig_model.parts)
    rated = sum(one.limit_N is not None for one in rig_model.parts)
    first = first_limit(rig_model)
    if first is None or first.limit_N is None:
        return FirstLimit(None, message("nothing_is_rated"), rated, parts)
    because = message("limit_of_a_part", name=first.name, why=first.why)
    if first.kind == "strand":
        because = message("limit_of_a_strand", name=first.name, why=first.why)
    return FirstLimit(first.limit_N / abs(first.ideal), because, rated, parts)


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
