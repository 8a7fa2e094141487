"""What a session measured, against what its rig predicts.

Values carry their expanded uncertainty (95 %). A quantity that is not known says what to measure.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from dashboard.export import csv_parquet as export
from dashboard.text.console import add_json, add_units, pairs, print_json, table, units
from dashboard.text.units import UNKNOWN, Units, number, plus_minus
from logger.errors import one_line

if TYPE_CHECKING:
    from analysis.review.review import Reviewed

METHODS = {
    "known": "stated in the rig file",
    "cell": "from a cell at the load, or one that gives it without the haul cell",
    "haul-and-lower": "from moving the load both ways",
    "model": "from the haul force and the pulleys' assumed efficiencies",
}
MOST_EVENTS = 40


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("session", metavar="SESSION", help="the session's folder")
    add_json(parser)
    parser.add_argument("--rig", metavar="RIG", help="what if it had been this rig")
    parser.add_argument(
        "--load-from",
        metavar="SESSION",
        help="take the load's force from this session, with a cell in line with the same load over "
        "the same ground",
    )
    export.add_arguments(parser)
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    from analysis.review.review import reviewed

    whole = reviewed(args.session, args.rig, args.load_from)
    found = whole.json
    export.write_all(args, found)
    if args.json:
        print_json(found)
    else:
        shown = units(args)
        print("\n".join(summary(whole.shown(shown), shown, behind(whole, shown))))
    return 0


def behind(whole: Reviewed, shown: Units) -> list[str]:
    """What stands behind the numbers: the mean that includes everything, and the budgets."""
    found, lines = whole.main.found, []
    mean_N = whole.result.mean_N
    if mean_N is not None and found.haul_force is not None:
        lines.append(
            f"  mean of all readings of the haul cell: {shown.force(mean_N)} (includes holding and "
            "resets; not used)"
        )
    for part in whole.parts if len(whole.parts) > 1 else ():
        ma = part.found.actual_ma
        told = "not measured" if ma is None else shown.of("number", ma.json())
        lines.append(
            f"  {one_line(part.name)} from {_at(part.from_s)}: {told} to 1 out of "
            f"{number(part.known.ideal_ma)}" + (" (shown above)" if part is whole.main else "")
        )
    for title, quantity in (("efficiency", found.efficiency), ("load force", found.load_force)):
        if quantity is None or not quantity.u:
            continue
        lines += ["", f"Where the uncertainty of the {title} comes from"]
        rows = [["", "of the value", "degrees of freedom", "share"]]
        for name, u, degrees, share in budget_of(quantity):
            rows.append([
                one_line(name), f"{100 * u / abs(quantity.value):.2g} %",
                "-" if degrees == float("inf") else f"{degrees:.0f}", f"{100 * share:.0f} %",
            ])  # fmt: skip
        lines += table(rows)
    return lines


def budget_of(quantity: Any) -> list[tuple[str, float, float, float]]:
    """Rows of a quantity's budget, the largest first."""
    from analysis.efficiency.uncertainty import budget_rows

    return budget_rows(quantity)


