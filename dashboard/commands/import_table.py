"""Makes a sealed session from a table of readings.

DATA.csv has a column time_s (seconds) and one column for each channel of the sensors file, under the
channel's name and in its unit. Leave a cell empty where there is no reading.
"""

from __future__ import annotations

import argparse

from dashboard.commands.file_order import check_order


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul import`."""
    parser.add_argument("data", metavar="DATA.csv", help="the table of readings")
    parser.add_argument("--rig", metavar="RIG", required=True, help="the rig file")
    parser.add_argument("--sensors", metavar="SENSORS", required=True, help="the sensors file")
    parser.add_argument(
        "--out", metavar="DIR", required=True, help="folder to make, for the session"
    )


def run(args: argparse.Namespace) -> int:
    """Run `haul import` and return the exit status."""
    from analysis.rig_file.load import load_rig
    from analysis.signals.channel_roles import check_places
    from logger.channels.sensors_file import load_sensors
    from logger.session.csv_import import import_table

    check_order("import", args.rig, args.sensors)
    check_places(load_rig(args.rig), load_sensors(args.sensors))
    print(import_table(args.data, args.rig, args.sensors, args.out))
    return 0
