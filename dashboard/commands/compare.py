"""Several sessions side by side: each one's review."""

from __future__ import annotations

import argparse

from dashboard.commands.common import add_json, add_units, print_json, table, units
from dashboard.units import number
from logger.errors import one_line


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("session", metavar="SESSION", nargs="+", help="the sessions' folders")
    add_json(parser)
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    from analysis.review import review_session

    reviews = [review_session(path) for path in args.session]
    if args.json:
        print_json({"sessions": reviews, "warnings": []})
        return 0
    shown = units(args)
    rows = [["", "rig", "state", "strokes", "haul force", "actual MA", "model MA", "efficiency"]]
    for path, found in zip(args.session, reviews, strict=True):
        measured = found["measured"]
        rows.append([
            one_line(path), one_line(found["title"], 40), found["state"],
            str(len(found["strokes"])), shown.of("force", measured["haul_force_N"]),
            shown.of("number", measured["actual_ma"]), number(found["predicted"]["model_ma"]),
            shown.of("number", measured["efficiency"]),
        ])  # fmt: skip
    print("\n".join(table(rows, left=3, indent="")))
    return 0
