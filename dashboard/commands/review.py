"""What a session measured, against what its rig predicts.

Values carry their expanded uncertainty (95 %). A quantity that is not known says what to measure.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from dashboard.export import csv_parquet as export
from dashboard.text.console import add_json, add_units, pairs, print_json, table, units
from dashboard.text.result_rows import RESULTS, ResultRow, budget_table, result_rows
from dashboard.text.table_rows import EVENTS, PEAKS, STROKES, listed_events, numbered, texts
from dashboard.text.units import Units, number
from logger.errors import one_line

if TYPE_CHECKING:
    from analysis.review.review import Reviewed

METHODS = {
    "known": "stated in the rig file",
    "cell": "from a cell at the load, or one that gives it without the haul cell",
    "haul-and-lower": "from moving the load both ways",
    "model": "from the haul force and the pulleys' assumed efficiencies",
}
MOST_EVENTS, MOST_PARTS = 40, 20


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
        print("\n".join(summary(whole, units(args))))
    return 0


def behind(whole: Reviewed, shown: Units) -> list[str]:
    """What stands behind the numbers: the mean that includes everything, and each rig's advantage."""
    lines = []
    mean_N = whole.result.mean_N
    if mean_N is not None and whole.main.estimates.haul_force is not None:
        lines.append(
            f"  mean of all readings of the haul cell: {shown.force(mean_N)} (includes holding and "
            "resets; not used)"
        )
    for own in whole.parts if len(whole.parts) > 1 else ():
        ma = own.estimates.actual_ma
        gave = "not measured" if ma is None else shown.of("number", ma.json())
        lines.append(
            f"  {one_line(own.name)} from {own.from_s:.1f} s: {gave} to 1 out of "
            f"{number(own.rig_model.ideal_ma)}" + (" (shown above)" if own is whole.main else "")
        )
    return lines


def _budgets(rows: list[ResultRow], shown: Units) -> list[str]:
    """Where the uncertainty of the efficiency and of the load force comes from."""
    lines = []
    for row in rows:
        if row.key in ("efficiency", "load_force_N") and row.quantity and row.quantity.u:
            lines += ["", f"Where the uncertainty of the {row.title} comes from"]
            lines += table(budget_table(row, shown, MOST_PARTS).rows)
    return lines


def summary(whole: Reviewed, shown: Units) -> list[str]:
    """The text of a review for a terminal, its sentences in the reader's units."""
    from analysis.review.shown_rows import peak_rows

    found = whole.shown(shown)
    rows = result_rows(found, whole.main.rig_model, whole.main.estimates)
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
        "Measured against predicted",
        *table(texts(RESULTS[:3], rows, shown)),
        *_why(found),
        *behind(whole, shown),
        *_budgets(rows, shown),
        "",
        f"Strokes: {len(found['strokes'])}, resets: {found['resets']}",
    ]  # fmt: skip
    if found["strokes"]:
        lines += table(texts([c for c in STROKES if c.kind != "work"], numbered(found["strokes"]), shown))
    if found["peaks"]:
        forces = peak_rows(found, whole.main.rig_model, whole.result)
        columns = (PEAKS[0], PEAKS[-1], *PEAKS[1:-1])  # texts first
        lines += ["", "Highest forces", *table(texts(columns, forces, shown), left=2)]
    if found["events"]:
        lines += ["", "Events"]
        for row in listed_events(found, MOST_EVENTS):
            at, *what = (column.text(row) for column in EVENTS if column.title not in ("", "no."))
            lines.append(f"  {at:>9}  {' '.join(filter(None, what))}")
        more = len(found["events"]) - MOST_EVENTS
        if more > 0:
            lines.append(f"  and {more} more; --json lists all")
    if found["warnings"]:
        lines += ["", *(f"! {one_line(text)}" for text in found["warnings"])]
    return lines


def _why(found: dict[str, Any]) -> list[str]:
    """How the load force is known, what is not known, and whether both agree."""
    measured = found["measured"]
    method = measured["load_force_method"]
    lines = []
    if measured["load_force_N"]:
        lines.append(f"  the load force is known {METHODS.get(method, method)} ({method})")
    if measured["why_not"]:
        lines.append(f"  not known: {one_line(measured['why_not'], 600)}")
    if found["agreement"]["verdict"]:
        lines.append(f"  {one_line(found['agreement']['verdict'])}")
    return lines
