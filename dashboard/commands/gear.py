"""What each marked item went through over a folder of sessions: the record for whoever inspects it.

Items are the crew's own marks, `item = "P-07"` in the rig files. Forces are those of an item's own
cell, else inferred from the haul cell: at most this much while hauling. A person inspects gear and retires it, not this program.
"""

from __future__ import annotations

import argparse
import csv
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.commands.library import add_index, open_index
from dashboard.export.csv_parquet import safe
from dashboard.text.console import add_json, add_units, print_json, table, units
from dashboard.text.units import UNKNOWN, Units, number
from logger.errors import CallFault, one_line

if TYPE_CHECKING:
    from analysis.library.gear_log import ItemRecord


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="FOLDER", help="a folder with sessions in it or below")
    parser.add_argument("--csv", metavar="FILE", help="also write the record as a table, in SI")
    add_index(parser)
    add_json(parser)
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    from analysis.library.gear_log import totals
    from analysis.messages.message import message, texts

    with open_index(args) as (index, _):
        records = totals(index.gear())
        unread = [row["path"] for row in index.rows() if row["fault"]]
    said = [message("gear_forces_inferred"), message("gear_recorded_alone")]
    said += [message("sessions_unreadable", sessions=", ".join(unread[:5]))] if unread else []
    warnings = texts(said)
    if args.csv:
        write(Path(args.csv), records)
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
            "\n".join([*lines(records, units(args)), *(f"! {one_line(w, 300)}" for w in warnings)])
        )
    return 0


def lines(records: list[ItemRecord], shown: Units) -> list[str]:
    """The record as text."""
    if not records:
        return ['no rig file marks an item: write item = "P-07" in its table']
    rows = [["item", "is", "sessions", "since", "last", "peak, at most", "allowed", "above half", "above limit",
             "rope run", "under load"]]  # fmt: skip
    for r in records:
        hours = UNKNOWN if r.loaded_h is None else f"{number(r.loaded_h)} h"
        rows.append([
            one_line(r.item, 24), ", ".join(r.kinds), str(r.sessions), r.since[:10], r.last[:10],
            shown.force(r.peak_N), "unrated" if r.limit_N is None else shown.force(r.limit_N),
            _count(r.half), _count(r.full), "-" if r.run_m is None else shown.length(r.run_m), hours,
        ])  # fmt: skip
    return table(rows, left=2, indent="")


def write(target: Path, records: list[ItemRecord]) -> None:
    """The record as a CSV; a mark that looks like a formula is made harmless."""
    head = ["item", "kinds", "sessions", "since", "last", "peak [N]", "peak session", "limit [N]", "above half",
            "above limit", "rope run [m]", "under load [h]"]  # fmt: skip
    try:
        with target.open("w", encoding="utf-8", newline="") as out:
            writer = csv.writer(out, lineterminator="\n")
            writer.writerow(head)
            for r in records:
                cells = (r.item, " ".join(r.kinds), r.sessions, r.since, r.last, r.peak_N, r.peak_session,
                         r.limit_N, r.half, r.full, r.run_m, r.loaded_h)  # fmt: skip
                writer.writerow([_plain(c) for c in cells])
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CallFault(target, f"cannot be written ({reason})", "give another --csv") from None


def _plain(value: object) -> str:
    if value is None:
        return ""
    return f"{value:.9g}" if isinstance(value, float) else safe(str(value))


def _count(value: int | None) -> str:
    return "-" if value is None else str(value)
