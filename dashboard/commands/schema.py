"""Prints a JSON Schema of rig or sensors files, with which an editor completes keys and checks them.

An editor that knows TOML finds it through a first line such as "#:schema rig.schema.json".
"""

from __future__ import annotations

import argparse

from dashboard.text.console import print_json
from dashboard.text.help_topics import FILES, file_keys
from logger.key_schema import json_schema


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul schema`."""
    parser.add_argument("kind", metavar="KIND", choices=FILES, help="rig or sensors")


def run(args: argparse.Namespace) -> int:
    """Run `haul schema` and return the exit status."""
    print_json(json_schema(file_keys(args.kind)))
    return 0
