"""Which rigs of the shelf do a job: each fitted to the distance and the rope, judged and ranked.

A rig is fitted by moving its load to the distance and its travelling bodies in proportion, then
drawn shorter (more resets) until its rope suffices.  Time is an estimate for ranking alone: rope
through the hands at the speed at which a hauler who works steadily gives 75 W (general reference
text: a labourer over 8 h), at most 0.5 m/s, plus one minute a reset (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from importlib import resources
from typing import Any

import numpy as np

from analysis.bodies import Body, Load, Rig
from analysis.predict import Model, model, reset_setbacks
from analysis.rig import check, parse_rig
from analysis.travel import Job, job, needed_rope
from logger.errors import RigFault

HAULER_W, FASTEST_M_S, RESET_S = 75.0, 0.5, 60.0
ROOM_M = 2.0  # between anchor and load when the job is done
SHRINK = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2)


@dataclass(frozen=True)
class Need:
    """The job: force along the haul line and its standard uncertainty, distance, rope in all, the team's pull."""

    load_N: float
    load_u_N: float
    distance_m: float
    rope_m: float
    team_N: float
    haulers: int = 1


@dataclass(frozen=True)
class Option:
    """One rig of the shelf on this job; why_not is empty where it does it."""

    name: str
    title: str
    ideal_ma: float
    model_ma: float
    haul_force_N: float
    haul_force_u_N: float
    rope_needed_m: float
    rope_through_hands_m: float | None
    strokes: int | None
    resets: int | None
    time_s: float | None
    pulleys: int
    grabs: int
    captures: int
    anchors: int
    ropes: int
    resets_covered: bool
    why_not: str
    notes: tuple[str, ...]


def shelf() -> dict[str, Rig]:
    """Every rig of the shelf by file name without its ending, in order of name."""
    folder = resources.files("analysis") / "rigs"
    files = sorted((f for f in folder.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    return {f.name[:-5]: parse_rig(f.read_text(encoding="utf-8"), f.name) for f in files}


def choose(need: Need, rigs: dict[str, Rig] | None = None) -> list[Option]:
    """All rigs, those that do the job first, quickest first; then the others, nearest first."""
    options = [judge(name, rig, need) for name, rig in (rigs or shelf()).items()]
    return sorted(
        options,
        key=lambda o: (
            bool(o.why_not),
            o.time_s if o.time_s is not None and not o.why_not else o.haul_force_N,
            o.pulleys + o.grabs,
            o.name,
        ),
    )


def judge(name: str, rig: Rig, need: Need) -> Option:
    """One rig on this job."""
    best, known, done, rope = _fit(rig, need)
    high = known.haul_force_N or 0.0
    u = known.haul_force_u_N or 0.0
    faults: list[str] = []
    if high > need.team_N:
        faults.append(f"the team pulls {need.team_N:.0f} N, it takes {high:.0f} N")
    elif high + 2 * u > need.team_N:
        faults.append(
            f"may take up to {high + 2 * u:.0f} N (95 %), the team pulls {need.team_N:.0f} N"
        )
    if rope > need.rope_m:
        faults.append(f"needs {rope:.0f} m of rope, {need.rope_m:.0f} m are there")
    if done.why_not:
        faults.append(done.why_not)
    if best.stations[best.haul].body is not None:
        faults.append("needs a winch on the load, not a team")
    covered = {grab for held in known.held for grab in held.covers}
    bare = [grab for grab in best.grabs if grab not in covered]
    resets = None if done.why_not else sum(done.resets.values())
    speed = min(FASTEST_M_S, HAULER_W * max(1, need.haulers) / max(high, 1.0))
    kinds = [s.kind for s in best.stations]
    return Option(
        name=name,
        title=best.title,
        ideal_ma=known.ideal_ma,
        model_ma=known.model_ma,
        haul_force_N=high,
        haul_force_u_N=u,
        rope_needed_m=rope,
        rope_through_hands_m=None if done.why_not else done.haul_m,
        strokes=None if done.why_not else done.strokes,
        resets=resets,
        time_s=None if resets is None else done.haul_m / speed + RESET_S * resets,
        pulleys=kinds.count("pulley"),
        grabs=kinds.count("grab"),
        captures=kinds.count("capture"),
        anchors=sum(b.kind in ("anchor", "further_anchor") for b in best.bodies),
        ropes=len(best.ropes),
        resets_covered=not bare,
        why_not="; ".join(faults),
        notes=(
            f"haul force {high:.0f} N, standard uncertainty {u:.0f} N",
            "limits are not judged: nothing on the shelf is rated",
        ),
    )


def as_json(need: Need, options: Iterable[Option]) -> dict[str, Any]:
    """The JSON object of `haul choose`."""
    listed = list(options)
    return {
        "job": {
            "load_force_N": need.load_N,
            "load_force_u_N": need.load_u_N,
            "distance_m": need.distance_m,
            "rope_m": need.rope_m,
            "team_N": need.team_N,
        },
        "fits": [o.name for o in listed if not o.why_not],
        "rigs": [{k: getattr(o, k) for k in Option.__dataclass_fields__} for o in listed],
        "warnings": [
            "pulley efficiency 0.90 with a standard uncertainty of 0.05 is assumed for every pulley",
            "limits are not judged here: rate the gear in a rig file and ask haul predict",
        ],
    }


def _fit(rig: Rig, need: Need) -> tuple[Rig, Model, Job, float]:
    """The rig drawn as long as its rope allows."""
    result: tuple[Rig, Model, Job, float] | None = None
    for share in SHRINK:
        try:
            fitted = placed(rig, need, share)
            known = model(fitted)
        except (RigFault, np.linalg.LinAlgError):
            continue
        done = job(fitted, "each", reset_setbacks(known))
        rope = sum(
            max(needed_rope(fitted, k, x) for x in (fitted.start_m, *done.places))
            for k in range(len(fitted.ropes))
        )
        better = result is None or (bool(result[2].why_not), result[3]) > (bool(done.why_not), rope)
        if better:
            result = (fitted, known, done, rope)
        if not done.why_not and rope <= need.rope_m:
            return fitted, known, done, rope
    if result is None:
        known = model(rig)
        return rig, known, Job(0.0, 0.0, 0, {}, (), "does not fit into this distance"), 0.0
    return result


def placed(rig: Rig, need: Need, share: float = 1.0) -> Rig:
    """The rig with its load at the job's distance and its grabs and plates at `share` of their proportion."""
    length = need.distance_m + ROOM_M
    scale = length / float(rig.start_m[1])

    def move(body: Body) -> Body:
        if body.kind == "load":
            return replace(body, x_m=length)
        if body.kind in ("grab", "plate"):
            return replace(body, x_m=body.x_m * scale * share)
        return body

    load = Load(
        resistance_N=need.load_N, resistance_u_N=need.load_u_N, pull_distance_m=need.distance_m
    )
    fitted = replace(
        rig,
        bodies=tuple(move(b) for b in rig.bodies),
        load=load,
        team_pull_N=need.team_N,
        stand_m=rig.stand_m and length,
    )
    check(fitted)
    return fitted
