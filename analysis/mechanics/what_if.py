"""Makes a copy of a rig in which every pulley has the same stated efficiency."""

from __future__ import annotations

from dataclasses import replace

from analysis.rig.rig import Rig

# range of efficiency that a page offers; chosen by us: a pulley below it is worse than rope over bare steel
LEAST_E, MOST_E = 0.50, 1.00


def what_if(rig: Rig, e: float | None) -> Rig:
    """A copy of the rig with efficiency e (0 to 1, exact) at every pulley; None: the rig itself.

    Captures and edges stay as in the rig file.
    """
    if e is None:
        return rig
    stations = tuple(
        replace(s, efficiency=e, efficiency_u=0.0, shared=False, preset="")
        if s.kind == "pulley"
        else s
        for s in rig.stations
    )
    return replace(rig, stations=stations, default_assumed=False)
