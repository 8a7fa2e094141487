"""Predicts what a rig does, from its rig file alone: forces, travel, rope and limits.

Forces are those while the load moves steadily, at the predicted haul force or at --haul-force. "Most
used" is the highest force / limit over the whole job: raising, breaking away, held on a capture or
running back. Exit status 1 if something would carry more than it is allowed to.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from analysis.messages.message import text_of
from analysis.prediction.predict import prediction, stop_hauling_at
from analysis.rig.rig import Rig
from analysis.rig_file.load import load_rig
from dashboard.text.console import (
    add_json,
    add_units,
    pairs,
    positive,
    print_json,
    table,
    units,
)  # fmt: skip
from dashboard.text.units import UNKNOWN, Units, number, percent, plus_minus

if TYPE_CHECKING:
    from analysis.mechanics.model import Model
    from analysis.mechanics.rope_stretch import TakeUp


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul predict`."""
    parser.add_argument("rig", metavar="RIG", help="the rig file (TOML)")
    add_json(parser)
    views = parser.add_mutually_exclusive_group()
    views.add_argument(
        "--steps", action="store_true",
        help="the T-method: the tension in each strand in rope order, in multiples of the haul tension T",
    )  # fmt: skip
    views.add_argument(
        "--conditions", action="store_true",
        help="the force on each strand and element while the load is raised, breaks away, is held on each "
        "progress capture, and runs back",
    )  # fmt: skip
    views.add_argument(
        "--job", action="store_true",
        help="the job stroke by stroke (throw by throw): which bodies meet (two-blocked), which grabs are "
        "reset, and the haul force there",
    )  # fmt: skip
    parser.add_argument(
        "--haul-force", metavar="N", type=positive("newtons"),
        help="compute forces for this haul force in newtons, instead of the predicted one",
    )  # fmt: skip
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    """Run `haul predict` and return the exit status."""
    rig = load_rig(args.rig)
    shown = units(args)
    predicted, warnings = prediction(rig, args.haul_force)
    warned = ["", *(f"! {one.text(shown)}" for one in warnings)] if warnings else []
    if args.json and not (args.conditions or args.job):
        print_json(predicted)
    elif args.conditions or args.job:
        from dashboard.text import prediction_text as predict_views

        view = predict_views.conditions_view if args.conditions else predict_views.job_view
        as_json, lines = view(rig, shown)
        if args.json:
            print_json(as_json)
        else:
            print("\n".join([*lines, *warned]))
    else:
        given = args.haul_force is not None
        lines = _steps(predicted) if args.steps else _summary(rig, predicted, shown, given)
        print("\n".join([*lines, *warned]))
    return 1 if overloaded(predicted) else 0


def overloaded(predicted: dict[str, Any]) -> list[str]:
    """Names of the strands and elements that would carry more than they are allowed to."""
    rows = [(f"{row['from']}>{row['to']}", row["use"]) for row in predicted["strands"]]
    rows += [(row["name"], row["use"]) for row in (*predicted["elements"], *predicted["hold"])]
    return list(dict.fromkeys(name for name, use in rows if use is not None and use > 1))


def _summary(rig: Rig, predicted: dict[str, Any], shown: Units, given: bool) -> list[str]:
    """The prediction as lines of text; given: whether --haul-force sets the haul force."""
    from analysis.mechanics.load_resistance import resistance
    from analysis.mechanics.model import model
    from analysis.mechanics.rope_stretch import take_up
    from analysis.mechanics.ten_percent_rule import ten_percent

    rig_model, needs = model(rig), resistance(rig.load)
    rule = ten_percent(rig_model)
    haul = shown.force_pm(predicted["haul_force_N"], predicted["haul_force_u_N"])
    rows = [
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
        ("handbook rule, for comparison", f"10 % of the load for each of {rule.sheaves} sheaves: "
         f"{number(rule.ma)} : 1, haul force {shown.force(rule.haul_N)}"),
    ]  # fmt: skip
    stop = stop_hauling_at(rig_model)
    because = f"{stop.because.text(shown)} ({stop.rated} of {stop.parts} are rated)"
    rows.append(("stop hauling at", f"{shown.force(stop.haul_force_N)}: {because}"))
    lines = [
        predicted["title"] or "rig",
        *pairs(rows),
        "",
        "Strands, in rope order; T is the haul tension",
    ]
    force_u = _force_u(rig_model, predicted, given)
    lines += table(_rows(predicted["strands"], "tension_N", shown, force_u))
    lines += ["", "Elements"]
    lines += table(_rows(predicted["elements"], "force_N", shown, force_u), left=2)
    lines += ["", *_travel(predicted, shown), *_stretch(take_up(rig_model), shown)]
    if predicted["hold"]:
        lines += ["", "Held on a capture, hands off"]
        for row in predicted["hold"]:
            covers = ", ".join(row["covers_resets"]) or "nothing"
            force = number(row["ideal"]) + " T" if row["ideal"] is not None else "cannot hold"
            lines.append(
                f"  {row['name']}: {force}, {shown.force(row['force_N'])}, "
                f"use {percent(row['use'])}; can be reset meanwhile: {covers}"
            )
    return lines


