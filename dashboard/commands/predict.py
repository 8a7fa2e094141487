"""Predicts what a rig does, from its rig file alone: forces, travel, rope and limits.

Forces are those while the load moves steadily, at the predicted haul force or at --haul-force. "Most
used" is the highest force / limit over the whole job: raising, breaking away, held on a capture or
running back. Exit status 1 if something would carry more than it is allowed to.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from analysis.messages.message import text_of
from analysis.prediction.predict import prediction
from analysis.rig.rig import Rig
from analysis.rig_file.load import load_rig
from dashboard.text.console import (
    add_json,
    add_units,
    pairs,
    print_json,
    table,
    units,
    with_unit,
)  # fmt: skip
from dashboard.text.units import UNKNOWN, Units, number, percent
from logger.errors import RigFault
from logger.toml_tables import parse_toml, read_text

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
    views.add_argument(
        "--captures", action="store_true",
        help="what a progress capture on each strand would do: whether it holds the load, what it carries, "
        "which resets it covers, and what its setback costs over the job",
    )  # fmt: skip
    views.add_argument(
        "--place", action="store_true",
        help="where each grab should sit at the start of the job: fewest resets, then least rope",
    )  # fmt: skip
    parser.add_argument(
        "--haul-force", metavar="N", type=with_unit("force", "N", bare=True),
        help="compute forces for this haul force in newtons, instead of the predicted one",
    )  # fmt: skip
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    """Run `haul predict` and return the exit status."""
    rig = load_rig(args.rig)
    shown = units(args)
    predicted, warnings = prediction(rig, args.haul_force)
    warned = ["", *(f"! {one.text(shown)}" for one in warnings)] if warnings else []
    if args.json and not (args.conditions or args.job or args.captures or args.place):
        print_json(predicted)
    elif args.conditions or args.job or args.captures or args.place:
        as_json, lines = _view(args, rig, shown)
        if args.json:
            print_json(as_json)
        else:
            print("\n".join([*lines, *warned]))
    else:
        given = args.haul_force is not None
        lines = _steps(predicted) if args.steps else _summary(rig, predicted, shown, given)
        print("\n".join([*lines, *warned]))
    return 1 if overloaded(predicted) else 0


def _view(args: argparse.Namespace, rig: Rig, shown: Units) -> tuple[dict[str, Any], list[str]]:
    """The view that the call asks for, as JSON and as lines of text."""
    if args.captures or args.place:
        from dashboard.text.places_text import captures_view, places_view

        if args.place:
            return places_view(rig, shown)
        return captures_view(
            rig, parse_toml(read_text(args.rig, RigFault), args.rig, RigFault), shown
        )
    from dashboard.text.prediction_text import conditions_view, job_view

    return conditions_view(rig, shown) if args.conditions else job_view(rig, shown)


def overloaded(predicted: dict[str, Any]) -> list[str]:
    """Names of the strands and elements that would carry more than they are allowed to."""
    rows = [(f"{row['from']}>{row['to']}", row["use"]) for row in predicted["strands"]]
    rows += [(row["name"], row["use"]) for row in (*predicted["elements"], *predicted["hold"])]
    return list(dict.fromkeys(name for name, use in rows if use is not None and use > 1))


def _summary(rig: Rig, predicted: dict[str, Any], shown: Units, given: bool) -> list[str]:
    """The prediction as lines of text; given: whether --haul-force sets the haul force."""
    from analysis.mechanics.model import model
    from analysis.mechanics.rope_stretch import take_up
    from analysis.mechanics.ten_percent_rule import ten_percent
    from dashboard.text.prediction_text import force_rows, hold_rows, stop_rows

    rig_model = model(rig)
    rule = ten_percent(rig_model)
    rows = force_rows(rig_model, predicted, shown, given)
    rows.append(
        ("handbook rule, for comparison", f"10 % of the load for each of {rule.sheaves} sheaves: "
         f"{number(rule.ma)} : 1, haul force {shown.force(rule.haul_N)}")
    )  # fmt: skip
    rows += stop_rows(rig_model, shown)
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
        lines += [f"  {label}: {text}" for label, text in hold_rows(predicted, shown)]
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
    from dashboard.text.prediction_text import travel_rows

    rows = travel_rows(predicted, shown)
    return ["Travel", *(f"  {label}: {text}" for label, text in rows)]


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
