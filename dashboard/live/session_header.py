"""Makes the part `head`, which a page is told once: title, channels, prediction, levels, strands."""

from __future__ import annotations

from typing import Any

from analysis.live.live_state import LiveState
from analysis.live.minmax_pyramid import BASE_S
from analysis.live.stroke_remaining import AGAIN_M, MET_M, SOON_M
from analysis.mechanics.model import COVERAGE
from analysis.messages.message import message
from analysis.prediction.alarm_rows import haul_cell_level
from analysis.prediction.predict import first_limit, stop_hauling_at
from analysis.signals.channel_roles import Roles
from dashboard.text.units import Units
from logger.errors import one_line


def head(live: LiveState, units: Units) -> dict[str, Any]:
    """The part `head`; forces in N, travel in m, modelU and haulU expanded; units: what the page shows
    them in; go: how far the load is to go, from where the session began; near: load travel left that is
    two-blocked, soon two-blocked, and far from it again; base: seconds of the graph's narrowest bin."""
    info, roles, rig, model = live.info, live.roles, live.in_use.rig, live.in_use.model
    counted = stop_hauling_at(model)
    # the level that the recorder judges the haul cell by: what has its own cell is judged by that
    limit = first_limit(model, haul_cell_level(model, roles.channels))
    said = limit.because
    if limit.haul_force_N is None and counted.haul_force_N is not None:
        said = message("judged_by_own_cells")
    because = said.text(units)
    drawn = roles.forces[0] if roles.forces else None
    cell = roles.haul_force
    return {
        "title": one_line(rig.title or live.path.name, 120),
        "folder": one_line(live.path.name, 120),
        "units": units.name,
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
        "ideal": model.ideal_ma,
        "model": model.model_ma,
        "modelU": COVERAGE * model.model_ma_u,
        "haul": model.haul_force_N if cell is not None else None,
        "haulU": COVERAGE * (model.haul_force_u_N or 0.0),
        "holds": [h.name for h in model.held if h.ideal is not None],
        "go": live.rig.load.pull_distance_m,
        "loadCounted": roles.load_length is not None,
        "haulCounted": live.counters.rope is not None,
        "way": _travel(roles),
        "limit": limit.haul_force_N,
        "because": one_line(because, 200),
        "rated": counted.rated,
        "of": counted.parts,
        "warn": None if cell is None else cell.warn_at,
        "levels": levels(roles, limit.haul_force_N, because),
        "near": [MET_M, SOON_M, AGAIN_M],
        "base": BASE_S,
        "haulStrand": rig.haul_strand,
        "strands": [strand.name for strand in rig.strands],
    }  # fmt: skip


def levels(roles: Roles, rig_N: float | None, because: str) -> list[list[Any]]:
    """[haul tension at which to stop, N, what sets it], the lowest first."""
    cell = roles.haul_force
    if cell is None:
        return []
    rows: list[list[Any]] = []
    if cell.stop_at is not None:
        rows.append([cell.stop_at, f"stop_at of {one_line(cell.name, 60)}"])
    if rig_N is not None:
        rows.append([rig_N, one_line(because, 120)])
    return sorted(rows, key=lambda row: row[0])


def _travel(roles: Roles) -> str:
    """Whose travel is drawn below the force."""
    if roles.load_length is not None:
        return "Load travel"
    if roles.progress is None:
        return ""
    if roles.progress is roles.haul_length:
        return "Rope out at the haul"
    return f"Counter {one_line(roles.progress.name, 40)}"
