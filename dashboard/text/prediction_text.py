"""A prediction in words: two views as JSON and as text, and the rows of the terminal and of the crew's card.

The views: the forces in each load case, and the job by strokes.
"""

from __future__ import annotations

from typing import Any

from analysis.mechanics.load_cases import Condition, LoadCaseRow, conditions
from analysis.mechanics.load_resistance import resistance
from analysis.mechanics.model import Model, model
from analysis.mechanics.rope_stretch import take_up
from analysis.messages.message import text_of
from analysis.prediction.jam import jam_message, jammed
from analysis.prediction.job_table import StrokeRow, job_table
from analysis.prediction.predict import stop_hauling_at
from analysis.rig.rig import Rig
from dashboard.text.console import table
from dashboard.text.units import UNKNOWN, Units, number, percent, plus_minus

View = tuple[dict[str, Any], list[str]]  # JSON object, lines of text
RESETS = {"each": "each grab reset alone", "together": "all grabs reset together"}


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


def force_rows(
    rig_model: Model, predicted: dict[str, Any], shown: Units, given: bool = False
) -> list[tuple[str, str]]:
    """(label, text) of the advantage and the forces at the haul; given: whether the caller set the haul force."""
    needs = resistance(rig_model.rig.load)
    haul = shown.force_pm(predicted["haul_force_N"], predicted["haul_force_u_N"])
    return [
        ("ideal MA", f"{number(predicted['ideal_ma'])} : 1"),
        ("MA with friction", f"{plus_minus(predicted['model_ma'], 2 * predicted['model_ma_u'])}"
         f"   (efficiency {percent(predicted['efficiency'])})"),
        ("travel ratio", f"{number(predicted['travel_ratio'])} of rope for 1 of load"),
        ("load force", shown.force_pm(predicted["load_force_N"], predicted["load_force_u_N"])),
        ("haul force", haul + ("   (given)" if given else "")),
        ("to break the load away", shown.force_pm(rig_model.start_force_N, rig_model.start_force_u_N)
         + (f"   ({needs.start_why.text(shown)})" if needs.start_why and rig_model.load_force_N else "")),
        ("hold at least", shown.force_pm(rig_model.lower_force_N, rig_model.lower_force_u_N)
         + (", or the load runs back" if rig_model.lower_force_N is not None else "")
         + (f"   ({needs.lower_why.text(shown)})" if needs.lower_why and rig_model.load_force_N else "")),
    ]  # fmt: skip


def stop_rows(rig_model: Model, shown: Units) -> list[tuple[str, str]]:
    """(label, text) of the haul force at which to stop with what sets it, and of a load that jams."""
    stop = stop_hauling_at(rig_model)
    because = f"{stop.because.text(shown)} ({stop.rated} of {stop.parts} are rated)"
    return [
        ("stop hauling at", f"{shown.force(stop.haul_force_N)}: {because}"),
        ("if the load jams", jam_message(jammed(rig_model)).text(shown)),
    ]


def travel_rows(predicted: dict[str, Any], shown: Units) -> list[tuple[str, str]]:
    """(label, text) of one stroke, of the job with each kind of reset, and of the rope that it needs."""
    stroke = predicted["stroke"]
    meets = " meets ".join(stroke["stopped_by"]) or UNKNOWN
    rows = [
        ("one stroke", f"{shown.length(stroke['haul_travel_m'])} of rope moves the load "
         f"{shown.length(stroke['load_travel_m'])}, until {meets}")
    ]  # fmt: skip
    for mode, how in RESETS.items():
        job = predicted["job"][mode]
        if job is None or job["strokes"] is None:
            rows.append((f"the job, {how}", UNKNOWN))
            continue
        resets = ", ".join(f"{name} {times}" for name, times in job["resets"].items())
        rows.append(
            (f"the job, {how}", f"{job['strokes']} stroke{'s' if job['strokes'] != 1 else ''}, "
             f"{shown.length(job['haul_travel_m'])} of rope for {shown.length(job['load_travel_m'])}; "
             f"resets: {resets or 'none'}")
        )  # fmt: skip
    for row in predicted["rope"]:
        enough = {None: "length not stated", True: "enough", False: "NOT ENOUGH"}[row["enough"]]
        bag = "" if row["length_m"] is None else f" of {shown.length(row['length_m'])}"
        rows.append(
            (f"rope {row['name']}", f"{shown.length(row['in_rig_m'])} in the rig, "
             f"{shown.length(row['needed_m'])} needed{bag}: {enough}")
        )  # fmt: skip
    return rows


def hold_rows(predicted: dict[str, Any], shown: Units) -> list[tuple[str, str]]:
    """(label, text) of each capture with the load on it: its force, its use, the resets that it covers."""
    rows = []
    for row in predicted["hold"]:
        covers = ", ".join(row["covers_resets"]) or "nothing"
        force = number(row["ideal"]) + " T" if row["ideal"] is not None else "cannot hold"
        rows.append(
            (row["name"], f"{force}, {shown.force(row['force_N'])}, "
             f"use {percent(row['use'])}; can be reset meanwhile: {covers}")
        )  # fmt: skip
    return rows
