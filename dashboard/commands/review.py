"""Compares what a session measured with what its rig predicts.

Each value has its expanded uncertainty (95 %). For a quantity that is not known the review says what to
measure.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from dashboard.export import csv_parquet as export
from dashboard.text.console import add_json, add_units, pairs, print_json, table, units
from dashboard.text.result_rows import (
    RESULTS,
    budget_table,
    result_rows,
    session_totals,
    side_by_side,
)
from dashboard.text.table_rows import (
    CHAPTERS,
    EVENTS,
    PEAKS,
    STROKES,
    by_chapter,
    chapter_rows,
    listed_events,
    peaks_by_chapter,
    stroke_rows,
    texts,
)
from dashboard.text.units import Units
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
    """What stands behind the numbers: the mean that includes everything."""
    mean_N = whole.result.mean_N
    if mean_N is None or whole.main.estimates.haul_force is None:
        return []
    return [
        f"  mean of all readings of the haul cell: {shown.force(mean_N)} (includes holding and "
        "resets; not used)"
    ]


def _budgets(whole: Reviewed, review: dict[str, Any], shown: Units) -> list[str]:
    """The uncertainty budgets of the efficiency and of the load force of each chapter, as lines."""
    lines = []
    for chapter, row_of in zip(whole.chapters, review["chapters"], strict=True):
        suffix = f", chapter {chapter.number + 1}" if len(whole.chapters) > 1 else ""
        for row in result_rows(row_of, chapter.rig_model, chapter.estimates):
            if row.key in ("efficiency", "load_force_N") and row.quantity and row.quantity.u:
                lines += ["", f"Where the uncertainty of the {row.title} comes from{suffix}"]
                lines += table(budget_table(row, shown, MOST_PARTS).rows)
    return lines


def _results(whole: Reviewed, review: dict[str, Any], shown: Units) -> list[str]:
    """Measured against predicted: of several chapters beside each other, then the whole session."""
    if len(whole.chapters) < 2:
        rows = result_rows(review, whole.main.rig_model, whole.main.estimates)
        return [*table(texts(RESULTS[:3], rows, shown)), *_why(review)]
    lines = [*table(texts(CHAPTERS, chapter_rows(review), shown), left=2), ""]
    lines += table(side_by_side(whole, shown))
    for k, chapter in enumerate(review["chapters"], 1):
        lines += [f"  chapter {k}: {line.strip()}" for line in _why(chapter)]
    return [*lines, f"  whole session: {session_totals(review, shown)}"]


def summary(whole: Reviewed, shown: Units) -> list[str]:
    """A review as lines of text for a terminal."""
    from analysis.review.shown_rows import peak_rows

    review = whole.shown(shown)
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
        *_results(whole, review, shown),
        *behind(whole, shown),
        *_budgets(whole, review, shown),
        "",
        f"Strokes: {len(review['strokes'])}, resets: {review['resets']}",
    ]  # fmt: skip
    if review["strokes"]:
        columns = [c for c in by_chapter(STROKES, review) if c.kind != "work"]
        lines += table(texts(columns, stroke_rows(review), shown))
    if review["peaks"]:
        forces = peak_rows(peaks_by_chapter(review))
        columns = [PEAKS[0], PEAKS[-1], *PEAKS[1:-1]]  # texts first
        lines += ["", "Highest forces"]
        lines += table(texts(by_chapter(columns, review), forces, shown), left=2)
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
