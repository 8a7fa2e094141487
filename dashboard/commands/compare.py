"""Compares several sessions: advantage, efficiency, haul force, rope handled and time of each.

With three or more sessions of one rig it shows whether the rig's efficiency changes over time, and with
two rigs on the same load whether the greater ratio was worth its rope. The load is the same where both
rig files state the same [load], or where --same-load says so.
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard.text.console import add_json, add_units, print_json, table, units
from dashboard.text.table_rows import COMPARED, texts
from dashboard.text.units import Units, plus_minus
from logger.errors import UserFault, one_line

if TYPE_CHECKING:
    from analysis.messages.message import Message
    from analysis.sessions.compare import Side


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul compare`."""
    parser.add_argument("session", metavar="SESSION", nargs="+", help="the sessions' folders")
    parser.add_argument(
        "--same-load",
        action="store_true",
        help="all sessions moved the same load, whatever their rig files state",
    )
    add_json(parser)
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    """Run `haul compare` and return the exit status."""
    from analysis.messages.message import message
    from analysis.review.reviewed_session import whole_session
    from analysis.sessions.compare import compared_rows, sides
    from analysis.sessions.session_row import why_unread

    reviews, every, rows = [], [], []
    unread: list[Message] = []
    faults: list[UserFault] = []
    for path in args.session:
        try:
            whole = whole_session(path)
        except UserFault as fault:
            if not os.path.lexists(path):  # a wrong call, and no odd session
                raise
            why = why_unread(fault, Path(path))
            unread.append(message("session_unreadable", session=one_line(path, 60), why=why))
            faults.append(fault)
            continue
        reviews.append(whole.review)
        own = sides(whole)
        every += own
        rows += compared_rows(whole, own)
    if not every:
        raise faults[0]
    if args.json:
        print_json({"sessions": reviews, "warnings": [m.text() for m in unread]})
        return 0
    said = lines(every, rows, units(args), args.same_load)
    print("\n".join([*said, *(f"! {one_line(m.text(), 400)}" for m in unread)]))
    return 0


def lines(
    sides: list[Side], rows: list[dict[str, Any]], shown: Units, same_load: bool = False
) -> list[str]:
    """The comparison as text: a line for each session, the trend of each rig, pairs of rigs.

    same_load: whether the user says that all moved the same load.
    """
    from analysis.sessions.compare import not_compared, pairs, worth_it
    from analysis.sessions.trend import rig_trends

    out = table(texts(COMPARED, rows, shown), left=4, indent="")
    for _, title, trend in rig_trends(rows):
        change = ""
        if trend.per_year is not None:
            change = (
                f"efficiency changes by {plus_minus(trend.per_year, trend.U95)} a year (95 %): "
            )
        out += [
            "",
            f"{one_line(title, 60)}, {trend.n} sessions: {change}{trend.verdict.text(shown)}",
        ]
    for big, small in pairs(sides, same_load):
        out += ["", worth_it(big, small).text(shown)]
    for why_not in not_compared(sides, same_load):
        out += ["", why_not.text(shown)]
    return out
