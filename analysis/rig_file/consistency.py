"""Checks over a whole rig file: all that is written is used, and all that is named is there.

What a file states of a thing that is on no rope would be a limit that nobody watches.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.rig.rig import TURNS, Gear
from analysis.rig_file.draft import RigDraft
from logger.toml_tables import nearest


def check_items_on_ropes(draft: RigDraft) -> None:
    """Each table of a station's item belongs to a station."""
    for kind in ("pulley", "grab", "capture", "edge"):
        names = [s.name for s in draft.stations if s.kind == kind]
        for name, table in draft.tables[kind].items():
            if name not in names:
                near = nearest(name, names)
                raise draft.fault(
                    table.name,
                    f"no {kind} of this name is on a rope",
                    f"write [{kind}.{near}]" if near else "put it into a path or take it out",
                )


def check_gear(draft: RigDraft, gears: Sequence[Gear]) -> None:
    """What gear carries is in the rig, once, and carries nothing that carries it."""
    names = {s.name for s in draft.stations if s.kind in (*TURNS, "grab")}
    names |= {b.name for b in draft.bodies if b.kind != "edge"} | {g.name for g in gears}
    by_name = {gear.name: gear for gear in gears}
    for gear in gears:
        place = f"gear.{gear.name}: carries"
        for name in gear.carries:
            if name not in names:
                near = nearest(name, names)
                raise draft.fault(
                    place,
                    f'there is no "{name}" in the rig',
                    f'write "{near}"'
                    if near
                    else "write pulleys, captures, grabs, plates, anchors or gear",
                )
        if len(set(gear.carries)) != len(gear.carries):
            raise draft.fault(place, "names a thing twice", "write each once")
        seen, todo = set(), [gear.name]
        while todo:
            for name in by_name[todo.pop()].carries:
                if name == gear.name:
                    raise draft.fault(place, "carries itself, through others", "break the circle")
                if name in by_name and name not in seen:
                    seen.add(name)
                    todo.append(name)


def check_all_used(draft: RigDraft) -> None:
    """Something in a path is on each body, and each key of each table was asked for."""
    used = {s.body for s in draft.stations}
    for k, body in enumerate(draft.bodies):
        if k not in used and body.kind != "anchor":
            raise draft.fault(
                body.name,
                "nothing in any path is on this body: it stays unloaded",
                "rig it in, or take it out",
            )
    for tables in draft.tables.values():
        for table in tables.values():
            table.done()


def the_haul(draft: RigDraft) -> int:
    """Index of the one station where the pull comes in."""
    hauls = [k for k, s in enumerate(draft.stations) if s.kind == "haul"]
    if len(hauls) != 1:
        raise draft.fault(
            "rope",
            f"{len(hauls)} stations are where the pull comes in",
            'write exactly one { haul = "team" } in the rig',
        )
    return hauls[0]
