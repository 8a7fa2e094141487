"""Record from the ports of a sensors file until Ctrl-C, SIGTERM or the time given.

The rig and the sensors file are checked before any port opens. Each row is on the disk within
1 s; the session is sealed at the end.
"""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from dashboard.commands.common import add_units, positive, units
from logger.errors import CallFault, one_line
from logger.sensors import Sensors, for_recording, load_sensors

if TYPE_CHECKING:
    from logger.alarms import AlarmRow


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("rig", metavar="RIG", help="the rig file")
    parser.add_argument("sensors", metavar="SENSORS", help="the sensors file, with port and baud")
    parser.add_argument("--out", metavar="DIR", required=True, help="a new folder, the session")
    parser.add_argument(
        "--for", dest="for_s", metavar="S", type=positive("seconds"),
        help="stop after this many seconds from the start",
    )  # fmt: skip
    parser.add_argument(
        "--wait", action="store_true", help="if no port opens, keep trying instead of ending"
    )
    add_units(parser)
    # the demo's way in: the truth that its devices were given, and an end when the demo is gone
    parser.add_argument("--simulation-true", metavar="FILE", help=argparse.SUPPRESS)
    parser.add_argument("--with-parent", action="store_true", help=argparse.SUPPRESS)


def run(args: argparse.Namespace) -> int:
    from dashboard.commands.places import check_places

    sensors = load_sensors(args.sensors)
    for_recording(sensors)
    check_places(args.rig, sensors)
    truth = None if args.simulation_true is None else _truth(args.simulation_true)
    if args.with_parent:
        from dashboard.commands.processes import end_with_parent

        end_with_parent()
    from logger.recorder import record

    alarms = alarm_rows(sensors)
    shown = units(args)
    for row in alarms:
        force = sensors.by_name(row.channel).quantity == "force"
        caution, stop = (
            "none" if level is None else (shown.force if force else shown.length)(level)
            for level in (row.caution, row.stop)
        )
        print(f"alarm {one_line(row.label)}: caution {caution}, stop {stop}", file=sys.stderr)
    line = StatusLine()
    outcome = record(
        args.rig, args.sensors, args.out, for_s=args.for_s, wait=args.wait,
        alarms=alarms, simulation_true=truth, status=line.show, check_rig=check_rig,
    )  # fmt: skip
    line.end()
    print(outcome)
    return 0


def alarm_rows(sensors: Sensors) -> tuple[AlarmRow, ...]:
    """The plain table that the recorder judges by: the levels that the sensors file states."""
    from logger.alarms import AlarmRow

    return tuple(
        AlarmRow(
            channel=channel.name, label=channel.name, gain=1.0, offset=0.0,
            caution=channel.warn_at, stop=channel.stop_at, hold_s=0.0,
        )
        for channel in sensors.channels
        if channel.warn_at is not None or channel.stop_at is not None
    )  # fmt: skip


def check_rig(text: str) -> None:
    """What the recorder asks before it takes a changed rig; raises RigFault."""
    from analysis.rig import parse_rig

    parse_rig(text, "rig")


class StatusLine:
    """One line on a terminal, written over; on a pipe nothing, so that logs stay short."""

    def __init__(self) -> None:
        self.on = sys.stderr is not None and sys.stderr.isatty()
        self.width = 0

    def show(self, text: Any) -> None:
        if self.on:
            line = str(text)[:200]
            print("\r" + line.ljust(self.width), end="", file=sys.stderr, flush=True)
            self.width = len(line)

    def end(self) -> None:
        if self.on and self.width:
            print(file=sys.stderr)


def _truth(file: str) -> dict[str, Any]:
    import json

    from logger.tables import read_text

    try:
        found = json.loads(read_text(file, CallFault))
    except ValueError:
        found = None
    if not isinstance(found, dict):
        raise CallFault(file, "is not a JSON object", "give what the demo wrote")
    return found
