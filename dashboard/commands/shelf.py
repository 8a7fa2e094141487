"""Lists the rigs that come with the program: name, title, ratio without and with friction, and gear.

`haul choose --write NAME FILE` writes one as a rig file, fitted to a job.
"""

from __future__ import annotations

import argparse
from typing import Any

from analysis.mechanics.model import model
from analysis.prediction.choose_rig import shelf
from dashboard.text.console import add_json, print_json, table
from dashboard.text.units import number


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul shelf`."""
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Run `haul shelf` and return the exit status."""
    rows: list[dict[str, Any]] = []
    for name, rig in shelf().items():
        rig_model = model(rig)
        kinds = [station.kind for station in rig.stations]
        rows.append(
            {
                "name": name,
                "title": rig.title,
                "ideal_ma": rig_model.ideal_ma,
                "model_ma": rig_model.model_ma,
                "pulleys": kinds.count("pulley"),
                "grabs": kinds.count("grab"),
                "captures": kinds.count("capture"),
                "anchors": sum(b.kind in ("anchor", "further_anchor") for b in rig.bodies),
                "ropes": len(rig.ropes),
                "note": rig.note,
            }
        )
    if args.json:
        print_json({"rigs": rows})
        return 0
    head = ["", "", "ideal", "with friction", "pulleys", "grabs", "captures", "anchors", "ropes"]
    lines = [
        [str(row["name"]), str(row["title"]), f"{number(row['ideal_ma'])} : 1",
         f"{number(row['model_ma'])} : 1",
         *(str(row[key]) for key in ("pulleys", "grabs", "captures", "anchors", "ropes"))]
        for row in rows
    ]  # fmt: skip
    print("\n".join(table([head, *lines], left=2, indent="")))
    return 0
