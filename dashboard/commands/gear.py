"""Lists what each marked piece of gear carried in the sessions of a folder, for whoever inspects it.

A piece is marked with the crew's own number in the rig files, such as item = "P-07". Its force is what
a cell on it measured; without one it is inferred from the haul cell, and is then the most that the
piece can have carried while hauling. A person inspects gear and retires it, not this program.
"""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.commands.session_index import add_index, open_index
from dashboard.export.csv_parquet import write_table
from dashboard.text.console import add_json, add_units, print_json, table, units
from dashboard.text.table_rows import GEAR, texts
from dashboard.text.units import Units
from logger.errors import one_line

if TYPE_CHECKING:
    from analysis.sessions.gear_log import ItemRecord


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul gear`."""
    parser.add_argument(
        "folder", metavar="FOLDER", help="folder with the sessions, also in folders below it"
    )
    parser.add_argument("--csv", metavar="FILE", help="also write the list as a CSV file, in SI")
    add_index(parser)
    add_json(parser)
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    """Run `haul gear` and return the exit status."""
    from analysis.messages.message import message, texts
    from analysis.sessions.gear_log import totals

    with open_index(args) as (index, _):
        records = totals(index.gear())
        unread = [(row["path"], row["fault"]) for row in index.rows() if row["fault"]]
    warned = [message("gear_forces_inferred"), message("gear_recorded_alone")]
    warned += [
        message("gear_not_bounded", item=one_line(r.item, 60), why=one_line(r.why_not, 300))
        for r in records
        if r.why_not
    ]
    warned += [
        message("session_unreadable", session=one_line(path, 60), why=why) for path, why in unread
    ]
    warnings = texts(warned)
    if args.csv:
        write_table(Path(args.csv), "--csv", GEAR, records)
    if args.json:
        print_json(
            {
                "folder": str(index.folder),
                "items": [asdict(r) for r in records],
                "warnings": warnings,
            }
        )
    else:
        print(
            "\n".join([*lines(records, units(args)), *(f"! {one_line(w, 400)}" for w in warnings)])
        )
    return 0


def lines(records: list[ItemRecord], shown: Units) -> list[str]:
    """The list as text: a line for each piece of gear."""
    if not records:
        return [
            'no rig file marks a piece of gear; write item = "P-07" in its table of the rig file'
        ]
    return table(texts(GEAR, records, shown), left=2, indent="")
