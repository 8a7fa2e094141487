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
from analysis.rig_file.rig_keys import (
    ANCHOR,
    DEFAULT_CLEARANCE_M,
    DEFAULT_EFFICIENCY,
    DEFAULT_EFFICIENCY_U,
    DEFAULT_FACTOR,
    DEFAULTS,
    ITEM_KEYS,
    LIMITS,
    LOAD,
    TEAM,
    TOP,
)
from analysis.rig_file.rope_paths import read_ropes
from analysis.rig_file.team_table import read_team
from logger.errors import RigFault
from logger.file_keys import KeyTable
from logger.toml_tables import Table

TABLES = tuple(ITEM_KEYS)  # tables of named items
# what a rig file may hold beside the keys of its top: interface section 1
OTHER_TABLES = ("defaults", "limits", "team", "load", "anchor", "rope", *TABLES)


def read_rig(data: Mapping[str, Any], file: str, whole: bool = True) -> Rig:
    """The rig that these tables describe; raises RigFault, which names `file`.

    whole: refuse a body that nothing is on, as in a finished file; a draft may have one.
    """
    top = Table(data, file, "", RigFault, TOP)
    tables = {kind: _named(top, kind) for kind in TABLES}
    title = top.text("title") or ""
    note, source = top.text("note") or "", top.text("source") or ""
    distance = needed(top, "anchor_to_load_m")
    clearance = top.number("clearance_m")
    defaults = _table(top, DEFAULTS)
    e = defaults.number("pulley_efficiency")
    u = defaults.number("pulley_efficiency_u")
    defaults.done()
    limits = _table(top, LIMITS)
    factor = limits.number("design_factor")
    limits.done()
    draft = RigDraft(
        file=file,
        tables=tables,
        default_e=DEFAULT_EFFICIENCY if e is None else e,
        default_u=DEFAULT_EFFICIENCY_U if u is None else u,
    )
    team = read_team(draft, _table(top, TEAM))
    draft.add(Body("anchor", "anchor", 0.0))
    draft.add(Body("load", "load", distance))
    load, draft.ratings["load"], notes = read_load(_table(top, LOAD))
    draft.notes += notes
    anchor = _table(top, ANCHOR)
    draft.ratings["anchor"] = read_rating(anchor)
    anchor.done()
    read_further_bodies(draft)
    read_ropes(draft, top.raw("rope"))
    check_items_on_ropes(draft)
    gears = read_gear(draft)
    check_gear(draft, gears)
    if whole:
        check_all_used(draft)
    haul = the_haul(draft)
    top.done(also=OTHER_TABLES)
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
        team_pull_N=team.pull_N,
        people=team.people,
        stand_m=team.stand_m,
        haul=haul,
        notes=tuple(draft.notes),
    )


def _table(top: Table, keys: KeyTable) -> Table:
    """The table that has these keys; empty where it is absent."""
    return Table(top.raw(keys.name, {}), top.file, keys.name, RigFault, keys)


def _named(top: Table, kind: str) -> dict[str, Table]:
    """The tables [KIND.NAME] of a kind, by name."""
    data = top.raw(kind, {})
    if not isinstance(data, Mapping):
        raise top.fault(kind, "must hold one table for each item", f"write [{kind}.NAME]")
    return {
        name: Table(value, top.file, f"{kind}.{name}", RigFault, ITEM_KEYS[kind])
        for name, value in data.items()
    }
