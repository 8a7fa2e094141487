"""A rig with other pulleys: what if every pulley had this efficiency."""

from __future__ import annotations

from dataclasses import replace

from analysis.rig.rig import Rig

# what a page lets one ask for; chosen by us: worse than a rope over bare steel is no pulley
LEAST_E, MOST_E = 0.50, 1.00


def what_if(rig: Rig, e: float | None) -> Rig:
    """The rig with every pulley's efficiency e, taken as exact; as it is for None.

    Captures and edges stay as the file has them.
    """
    if e is None:
        return rig
    stations = tuple(
        replace(s, efficiency=e, efficiency_u=0.0, shared=False) if s.kind == "pulley" else s
        for s in rig.stations
    )
    return replace(rig, stations=stations, default_assumed=False)
