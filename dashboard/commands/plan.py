"""The plan page of a rig, or of two side by side: what it does before anyone pulls.

Served to this machine alone. Prints the URL, and serves until Ctrl-C.
"""

from __future__ import annotations

import argparse

from dashboard.commands.watch import _signals_end, add_http
from dashboard.text.console import add_units


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("rig", metavar="RIG", help="the rig file (TOML)")
    parser.add_argument("other", metavar="OTHER", nargs="?", help="another, to be shown beside it")
    add_http(parser)
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    from dashboard.plan.planned_rig import PlannedRig
    from dashboard.plan.server import PlanServer

    plans = [PlannedRig(path) for path in (args.rig, args.other) if path is not None]
    server = PlanServer(plans, args.units, args.http or 0)
    with _signals_end(server):  # before the URL is told: who reads it may end us at once
        print(server.url, flush=True)
        server.run()
    return 0