def summary(found: dict[str, Any], shown: Units, more: list[str] | None = None) -> list[str]:
    """The text of a review; the object of interface section 6 as lines for a terminal; more: lines
    that follow what was measured."""
    lines = [
        one_line(found["title"]) or "session",
        *pairs([
            ("session", one_line(found["session"])),
            ("state", found["state"]),
            ("started", found["started_at"]),
            ("duration", f"{found['duration_s']:.1f} s"),
            ("readings", ", ".join(
                f"{one_line(name)} {count}" + (f" ({lost} lines dropped)" if lost else "")
                for name, count in found["readings"].items()
                for lost in [found["dropped"].get(name, 0)]
            )),
        ]),
        "",
        *_against(found, shown),
        *(more or []),
        "",
        *_strokes(found, shown),
    ]  # fmt: skip
    if found["peaks"]:
        lines += ["", "Highest forces"]
        rows = [["", "force", "limit", "use", "at"]]
        for row in found["peaks"]:
            rows.append([
                one_line(row["name"]), shown.force(row["force_N"]),
                "-" if row["limit_N"] is None else shown.force(row["limit_N"]),
                "-" if row["use"] is None else f"{100 * row['use']:.0f} %", _at(row["time_s"]),
            ])  # fmt: skip
        lines += table(rows)
    if found["events"]:
        lines += ["", "Events"]
        for row in found["events"][:MOST_EVENTS]:
            what = " ".join(x for x in (row["kind"], row["channel"], row["text"]) if x)
            lines.append(f"  {_at(row['time_s']):>9}  {one_line(what)}")
        more = len(found["events"]) - MOST_EVENTS
        if more > 0:
            lines.append(f"  and {more} more; --json lists all")
    if found["warnings"]:
        lines += ["", *(f"! {one_line(text)}" for text in found["warnings"])]
    return lines


def _against(found: dict[str, Any], shown: Units) -> list[str]:
    predicted, measured = found["predicted"], found["measured"]
    ma_u = predicted["model_ma_u"]
    haul = shown.force_pm(predicted["haul_force_N"], predicted["haul_force_u_N"])
    model_ma = plus_minus(predicted["model_ma"], None if ma_u is None else 2 * ma_u)
    of = shown.of
    rows = [
        ["", "measured", "predicted"],
        ["mechanical advantage", of("number", measured["actual_ma"]), model_ma],
        ["  if nothing were lost", "", number(found["ideal_ma"])],
        ["efficiency", of("number", measured["efficiency"]), number(predicted["efficiency"])],
        ["haul force", of("force", measured["haul_force_N"]), haul],
        ["load force", of("force", measured["load_force_N"]), ""],
        ["efficiency of one pulley", of("number", measured["pulley_efficiency"]), ""],
        ["travel efficiency", of("number", measured["travel_efficiency"]), ""],
        ["work efficiency", of("number", measured["work_efficiency"]), ""],
    ]
    method = measured["load_force_method"]
    lines = ["Measured against predicted (± 95 %)", *table(rows)]
    if measured["load_force_N"]:
        lines.append(f"  the load force is known {METHODS.get(method, method)} ({method})")
    if measured["why_not"]:
        lines.append(f"  not known: {one_line(measured['why_not'], 600)}")
    verdict = found["agreement"]["verdict"]
    if verdict:
        en = found["agreement"]["en"]
        lines.append(f"  {one_line(verdict)}" + ("" if en is None else f" (En {number(en, 2)})"))
    return lines


def _strokes(found: dict[str, Any], shown: Units) -> list[str]:
    measured = found["measured"]
    load = shown.length(measured["load_travel_m"])
    how = "" if measured["load_travel_m"] is None else f" (by {measured['load_travel_method']})"
    lines = [
        f"Strokes: {len(found['strokes'])}, resets: {found['resets']}; rope hauled "
        f"{shown.length(measured['haul_travel_m'])}, load moved {load}{how}; work in "
        f"{shown.work(measured['work_in_J'])}, out {shown.work(measured['work_out_J'])}",
    ]
    rows = [["", "from", "to", "rope", "load", "mean force", "peak", "efficiency"]]
    for count, row in enumerate(found["strokes"], 1):
        efficiency = shown.of("number", row["efficiency"])
        rows.append([
            f"{count} {row['direction']}", _at(row["start_s"]), _at(row["end_s"]),
            shown.length(row["haul_travel_m"]), shown.length(row["load_travel_m"]),
            shown.force(row["mean_force_N"]), shown.force(row["peak_force_N"]),
            "-" if efficiency == UNKNOWN else efficiency,
        ])  # fmt: skip
    return lines + (table(rows) if len(rows) > 1 else [])


def _at(time_s: float | None) -> str:
    return "-" if time_s is None else f"{time_s:.1f} s"
