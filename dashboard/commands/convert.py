"""Lists the fewest moves that make one rig of another, with the load held after each.

After each move the load is held without hands, on a capture or, where it surely cannot run back, on the ground.
A move changes one part. Forces are multiples of the force on the load, without friction. Exit status 1 where
no such way exists; the reason names the move at which it fails.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.conversion.convert import convert
from dashboard.conversion.changes import change_rows, loaded_rows, ratios
from dashboard.text.console import add_json, add_units, print_json, table, units
from dashboard.text.units import Units
from logger.errors import RigFault
from logger.toml_tables import read_text

if TYPE_CHECKING:
    from analysis.conversion.convert import Conversion


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul convert`."""
    parser.add_argument("rig", metavar="RIG", help="the rig file (TOML) of the rig that stands")
    parser.add_argument("other", metavar="OTHER", help="the rig file of the rig that is wanted")
    add_json(parser)
    parser.add_argument(
        "--html",
        metavar="FILE",
        help="write the list as one printable page, with a drawing after each move",
    )
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    """Run `haul convert` and return the exit status."""
    texts = [read_text(Path(path), RigFault) for path in (args.rig, args.other)]
    made = convert(texts[0], texts[1], args.rig, args.other)
    if args.html is not None and made.why_not is None:
        from dashboard.export.conversion_html import conversion_page
        from dashboard.export.output_file import write_page

        write_page(args.html, conversion_page(made, texts[0], texts[1], units(args)))
    if args.json:
        print_json(made.json())
    else:
        print("\n".join(lines(made, units(args))))
    return 0 if made.why_not is None else 1


def lines(made: Conversion, shown: Units) -> list[str]:
    """A conversion as a list that can be printed and ticked off."""
    if made.why_not is not None:
        return [made.why_not.text(shown), *(f"! {one.text(shown)}" for one in made.warnings)]
    if not made.moves:
        return ["Nothing to do: both files describe the same rig."]
    rows = [
        [f"[ ] {k}", " ".join(one.text(shown) for one in move.texts), f"held by {move.held_by}"]
        for k, move in enumerate(made.moves, 1)
    ]
    before, after = ratios(made)
    result = [f"{before} to {after}, {len(made.moves)} moves", ""]
    for row in rows:
        result += [f"{row[0]}  {row[1]}", f"         {row[2]}"]
    result += ["", *(f"{label}: {text}" for label, text in change_rows(made, shown))]
    if loaded := loaded_rows(made):
        result += ["", "Loaded more, in multiples of the load's force", *table(loaded)]
    return [
        *result,
        *(["", *(f"! {w.text(shown)}" for w in made.warnings)] if made.warnings else []),
    ]
