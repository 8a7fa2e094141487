"""What a rig should do: forces, travel, rope and limits, from its file alone.

Forces on strands are for the predicted haul force while the load moves steadily, or for
--haul-force. "Most used" is the highest force / limit over the whole job, raising, breaking away,
held on a capture or running back. --conditions shows every part in each of them; --job goes through
the job stroke by stroke. Exit status 1 where something would be over what is allowed.
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
    parser.add_argument("rig", metavar="RIG", help="the rig file (TOML)")
    add_json(parser)
    views = parser.add_mutually_exclusive_group()
    views.add_argument(
        "--steps", action="store_true",
        help="the T-method: tension on every strand in rope order, in multiples of the haul tension",
    )  # fmt: skip
    views.add_argument(
        "--conditions", action="store_true",
        help="every strand and element raising, breaking away, held on each capture, running back",
    )  # fmt: skip
    views.add_argument(
        "--job", action="store_true",
        help="the job stroke by stroke: what is two-blocked and reset when, and the haul force there",
    )  # fmt: skip
    parser.add_argument(
        "--haul-force", metavar="N", type=positive("newtons"),
        help="forces for this haul tension in newtons, instead of the predicted one",
    )  # fmt: skip
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    rig = load_rig(args.rig)
    shown = units(args)
    found, warnings = prediction(rig, args.haul_force)
    said = ["", *(f"! {one.text(shown)}" for one in warnings)] if warnings else []
    if args.json and not (args.conditions or args.job):
        print_json(found)
    elif args.conditions or args.job:
        from dashboard.text import prediction_text as predict_views

        view = predict_views.conditions_view if args.conditions else predict_views.job_view
        as_json, lines = view(rig, shown)
        if args.json:
            print_json(as_json)
        else:
            print("\n".join([*lines, *said]))
    else:
        given = args.haul_force is not None
        lines = _steps(found) if args.steps else _summary(rig, found, shown, given)
        print("\n".join([*lines, *said]))
    return 1 if passed(found) else 0


def passed(found: dict[str, Any]) -> list[str]:
    """The names of what would carry more than it is allowed to."""
    rows = [(f"{row['from']}>{row['to']}", row["use"]) for row in found["strands"]]
    rows += [(row["name"], row["use"]) for row in (*found["elements"], *found["hold"])]
    return list(dict.fromkeys(name for name, use in rows if use is not None and use > 1))


def _summary(rig: Rig, found: dict[str, Any], shown: Units, given: bool) -> list[str]:
    from analysis.mechanics.load_resistance import resistance
    from analysis.mechanics.model import model
    from analysis.mechanics.rope_stretch import take_up
    from analysis.mechanics.ten_percent_rule import ten_percent

    known, needs = model(rig), resistance(rig.load)
    rule = ten_percent(known)
    haul = shown.force_pm(found["haul_force_N"], found["haul_force_u_N"])
    rows = [
        ("ideal MA", f"{number(found['ideal_ma'])} : 1"),
        ("MA with friction", f"{plus_minus(found['model_ma'], 2 * found['model_ma_u'])}"
         f"   (efficiency {percent(found['efficiency'])})"),
        ("travel ratio", f"{number(found['travel_ratio'])} of rope for 1 of load"),
        ("load force", shown.force_pm(found["load_force_N"], found["load_force_u_N"])),
        ("haul force", haul + ("   (given)" if given else "")),
        ("to break the load away", shown.force_pm(known.start_force_N, known.start_force_u_N)
         + (f"   ({needs.start_why.text(shown)})" if needs.start_why and known.load_force_N else "")),
        ("hold at least", shown.force_pm(known.lower_force_N, known.lower_force_u_N)
         + (", or the load runs back" if known.lower_force_N is not None else "")
         + (f"   ({needs.lower_why.text(shown)})" if needs.lower_why and known.load_force_N else "")),
        ("handbook rule, apart from it", f"10 % of the load a sheave, {rule.sheaves} sheaves: "
         f"{number(rule.ma)} : 1, haul force {shown.force(rule.haul_N)}"),
    ]  # fmt: skip
    stop = stop_hauling_at(known)
    because = f"{stop.because.text(shown)} ({stop.rated} of {stop.parts} are rated)"
    rows.append(("stop hauling at", f"{shown.force(stop.haul_force_N)}: {because}"))
    lines = [
        found["title"] or "rig",
        *pairs(rows),
        "",
        "Strands, in rope order; T is the haul tension",
    ]
    doubt = _doubt(known, found, given)
    lines += table(_rows(found["strands"], "tension_N", shown, doubt))
    lines += ["", "Elements"]
    lines += table(_rows(found["elements"], "force_N", shown, doubt), left=2)
    lines += ["", *_travel(found, shown), *_stretch(take_up(known), shown)]
    if found["hold"]:
        lines += ["", "Held on a capture, hands off"]
        for row in found["hold"]:
            covers = ", ".join(row["covers_resets"]) or "nothing"
            force = number(row["ideal"]) + " T" if row["ideal"] is not None else "cannot hold"
            lines.append(
                f"  {row['name']}: {force}, {shown.force(row['force_N'])}, "
                f"use {percent(row['use'])}; while it holds can be reset: {covers}"
            )
    return lines


def _doubt(known: Model, found: dict[str, Any], given: bool) -> dict[str, float]:
    """Standard uncertainty of each part's force, N: of a given haul force, or of the load and all."""
    if found["haul_force_N"] is None:
        return {}
    if given:
        return {part.name: part.model_u * found["haul_force_N"] for part in known.parts}
    from analysis.mechanics.load_cases import conditions

    raising = conditions(known)[0]
    return {row.name: row.force_u_N or 0.0 for row in raising.rows}


