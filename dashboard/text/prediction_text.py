"""Two views of a prediction, as JSON and as text: the forces in each load case, and the job by strokes."""

from __future__ import annotations

from typing import Any

from analysis.mechanics.load_cases import Condition, LoadCaseRow, conditions
from analysis.mechanics.model import model
from analysis.mechanics.rope_stretch import take_up
from analysis.messages.message import text_of
from analysis.prediction.job_table import StrokeRow, job_table
from analysis.rig.rig import Rig
from dashboard.text.console import table
from dashboard.text.units import UNKNOWN, Units, number, percent

View = tuple[dict[str, Any], list[str]]  # JSON object, lines of text


def conditions_view(rig: Rig, shown: Units) -> View:
    """The force on each element in each load case: a row for an element, a column for a load case."""
    every = conditions(model(rig))
    lines = [
        rig.title or "rig",
        "Forces in every condition; x is multiples of the load's force",
        "",
    ]
    lines += table(_rows(every, shown), left=2)
    lines += ["", "The load, the team and what can be reset"]
    for one in every:
        load = shown.force_pm(one.load_N, one.load_u_N)
        haul = shown.force_pm(one.haul_N, one.haul_u_N)
        more = ""
        if one.held_on is not None:
            more = "; can be reset meanwhile: " + (", ".join(one.covers) or "nothing")
        why = f"   ({one.why_not.text(shown)})" if one.why_not else ""
        lines.append(f"  {one.name}: load {load}, haul {haul}{more}{why}")
    lines += [
        "  held is without friction and each capture alone; running back, captures are held open",
    ]
    return {"title": rig.title, "conditions": [_condition_json(one) for one in every]}, lines


def _condition_json(one: Condition) -> dict[str, Any]:
    rows = [vars(row) | {"why": text_of(row.why)} for row in one.rows]
    made = vars(one) | {"rows": rows, "why_not": text_of(one.why_not)}
    del made["held_on"]  # the name of the load case already contains it
    return made


def _rows(every: tuple[Condition, ...], shown: Units) -> list[list[str]]:
    full = [one for one in every if one.rows]
    rows = [["", "kind", *(one.name for one in full), "limit", "most used"]]
    for k, first in enumerate(full[0].rows):
        cells = [one.rows[k] for one in full]
        uses = [
            (row.use, one.name) for row, one in zip(cells, full, strict=True) if row.use is not None
        ]
        most = (
            f"{percent(max(uses)[0])} {max(uses)[1]}"
            if uses
            else "not rated"
            if first.limit_N is None
            else "-"
        )
        limit = "-" if first.limit_N is None else shown.force(first.limit_N)
        rows.append([first.name, first.kind, *(_force(row, shown) for row in cells), limit, most])
    return rows


def _force(row: LoadCaseRow, shown: Units) -> str:
    if row.force_N is None:
        return f"{number(row.of_load)} x"
    return shown.force_pm(row.force_N, row.force_u_N)


def job_view(rig: Rig, shown: Units) -> View:
    """The job stroke by stroke, with each grab reset alone and with all reset together; rope lost
    to stretch."""
    rig_model = model(rig)
    result: dict[str, Any] = {"title": rig.title}
    lines = [rig.title or "rig"]
    for mode, how in (("each", "each grab reset alone"), ("together", "all grabs reset together")):
        rows, done = job_table(rig_model, mode)
        result[mode] = {"strokes": [vars(row) for row in rows], "why_not": text_of(done.why_not)}
        lines += ["", f"The job, {how}" + (f": {done.why_not.text(shown)}" if done.why_not else "")]
        if rows:
            head = [
                "stroke",
                "load moved",
                "rope hauled",
                "haul force",
                "steepest",
                "two-blocked",
                "reset",
            ]
            lines += table([head, *(_stroke(row, shown) for row in rows)], left=0)
    lost = take_up(rig_model)
    result["take_up"] = vars(lost) | {"why": text_of(lost.why)}
    if lost.first_m is None:
        lines += ["", f"Rope lost to stretch: {UNKNOWN} ({text_of(lost.why, shown)})"]
    else:
        after = "".join(
            f"; {shown.length(m)} after each reset held on {n}" for n, m in lost.after.items()
        )
        lines += [
            "",
            f"Rope lost to stretch, on top: {shown.length(lost.first_m)} at the first pull{after}",
        ]
    return result, lines


def _stroke(row: StrokeRow, shown: Units) -> list[str]:
    reset = ", ".join(row.reset) or "-"
    if row.setback_m:
        reset += f" ({shown.length(row.setback_m)} lost)"
    return [
        str(row.number), shown.length(row.load_m), shown.length(row.haul_m),
        shown.force_pm(row.haul_N, row.haul_u_N), f"{row.steepest_deg:.0f}°",
        " meets ".join(row.two_blocked) or "the load is there", reset,
    ]  # fmt: skip
