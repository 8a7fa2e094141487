"""Whether the places that a sensors file names exist in the rig, and the alarms that it asks for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from analysis.predict import force_gain, travel_gain
from analysis.rig import load_rig
from logger.errors import RigFault, SensorsFault
from logger.sensors import Sensors

if TYPE_CHECKING:
    from analysis.bodies import Rig


def check_places(rig_file: str | Path, sensors: Sensors) -> Rig:
    """The rig of that file; RigFault if it is wrong, SensorsFault if a channel's `at` is not in it."""
    rig = load_rig(rig_file)
    for channel in sensors.channels:
        try:
            (force_gain if channel.quantity == "force" else travel_gain)(rig, channel.at)
        except RigFault as fault:
            raise SensorsFault(
                sensors.file, fault.fault, fault.cure, f"channel {channel.name}: at"
            ) from None
    return rig