def _rows(
    items: list[dict[str, Any]], force: str, shown: Units, doubt: dict[str, float]
) -> list[list[str]]:
    head = ["", "ideal", "model", "force", "limit", "most used", ""]
    strands = force == "tension_N"
    rows = [head if strands else ["", "kind", *head[1:]]]
    for row in items:
        name = f"{row['from']}>{row['to']}" if strands else row["name"]
        cells = [
            f"{number(row['ideal'])} T", f"{number(row['model'])} T",
            "-" if row[force] is None else shown.force_pm(row[force], doubt.get(name)),
            "-" if row["limit_N"] is None else shown.force(row["limit_N"]),
            percent(row["use"]), row["use_in"] or "",
        ]  # fmt: skip
        rows.append([name, *cells] if strands else [name, row["kind"], *cells])
    return rows


def _travel(found: dict[str, Any], shown: Units) -> list[str]:
    stroke = found["stroke"]
    meets = " meets ".join(stroke["stopped_by"]) or UNKNOWN
    lines = [
        "Travel",
        f"  one stroke: {shown.length(stroke['haul_travel_m'])} of rope moves the load "
        f"{shown.length(stroke['load_travel_m'])}, until {meets}",
    ]
    for mode, how in (("each", "each grab reset alone"), ("together", "all grabs reset together")):
        job = found["job"][mode]
        if job is None or job["strokes"] is None:
            lines.append(f"  the job, {how}: {UNKNOWN}")
            continue
        resets = ", ".join(f"{name} {times}" for name, times in job["resets"].items())
        lines.append(
            f"  the job, {how}: {job['strokes']} stroke{'s' if job['strokes'] != 1 else ''}, {shown.length(job['haul_travel_m'])} of "
            f"rope for {shown.length(job['load_travel_m'])}; resets: {resets or 'none'}"
        )
    for row in found["rope"]:
        enough = {None: "length not stated", True: "enough", False: "NOT ENOUGH"}[row["enough"]]
        bag = "" if row["length_m"] is None else f" of {shown.length(row['length_m'])}"
        lines.append(
            f"  rope {row['name']}: {shown.length(row['in_rig_m'])} in the rig, "
            f"{shown.length(row['needed_m'])} needed{bag}: {enough}"
        )
    return lines


def _stretch(lost: TakeUp, shown: Units) -> list[str]:
    """Rope that stretch takes at the hand, on top of the rope above."""
    if lost.first_m is None:
        return [f"  rope lost to stretch: {UNKNOWN} ({text_of(lost.why, shown)})"]
    after = "".join(
        f", {shown.length(way)} after a reset held on {name}" for name, way in lost.after.items()
    )
    return [
        f"  rope lost to stretch, on top: {shown.length(lost.first_m)} at the first pull{after}"
    ]


def _steps(found: dict[str, Any]) -> list[str]:
    """Rope order, station by station: what the rope carries, and what each station takes from it."""
    elements = {row["name"]: row for row in found["elements"]}
    lines = [found["title"] or "rig", "T-method: tensions in multiples of the haul tension T"]
    rope = None
    rows: list[list[str]] = []
    for strand in found["strands"]:
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
        f"  the load is pulled with {number(found['ideal_ma'])} T, with friction "
        f"{number(found['model_ma'])} T: efficiency {percent(found['efficiency'])}",
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
