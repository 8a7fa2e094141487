"""Shows the plan page of one rig, or of two side by side: forces and travel, step by step, before a haul.

The page can be opened on this machine alone, at the URL that is printed. Whoever opens the whole link may
change the rig on its page; others look on. Ctrl-C ends it.
"""

from __future__ import annotations

import argparse

from dashboard.commands.watch import add_http, signals_end
from dashboard.text.console import add_units


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul plan`."""
    parser.add_argument("rig", metavar="RIG", help="the rig file (TOML)")
    parser.add_argument(
        "other", metavar="OTHER", nargs="?", help="a second rig file, shown beside the first"
    )
    add_http(parser)
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    """Run `haul plan` and return the exit status."""
    from dashboard.plan.planned_rig import PlannedRig
    from dashboard.rig_page.server import RigServer

    plans = [PlannedRig(path) for path in (args.rig, args.other) if path is not None]
    server = RigServer(plans, args.units, args.http or 0)
    with signals_end(server):  # before the URL is printed: its reader may send a signal at once
        print(server.link, flush=True)
        server.run()
    return 0
