"""Lists the sessions of a folder, and shows whether a rig's efficiency changes over months.

The results are kept in an index in the cache folder, which can be deleted at any time. Only sessions
that are new or changed are reviewed, on all cores or on a Dask cluster.
"""

from __future__ import annotations

import argparse
import re
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from dashboard.commands.session_index import add_index, open_index
from dashboard.text.console import add_json, add_units, print_json, table, units
from dashboard.text.table_rows import SESSIONS, texts, without
from dashboard.text.units import Units, plus_minus
from logger.errors import one_line

if TYPE_CHECKING:
    from analysis.sessions.index import Update

STATES = ("growing", "cut short", "sealed", "changed")
MOST_SHOWN = 200
# as wide as a terminal; --json has every value
LISTED = without(
    SESSIONS,
    "resets",
    "ideal MA",
    "predicted MA",
    "peak force",
    "at most",
    "on",
    "rope handled",
    "min/m",
)
_DATE = re.compile(r"[0-9]{4}(-[0-9]{2}(-[0-9]{2}(T[0-9]{2}(:[0-9]{2}(:[0-9]{2})?)?)?)?)?")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul library`."""
    parser.add_argument(
        "folder", metavar="FOLDER", help="folder with the sessions, also in folders below it"
    )
    add = parser.add_argument
    add("--title", metavar="TEXT", default="", help="only sessions whose rig has TEXT in its title")
    add("--state", choices=STATES, default="", help="only sessions in this state")
    add(
        "--since",
        metavar="DATE",
        type=_date,
        help="only sessions from this date on (UTC, such as 2026-05-04)",
    )
    add("--until", metavar="DATE", type=_date, help="only sessions up to this date (UTC)")
    add_index(parser)
    add_json(parser)
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    """Run `haul library` and return the exit status."""
    from analysis.sessions.session_row import by_chapter, with_chapters
    from analysis.sessions.trend import rig_trends

    with open_index(args) as (index, update):
        rows = index.rows(title=args.title, state=args.state, since=args.since or "",
                          until=args.until or "")  # fmt: skip
        trends = rig_trends(by_chapter(rows))
    if args.json:
        print_json({
            "folder": str(index.folder), "sessions": [with_chapters(row) for row in rows],
            "trends": [{"rig": key, "title": title, **trend.json()} for key, title, trend in trends],
            "index": asdict(update), "warnings": [update.warning] if update.warning else [],
        })  # fmt: skip
        return 0
    print("\n".join(lines(rows, trends, update, units(args))))
    return 0


def lines(rows: list[dict[str, Any]], trends: list[Any], update: Update, shown: Units) -> list[str]:
    """The list as text: sessions, unreadable ones, trends, and what the update of the index did."""
    from analysis.sessions.session_row import by_chapter

    good = [r for r in rows if not r["fault"]]
    out = (
        table(texts(LISTED, by_chapter(good[-MOST_SHOWN:]), shown), left=4, indent="")
        if good
        else ["no session found"]
    )
    if len(good) > MOST_SHOWN:
        out.append(
            f"and {len(good) - MOST_SHOWN} earlier ones; --since and --until narrow the list"
        )
    for row in rows:
        if row["fault"]:
            out.append(f"! {one_line(row['path'], 60)}: {one_line(row['fault'], 160)}")
    for _, title, trend in trends:
        out.append("")
        out.append(f"{one_line(title, 60)}: {trend.n} sessions")
        if trend.per_year is not None:
            out.append(
                f"  efficiency changes by {plus_minus(trend.per_year, trend.U95)} a year (95 %)"
            )
        out.append(f"  {trend.verdict.text(shown)}")
    out += [
        "",
        f"{update.sessions} sessions, {update.reviewed} new or changed, {update.removed} gone",
    ]
    if update.warning:
        out.append(f"! {update.warning}")
    return out


def _date(text: str) -> str:
    if not _DATE.fullmatch(text):
        raise argparse.ArgumentTypeError(f"{text!r} is not a date: write it as 2026-05-04")
    return text
