"""Reads the tables of single items: ratings and friction of grabs, pulleys, captures, edges and gear."""

from __future__ import annotations

import math
from dataclasses import replace

from analysis.messages.message import message
from analysis.rig.presets import hitch_preset, pulley_preset
from analysis.rig.rig import Gear, Rating, Station
from analysis.rig_file.draft import RigDraft, needed
from analysis.rig_file.ratings import read_hitch_rating, read_rating
from analysis.rig_file.rig_keys import EDGE_FRICTION_U, ITEM_KEYS
from logger.errors import RigFault
from logger.toml_tables import Table


def _alone(table: Table, *keys: str) -> None:
    """Refuse these keys beside a preset, which stands for them."""
    for key in keys:
        if table.has(key):
            raise table.fault(
                key, "cannot stand beside preset", f"write preset, or {key} as it was measured"
            )


def read_grab_rating(draft: RigDraft, name: str) -> None:
    """Add the rating of a grab from its table [grab.NAME], if there is one."""
    table = draft.tables["grab"].get(name)
    if table is None:
        return
    draft.ratings[name] = _hitch(draft, table, name)
    table.done()


def _hitch(draft: RigDraft, table: Table, name: str) -> Rating:
    """The rating of a grab or a capture; a preset stands for where it slips or hurts the rope."""
    rating = read_hitch_rating(table)
    preset = table.text("preset")
    if preset is None:
        return rating
    _alone(table, "slips_at_kN", "slips_at_u_kN", "damages_rope_at_kN")
    usual = hitch_preset(preset)
    draft.notes.append(message("hitch_preset_assumed", name=name, preset=preset))
    return replace(
        rating,
        preset=preset,
        slips_N=usual.slips_N,
        slips_u_N=usual.slips_u_N,
        damages_N=usual.damages_N,
    )


def read_turn(draft: RigDraft, table: Table, turn: Station) -> Station:
    """Complete a turn with its efficiency, from its station in the path and its table [KIND.NAME].

    Adds its rating to the draft.
    """
    item = draft.tables[turn.kind].get(turn.name)
    if item is None:
        item = Table({}, draft.file, f"{turn.kind}.{turn.name}", RigFault, ITEM_KEYS[turn.kind])
    draft.ratings[turn.name] = (
        _hitch(draft, item, turn.name) if turn.kind == "capture" else read_rating(item)
    )
    if turn.kind == "edge":
        return _edge(draft, table, item, turn)
    e = item.number("efficiency")
    u = item.number("efficiency_u")
    if turn.kind == "capture":
        setback = item.number("setback_m")
        turn = replace(turn, setback_m=setback or 0.0)
    preset = item.text("preset") if turn.kind == "pulley" else None
    if preset is not None:
        _alone(item, "efficiency", "efficiency_u")
        usual = pulley_preset(preset)
        item.done()
        draft.notes.append(
            message("pulley_preset_assumed", name=turn.name, preset=preset,
                    efficiency=usual.efficiency, uncertainty=usual.efficiency_u)
        )  # fmt: skip
        return replace(
            turn, efficiency=usual.efficiency, efficiency_u=usual.efficiency_u, preset=preset
        )
    item.done()
    if turn.kind == "capture" and e is None:
        return replace(turn, efficiency=1.0, efficiency_u=u or 0.0)
    return replace(
        turn,
        efficiency=draft.default_e if e is None else e,
        efficiency_u=draft.default_u if u is None else u,
        shared=e is None and u is None,
    )


def _edge(draft: RigDraft, table: Table, item: Table, edge: Station) -> Station:
    """Complete an edge with its efficiency, exp(-friction x wrap) (capstan equation)."""
    if edge.body is not None and draft.bodies[edge.body].moves:
        raise table.fault(
            "on", "an edge or post must stand on the ground", 'write at_m, or on = "anchor"'
        )
    wrap = math.radians(needed(table, "wrap_deg"))
    friction = needed(table, "friction")
    u = item.number("friction_u")
    item.done()
    if friction * wrap > 60:
        raise table.fault(
            "wrap_deg", "no rope can be pulled round so many turns", "write a smaller angle"
        )
    if u is None:
        u = EDGE_FRICTION_U * friction
        if friction:
            draft.notes.append(
                message("edge_friction_u_assumed", edge=edge.name, friction=friction)
            )
    e = math.exp(-friction * wrap)
    return replace(edge, efficiency=e, efficiency_u=e * wrap * u, wrap_rad=wrap)


def read_gear(draft: RigDraft) -> tuple[Gear, ...]:
    """Read the tables [gear.NAME]; `check_gear` checks later that what they carry exists."""
    gears = []
    for name, table in draft.tables["gear"].items():
        draft.name(name, "gear", table.name)
        carries = table.raw("carries")
        if (
            not isinstance(carries, list)
            or not carries
            or not all(isinstance(c, str) for c in carries)
        ):
            raise table.fault("carries", "is not a list of names", 'write carries = ["A1", "C1"]')
        kind = table.text("kind") or "gear"
        draft.ratings[name] = read_rating(table)
        table.done()
        gears.append(Gear(name, tuple(carries), kind))
    return tuple(gears)
