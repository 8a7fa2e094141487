"""Asks which rig of the shelf does the job that the page states, and puts the answer into the draft."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from analysis.messages.message import text_of
from analysis.prediction.choose_rig import GearRatings, Need, Option, choose, fitted, shelf
from analysis.rig.rig import Rig
from analysis.rig_edit.fresh_parts import stated_m
from analysis.rig_edit.toml_text import document_of, document_text
from analysis.rig_file.load import parse_rig
from analysis.rig_file.to_toml import rig_toml
from dashboard.text.units import Units, number, plus_minus
from logger.errors import CallFault, RigFault

JOB_TABLES = ("load", "team", "limits", "defaults")  # what stays when another rig is taken
# what stands for the rig while only the job is read: a load that is pulled by one rope over one pulley
_JOB_ALONE = {
    "anchor_to_load_m": 12.0,
    "rope": [{
        "name": "main",
        "path": [{"tie": "load"}, {"pulley": "A1", "on": "anchor"}, {"haul": "team"}],
    }],
}  # fmt: skip


def job_need(document: Mapping[str, Any]) -> tuple[Need | None, tuple[str, ...]]:
    """The job of a draft, and what is missing of it; None while something is.

    document: the draft's TOML.  What the page has no value for is taken as `haul choose` takes it.
    """
    try:
        job = _job_alone(document)
    except RigFault as fault:
        return None, (f"{fault.place}: {fault.fault}; {fault.cure}",)
    rope_m = sum(stated_m(rope, "length") or 0.0 for rope in document.get("rope", []))
    missing = [
        what
        for what, there in (
            ("how the load resists", job.load.kind or job.load.resistance_N),
            ("how far the load must go", job.load.pull_distance_m),
            ("how long the rope is", rope_m),
            ("what the people pull", job.team_pull_N),
        )
        if not there
    ]
    if missing:
        return None, tuple(missing)
    need = Need(
        load=job.load,
        rope_m=rope_m,
        team_N=job.team_pull_N or 0.0,
        haulers=job.people or 2,
        gear=GearRatings(
            efficiency=None if job.default_assumed else job.stations[1].efficiency,
            efficiency_u=None if job.default_assumed else job.default_u,
            rope_mbs_N=job.ropes[0].mbs_N,
            design_factor=job.design_factor,
        ),
    )
    if need.resistance.force_N is None:
        return None, (text_of(need.resistance.why),)
    return need, ()


@lru_cache(maxsize=8)  # speed only: the page is drawn again after each touch
def ranked(need: Need) -> tuple[Option, ...]:
    """The rigs of the shelf, judged for the job, the best first."""
    return tuple(choose(need))


def option_label(option: Option, units: Units) -> str:
    """One rig that does the job, as a button says it."""
    ratio = f"{number(option.ideal_ma)} : 1 ({plus_minus(option.model_ma, 2 * option.model_ma_u)} with friction)"
    minutes = f", about {max(1, round((option.time_s or 0.0) / 60))} min"
    return (
        f"{option.title}: {ratio}, haul {units.force_pm(option.haul_force_N, option.haul_force_u_N)}, "
        f"{option.strokes} strokes, {option.resets} resets, rope {units.length(option.rope_needed_m)}{minutes}"
    )


def with_fitted(text: str, name: Any) -> str:
    """The draft's text with a rig of the shelf in its place, fitted to the job; raises a UserFault."""
    document = document_of(text)
    need, missing = job_need(document)
    if need is None:
        raise CallFault("page", f"not stated: {', '.join(missing)}", "state it under The job")
    rigs = shelf()
    if name not in rigs:
        raise CallFault("page", "there is no such rig on the shelf", "load the page again")
    return for_this_job(rig_toml(fitted(rigs[name], need)), document)


def for_this_job(rig_text: str, document: Mapping[str, Any]) -> str:
    """A rig's text with the job and the rope of another document; comments of the rig are lost."""
    taken = tomllib.loads(rig_text)
    for table in JOB_TABLES:
        taken.pop(table, None)
        if table in document:
            taken[table] = document[table]
    own = {"name", "path"}
    old = (document.get("rope") or [{}])[0]
    kept = {key: value for key, value in old.items() if key not in own}
    rope = taken["rope"][0]
    taken["rope"][0] = {"name": rope["name"], **kept, "path": rope["path"]}
    return document_text(taken)


def _job_alone(document: Mapping[str, Any]) -> Rig:
    """The job's tables as a rig that reads them; raises RigFault."""
    ropes = document.get("rope") or [{}]
    rated = {key: value for key, value in ropes[0].items() if key.startswith("mbs_")}
    alone = _JOB_ALONE["rope"][0]  # type: ignore[index]
    tables = {table: document[table] for table in JOB_TABLES if table in document}
    return parse_rig(document_text({**_JOB_ALONE, **tables, "rope": [{**rated, **alone}]}), "job")
