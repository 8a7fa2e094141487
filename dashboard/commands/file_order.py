"""Refuses a call in which the rig file and the sensors file stand in each other's place."""

from __future__ import annotations

import tomllib
from pathlib import Path

from logger.errors import CallFault, SensorsFault, UserFault
from logger.toml_tables import CHANNELS, ROPES, read_text


def check_order(command: str, rig: str, sensors: str) -> None:
    """Raise CallFault where `rig` is a sensors file and `sensors` a rig file.

    command: the subcommand.  A file that cannot be read is left to the loader, which says why.
    """
    if CHANNELS in _tables(rig) and ROPES in _tables(sensors):
        raise CallFault(
            command,
            f"{rig} is the sensors file and {sensors} is the rig file",
            "write the rig file in the place of RIG and the sensors file in that of SENSORS",
        )


def _tables(path: str) -> set[str]:
    """Names at the top of a TOML file; empty where it cannot be read."""
    try:
        return set(tomllib.loads(read_text(Path(path), SensorsFault)))
    except (UserFault, ValueError, RecursionError):
        return set()
