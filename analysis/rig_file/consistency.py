"""Checks a whole rig file: every table is used, and every name in it exists.

A limit stated for an item that is on no rope would never be checked against a force.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.rig.rig import TURNS, Gear
from analysis.rig_file.draft import RigDraft
from logger.spelling import cure


def check_items_on_ropes(draft: RigDraft) -> None:
    """Check that each table of a pulley, grab, capture or edge belongs to a station."""
    for kind in ("pulley", "grab", "capture", "edge"):
        names = [s.name for s in draft.stations if s.kind == kind]
        for name, table in draft.tables[kind].items():
            if name not in names:
                listed = "put it into a path, take this table out, or write"
                raise draft.fault(
                    table.name,
                    f"no {kind} of this name is on a rope",
                    cure(name, names, listed, f"[{kind}.{{}}]")
                    if names
                    else "put it into a path, or take this table out",
                )


def check_gear(draft: RigDraft, gears: Sequence[Gear]) -> None:
    """Check that what gear carries exists, is named once, and does not carry the gear itself."""
    names = {s.name for s in draft.stations if s.kind in (*TURNS, "grab")}
    names |= {b.name for b in draft.bodies if b.kind != "edge"} | {g.name for g in gears}
    by_name = {gear.name: gear for gear in gears}
    for gear in gears:
        place = f"gear.{gear.name}: carries"
        for name in gear.carries:
            if name not in names:
                raise draft.fault(
                    place,
                    f'there is no "{name}" in the rig',
                    cure(name, sorted(names - {gear.name}), "gear can carry"),
                )
        if len(set(gear.carries)) != len(gear.carries):
            raise draft.fault(place, "names an item twice", "write each name once")
        seen, todo = set(), [gear.name]
        while todo:
            for name in by_name[todo.pop()].carries:
                if name == gear.name:
                    raise draft.fault(
                        place, "carries itself, through others", "take one of them out of carries"
                    )
                if name in by_name and name not in seen:
                    seen.add(name)
                    todo.append(name)


def check_all_used(draft: RigDraft) -> None:
    """Check that each body has a station on it and each key of each table was read."""
    used = {s.body for s in draft.stations}
    for k, body in enumerate(draft.bodies):
        if k not in used and body.kind != "anchor":
            raise draft.fault(
                body.name,
                "no station of any path is on this body: it stays unloaded",
                "put a station on it, or take it out of the file",
            )
    for tables in draft.tables.values():
        for table in tables.values():
            table.done()


def the_haul(draft: RigDraft) -> int:
    """Index of the haul among the stations; raises RigFault unless there is exactly one."""
    hauls = [k for k, s in enumerate(draft.stations) if s.kind == "haul"]
    if len(hauls) != 1:
        raise draft.fault(
            "rope",
            f"the rig has {len(hauls)} hauls",
            'write exactly one { haul = "team" } in the rig',
        )
    return hauls[0]
