"""The plain table that the recorder judges alarms by: the rig's limits as levels of the haul cell.

A thing's force at a haul tension is taken frictionless, so it is never below the real one while
hauling; of all that is rated, the thing that reaches its limit first sets the stop level.
"""

from __future__ import annotations

from analysis.bodies import Rig
from analysis.predict import first_limit, model
from logger.alarms import HOLD_S, AlarmRow
from logger.sensors import Sensors


def limit_rows(rig: Rig, sensors: Sensors) -> tuple[AlarmRow, ...]:
    """One row: the haul cell's force times the gain of the first thing to reach its limit; none
    where no cell is at the haul or nothing that the haul loads is rated."""
    hauls = ("haul", rig.stations[rig.haul].name)
    cell = next((c for c in sensors.channels if c.quantity == "force" and c.at in hauls), None)
    first = first_limit(model(rig))
    if cell is None or first is None or first.limit_N is None:
        return ()
    return (
        AlarmRow(
            cell.name, f"{first.name}: {first.why}", abs(first.ideal), 0.0, None, first.limit_N, HOLD_S
        ),
    )