def _force_u(rig_model: Model, predicted: dict[str, Any], given: bool) -> dict[str, float]:
    """Name of each strand and element -> standard uncertainty of its force, N.

    With a given haul force it comes from the pulleys alone, otherwise from the load as well.
    """
    if predicted["haul_force_N"] is None:
        return {}
    if given:
        return {one.name: one.model_u * predicted["haul_force_N"] for one in rig_model.parts}
    from analysis.mechanics.load_cases import conditions

    raising = conditions(rig_model)[0]
    return {row.name: row.force_u_N or 0.0 for row in raising.rows}


def _rows(
    items: list[dict[str, Any]], force: str, shown: Units, force_u: dict[str, float]
) -> list[list[str]]:
    """The table of strands or of elements; force: key of the force in a row."""
    head = ["", "ideal", "model", "force", "limit", "most used", ""]
    strands = force == "tension_N"
    rows = [head if strands else ["", "kind", *head[1:]]]
    for row in items:
        name = f"{row['from']}>{row['to']}" if strands else row["name"]
        cells = [
            f"{number(row['ideal'])} T", f"{number(row['model'])} T",
            "-" if row[force] is None else shown.force_pm(row[force], force_u.get(name)),
            "-" if row["limit_N"] is None else shown.force(row["limit_N"]),
            percent(row["use"]), row["use_in"] or "",
        ]  # fmt: skip
        rows.append([name, *cells] if strands else [name, row["kind"], *cells])
    return rows


def _travel(predicted: dict[str, Any], shown: Units) -> list[str]:
    """Lines on one stroke, on the job with each kind of reset, and on the rope that it needs."""
    stroke = predicted["stroke"]
    meets = " meets ".join(stroke["stopped_by"]) or UNKNOWN
    lines = [
        "Travel",
        f"  one stroke: {shown.length(stroke['haul_travel_m'])} of rope moves the load "
        f"{shown.length(stroke['load_travel_m'])}, until {meets}",
    ]
    for mode, how in (("each", "each grab reset alone"), ("together", "all grabs reset together")):
        job = predicted["job"][mode]
        if job is None or job["strokes"] is None:
            lines.append(f"  the job, {how}: {UNKNOWN}")
            continue
        resets = ", ".join(f"{name} {times}" for name, times in job["resets"].items())
        lines.append(
            f"  the job, {how}: {job['strokes']} stroke{'s' if job['strokes'] != 1 else ''}, {shown.length(job['haul_travel_m'])} of "
            f"rope for {shown.length(job['load_travel_m'])}; resets: {resets or 'none'}"
        )
    for row in predicted["rope"]:
        enough = {None: "length not stated", True: "enough", False: "NOT ENOUGH"}[row["enough"]]
        bag = "" if row["length_m"] is None else f" of {shown.length(row['length_m'])}"
        lines.append(
            f"  rope {row['name']}: {shown.length(row['in_rig_m'])} in the rig, "
            f"{shown.length(row['needed_m'])} needed{bag}: {enough}"
        )
    return lines


def _stretch(lost: TakeUp, shown: Units) -> list[str]:
    """The line on the rope that the haulers take in only to stretch it, which comes on top of the
    travel."""
    if lost.first_m is None:
        return [f"  rope lost to stretch: {UNKNOWN} ({text_of(lost.why, shown)})"]
    after = "".join(
        f", {shown.length(lost_m)} after a reset held on {name}"
        for name, lost_m in lost.after.items()
    )
    return [
        f"  rope lost to stretch, on top: {shown.length(lost.first_m)} at the first pull{after}"
    ]


def _steps(predicted: dict[str, Any]) -> list[str]:
    """The T-method as lines, in rope order: the tension in each strand, and the pull on each
    station."""
    elements = {row["name"]: row for row in predicted["elements"]}
    lines = [predicted["title"] or "rig", "T-method: tensions in multiples of the haul tension T"]
    rope = None
    rows: list[list[str]] = []
    for strand in predicted["strands"]:
        if strand["rope"] != rope:
            rope = strand["rope"]
            rows.append([f"rope {rope}", "ideal", "with friction"])
            rows.append([f"  {strand['from']}", "", ""])
        rows.append(
            [f"    {strand['from']}>{strand['to']}", f"{number(strand['ideal'])} T",
             f"{number(strand['model'])} T"]
        )  # fmt: skip
        rows.append([_station(strand["to"], elements), "", ""])
    lines += table(rows, indent="")
    lines += [
        "",
        f"  the load is pulled with {number(predicted['ideal_ma'])} T, with friction "
        f"{number(predicted['model_ma'])} T: efficiency {percent(predicted['efficiency'])}",
    ]
    return lines


def _station(name: str, elements: dict[str, dict[str, Any]]) -> str:
    row = elements.get(name)
    if row is None:
        return f"  {name}"
    pulls = f"{number(row['ideal'])} T, with friction {number(row['model'])} T"
    what = {
        "pulley": f"pulley {name}: pulls on {row['on']} with {pulls}",
        "grab": f"grab {name}: brings {pulls} into the rope",
        "capture": f"capture {name}: drags with {pulls}",
        "edge": f"edge {name}: presses with {pulls}",
    }
    return "  " + what.get(row["kind"], name)
