"""Where the virtual devices of a desk stand: their files in the folder, and their ports below it."""

from __future__ import annotations

from pathlib import Path

from dashboard.desk.desk_page import STORE
from logger.channels.channel import Sensors

RIG_NAME, SENSORS_NAME = "virtual launch", "virtual devices"  # names of their files
PORTS = "ports"  # folder in STORE, with a link for each device
TRUTH = "virtual.json"  # in STORE: what the simulation was given, for the session's description


def virtual_ports(folder: Path) -> list[str]:
    """The ports of the virtual devices that stand now, for a list of ports."""
    try:
        links = sorted((folder / STORE / PORTS).iterdir())
    except OSError:
        return []
    return [str(link) for link in links if link.is_char_device()]


def truth_of(folder: Path, sensors: Sensors) -> Path | None:
    """The file of true values for `haul record --simulation-true`, where these sensors are virtual devices.

    A session of theirs must say that it is simulated.
    """
    within = str(folder / STORE / PORTS)
    own = [channel.port for channel in sensors.channels if channel.port]
    truth = folder / STORE / TRUTH
    virtual = bool(own) and all(str(port).startswith(within) for port in own)
    return truth if virtual and truth.exists() else None
