"""Writes one printable page of a rig for the crew.

The drawing, the advantage with friction, where to stop, rope, strokes and resets, the standing cautions, and
room for site, crew, date and signals by hand. It needs no network and no script.
"""

from __future__ import annotations

import argparse

from analysis.rig_file.load import load_rig
from dashboard.text.console import add_units, units


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul card`."""
    parser.add_argument("rig", metavar="RIG", help="the rig file (TOML)")
    parser.add_argument("--html", metavar="FILE", required=True, help="the page to write")
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    """Run `haul card` and return the exit status."""
    from dashboard.export.crew_card import crew_card
    from dashboard.export.output_file import write_page

    write_page(args.html, crew_card(load_rig(args.rig), units(args)))
    print(args.html)
    return 0
