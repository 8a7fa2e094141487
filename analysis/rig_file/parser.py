"""Reads a rig file table by table into a Rig; `load.check` checks afterwards that it can work."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.rig.rig import Body, Rig
from analysis.rig_file.body_places import read_further_bodies
from analysis.rig_file.consistency import (
    check_all_used,
    check_gear,
    check_items_on_ropes,
    the_haul,
)
from analysis.rig_file.draft import RigDraft, needed
from analysis.rig_file.item_tables import read_gear
from analysis.rig_file.load_table import read_load
from analysis.rig_file.ratings import read_rating
from analysis.rig_file.rope_paths import read_ropes
from logger.errors import RigFault
from logger.toml_tables import Table

# interface section 1: what a rig file that leaves the key out gets
DEFAULT_EFFICIENCY, DEFAULT_EFFICIENCY_U = 0.90, 0.05
DEFAULT_CLEARANCE_M, DEFAULT_FACTOR = 0.3, 10.0  # interface section 1
TABLES = ("pulley", "grab", "capture", "edge", "further_anchor", "plate", "gear")


def read_rig(data: Mapping[str, Any], file: str) -> Rig:
    """The rig that these tables describe; raises RigFault, which names `file`."""
    top = Table(data, file, "", RigFault)
    tables = {kind: _named(top, kind) for kind in TABLES}
    title = top.text("title", most=200) or ""
    note, source = top.text("note") or "", top.text("source") or ""
    distance = needed(top, "anchor_to_load_m", above=0.0, most=1e5, unit=" of metres")
    clearance = top.number("clearance_m", least=0.0, most=100.0)
    defaults = _table(top, "defaults")
    e = defaults.number("pulley_efficiency", above=0.0, most=1.0)
    u = defaults.number("pulley_efficiency_u", least=0.0, most=1.0)
    defaults.done()
    limits = _table(top, "limits")
    factor = limits.number("design_factor", least=1.0, most=1000.0)
    limits.done()
    team = _table(top, "team")
    pull, stand = team.number("pull_N", above=0.0), team.number("stand_m", least=-1e5, most=1e5)
    team.done()
    draft = RigDraft(
        file=file,
        tables=tables,
        default_e=DEFAULT_EFFICIENCY if e is None else e,
        default_u=DEFAULT_EFFICIENCY_U if u is None else u,
    )
    draft.add(Body("anchor", "anchor", 0.0))
    draft.add(Body("load", "load", distance))
    load, draft.ratings["load"], notes = read_load(_table(top, "load"))
    draft.notes += notes
    anchor = _table(top, "anchor")
    draft.ratings["anchor"] = read_rating(anchor)
    anchor.done()
    read_further_bodies(draft)
    read_ropes(draft, top.raw("rope"))
    check_items_on_ropes(draft)
    gears = read_gear(draft)
    check_gear(draft, gears)
    check_all_used(draft)
    haul = the_haul(draft)
    top.done(also=TABLES)
    return Rig(
        file=file,
        title=title,
        note=note,
        source=source,
        clearance_m=DEFAULT_CLEARANCE_M if clearance is None else clearance,
        design_factor=DEFAULT_FACTOR if factor is None else factor,
        default_u=draft.default_u,
        default_assumed=e is None and any(s.shared for s in draft.stations),
        bodies=tuple(draft.bodies),
        stations=tuple(draft.stations),
        strands=tuple(draft.strands),
        ropes=tuple(draft.ropes),
        gears=gears,
        ratings=draft.ratings,
        load=load,
        team_pull_N=pull,
        stand_m=0.0 if stand is None else stand,
        haul=haul,
        notes=tuple(draft.notes),
    )


def _table(top: Table, name: str) -> Table:
    """The table [NAME]; empty where it is absent."""
    return Table(top.raw(name, {}), top.file, name, RigFault)


def _named(top: Table, kind: str) -> dict[str, Table]:
    """The tables [KIND.NAME] of a kind, by name."""
    data = top.raw(kind, {})
    if not isinstance(data, Mapping):
        raise top.fault(kind, "must hold one table for each item", f"write [{kind}.NAME]")
    return {
        name: Table(value, top.file, f"{kind}.{name}", RigFault) for name, value in data.items()
    }
