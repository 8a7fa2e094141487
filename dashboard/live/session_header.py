"""What a page is told of a session once: its title, channels, prediction, levels and strands."""

from __future__ import annotations

from typing import Any

from analysis.mechanics.model import Model
from analysis.messages.message import message
from analysis.prediction.alarm_rows import judged_by_haul
from analysis.prediction.predict import stop_hauling_at
from analysis.rig.rig import Rig
from analysis.signals.channel_roles import Roles
from dashboard.text.units import Units
from logger.errors import one_line
from logger.session.records import SessionInfo


def head(
    info: SessionInfo, folder: str, rig: Rig, known: Model, found: Roles, haul_counted: bool,
    shown: Units, pull_distance_m: float | None,
) -> dict[str, Any]:
    """The part `head`; forces in N, ways in m, modelU and haulU expanded (k = 2); units:
    what the page shows them in; pull_distance_m: how far the load is to go,
    from where the session began."""
    counted = stop_hauling_at(known)
    # the level that the recorder judges the haul cell by: what has its own cell is judged by that
    limit = stop_hauling_at(judged_by_haul(known, found.channels))
    said = limit.because
    if limit.haul_force_N is None and counted.haul_force_N is not None:
        said = message("judged_by_own_cells")
    because = said.text(shown)
    drawn = found.forces[0] if found.forces else None
    cell = found.haul_force
    return {
        "title": one_line(rig.title or folder, 120),
        "folder": one_line(folder, 120),
        "units": shown.name,
        "started": info.started_at,
        "demo": info.simulation_true is not None,
        "channels": [
            {"name": one_line(c.name, 60), "at": one_line(c.at, 60),
             "unit": "N" if c.quantity == "force" else "m", "stale": c.stale_after_s}
            for c in info.sensors.channels
        ],
        "force": one_line(drawn.name, 60) if drawn else None,
        "stale": drawn.stale_after_s if drawn else 1.0,
        "isHaul": cell is not None,
        "ideal": known.ideal_ma,
        "model": known.model_ma,
        "modelU": 2 * known.model_ma_u,
        "haul": known.haul_force_N if cell is not None else None,
        "haulU": 2 * (known.haul_force_u_N or 0.0),
        "holds": [h.name for h in known.held if h.ideal is not None],
        "go": pull_distance_m,
        "loadCounted": found.load_length is not None,
        "haulCounted": haul_counted,
        "way": _way(found),
        "limit": limit.haul_force_N,
        "because": one_line(because, 200),
        "rated": counted.rated,
        "of": counted.parts,
        "warn": None if cell is None else cell.warn_at,
        "levels": levels(found, limit.haul_force_N, because),
        "haulStrand": rig.haul_strand,
        "strands": [strand.name for strand in rig.strands],
    }  # fmt: skip


def levels(found: Roles, rig_N: float | None, because: str) -> list[list[Any]]:
    """[haul tension at which to stop, N, what sets it], the lowest first."""
    cell = found.haul_force
    if cell is None:
        return []
    told: list[list[Any]] = []
    if cell.stop_at is not None:
        told.append([cell.stop_at, f"stop_at of {one_line(cell.name, 60)}"])
    if rig_N is not None:
        told.append([rig_N, one_line(because, 120)])
    return sorted(told, key=lambda row: row[0])


def _way(found: Roles) -> str:
    """Whose travel is drawn below the force."""
    if found.load_length is not None:
        return "Load travel"
    if found.progress is None:
        return ""
    if found.progress is found.haul_length:
        return "Rope out at the haul"
    return f"Counter {one_line(found.progress.name, 40)}"
