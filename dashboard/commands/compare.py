"""Several sessions side by side: what each gave, cost, and whether a rig changes over time."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from dashboard.text.console import add_json, add_units, print_json, table, units
from dashboard.text.units import Units, number, plus_minus
from logger.errors import one_line

if TYPE_CHECKING:
    from analysis.library.compare import Side


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("session", metavar="SESSION", nargs="+", help="the sessions' folders")
    add_json(parser)
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    from analysis.library.compare import side
    from analysis.review.reviewed_session import whole_session

    reviews, sides = [], []
    for path in args.session:
        whole = whole_session(path)
        reviews.append(whole.review)
        sides.append(side(whole))
    if args.json:
        print_json({"sessions": reviews, "warnings": []})
        return 0
    states = [review["state"] for review in reviews]
    print("\n".join(lines(sides, states, units(args))))
    return 0


def lines(sides: list[Side], states: list[str], shown: Units) -> list[str]:
    """The comparison as text: a line a session, then what follows from them together."""
    from analysis.library.compare import pairs, same_rig_trends, worth_it

    rows = [["session", "rig", "started", "state", "ideal", "predicted MA", "actual MA", "efficiency", "haul force",
             "rope handled", "min/m", "resets"]]  # fmt: skip
    for s, state in zip(sides, states, strict=True):
        rows.append([
            one_line(s.name, 60), one_line(s.title, 36), s.started_at[:16], state, number(s.ideal_ma),
            number(s.model_ma), shown.of("number", s.actual_ma), shown.of("number", s.efficiency),
            shown.of("force", s.haul_N), shown.length(s.rope_m), number(s.minutes_a_metre, 2), str(s.resets),
        ])  # fmt: skip
    out = table(rows, left=4, indent="")
    for title, found in same_rig_trends(sides):
        change = ""
        if found.per_year is not None:
            change = (
                f"efficiency changes by {plus_minus(found.per_year, found.U95)} a year (95 %): "
            )
        out += ["", f"{one_line(title, 60)}, {found.n} sessions: {change}{found.verdict.text(shown)}"]
    for big, small in pairs(sides):
        out += ["", worth_it(big, small).text(shown)]
    return out
