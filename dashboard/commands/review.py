"""Compares what a session measured with what its rig predicts.

Each value has its expanded uncertainty (95 %). For a quantity that is not known the review says what to
measure.
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
    "known": "the rig file",
    "cell": "a cell at the load, or one from which it follows without the haul cell",
    "haul-and-lower": "hauling and lowering the load under tension",
    "model": "the haul force and the assumed efficiencies of the pulleys",
}
MOST_EVENTS, MOST_PARTS = 40, 20


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul review`."""
    parser.add_argument("session", metavar="SESSION", help="the session's folder")
    add_json(parser)
    parser.add_argument(
        "--rig", metavar="RIG", help="review the session as if this had been its rig (what-if)"
    )
    parser.add_argument(
        "--load-from",
        metavar="SESSION",
        help="take the load force from this session, in which a cell was in line with the same load on "
        "the same ground",
    )
    export.add_arguments(parser)
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    """Run `haul review` and return the exit status."""
    from analysis.review.review import reviewed

    whole = reviewed(args.session, args.rig, args.load_from)
    review = whole.json
    export.write_all(args, review)
    if args.json:
        print_json(review)
    else:
        print("\n".join(summary(whole, units(args))))
    return 0


def behind(whole: Reviewed, shown: Units) -> list[str]:
    """Lines for comparison: the mean of all readings of the haul cell, and the advantage of each rig that
    the session had."""
    lines = []
    mean_N = whole.result.mean_N
    if mean_N is not None and whole.main.estimates.haul_force is not None:
        lines.append(
            f"  mean of all readings of the haul cell: {shown.force(mean_N)} (includes holding and "
            "resets; not used)"
        )
    for own in whole.parts if len(whole.parts) > 1 else ():
        ma = own.estimates.actual_ma
        gave = "not measured" if ma is None else shown.quantity("number", ma.json())
        lines.append(
            f"  {one_line(own.name)} from {own.from_s:.1f} s: {gave} to 1 out of "
            f"{number(own.rig_model.ideal_ma)}" + (" (shown above)" if own is whole.main else "")
        )
    return lines


def _budgets(rows: list[ResultRow], shown: Units) -> list[str]:
    """The uncertainty budgets of the efficiency and of the load force, as lines."""
    lines = []
    for row in rows:
        if row.key in ("efficiency", "load_force_N") and row.quantity and row.quantity.u:
            lines += ["", f"Where the uncertainty of the {row.title} comes from"]
            lines += table(budget_table(row, shown, MOST_PARTS).rows)
    return lines


def summary(whole: Reviewed, shown: Units) -> list[str]:
    """A review as lines of text for a terminal."""
    from analysis.review.shown_rows import peak_rows

    review = whole.shown(shown)
    rows = result_rows(review, whole.main.rig_model, whole.main.estimates)
    lines = [
        one_line(review["title"]) or "session",
        *pairs([
            ("session", one_line(review["session"])),
            ("state", review["state"]),
            ("started", review["started_at"]),
            ("duration", f"{review['duration_s']:.1f} s"),
            ("readings", ", ".join(
                f"{one_line(name)} {count}" + (f" ({lost} lines dropped)" if lost else "")
                for name, count in review["readings"].items()
                for lost in [review["dropped"].get(name, 0)]
            )),
        ]),
        "",
        "Measured against predicted",
        *table(texts(RESULTS[:3], rows, shown)),
        *_why(review),
        *behind(whole, shown),
        *_budgets(rows, shown),
        "",
        f"Strokes: {len(review['strokes'])}, resets: {review['resets']}",
    ]  # fmt: skip
    if review["strokes"]:
        lines += table(
            texts([c for c in STROKES if c.kind != "work"], numbered(review["strokes"]), shown)
        )
    if review["peaks"]:
        forces = peak_rows(review, whole.main.rig_model, whole.result)
        columns = (PEAKS[0], PEAKS[-1], *PEAKS[1:-1])  # texts first
        lines += ["", "Highest forces", *table(texts(columns, forces, shown), left=2)]
    if review["events"]:
        lines += ["", "Events"]
        for row in listed_events(review, MOST_EVENTS):
            at, *what = (column.text(row) for column in EVENTS if column.title not in ("", "no."))
            lines.append(f"  {at:>9}  {' '.join(filter(None, what))}")
        more = len(review["events"]) - MOST_EVENTS
        if more > 0:
            lines.append(f"  and {more} more; --json lists them all")
    if review["warnings"]:
        lines += ["", *(f"! {one_line(text)}" for text in review["warnings"])]
    return lines


def _why(review: dict[str, Any]) -> list[str]:
    """Lines on the source of the load force, on what is not known, and on measured against
    predicted."""
    measured = review["measured"]
    method = measured["load_force_method"]
    lines = []
    if measured["load_force_N"]:
        lines.append(f"  source of the load force: {METHODS.get(method, method)} ({method})")
    if measured["why_not"]:
        lines.append(f"  not known: {one_line(measured['why_not'], 600)}")
    if review["agreement"]["verdict"]:
        lines.append(f"  {one_line(review['agreement']['verdict'])}")
    return lines
