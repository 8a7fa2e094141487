"""Reads which bodies a rig has, and where they stand on the haul axis."""

from __future__ import annotations

from collections.abc import Iterable

from analysis.rig.rig import Body
from analysis.rig_file.draft import RigDraft, needed
from analysis.rig_file.ratings import read_rating
from logger.spelling import cure as cure_for
from logger.toml_tables import Table


def read_further_bodies(draft: RigDraft) -> None:
    """Add the bodies of all [further_anchor.NAME] and [plate.NAME] tables to the draft."""
    for kind, what in (("further_anchor", "further anchor"), ("plate", "plate")):
        for name, table in draft.tables[kind].items():
            draft.name(name, what, table.name)
            at = _at(table)
            side = 0.0
            if kind == "further_anchor":
                side = table.number("offset_m") or 0.0
            draft.ratings[name] = read_rating(table)
            table.done()
            draft.add(Body(name, kind, at, side))


def read_bodies_on_ropes(draft: RigDraft, stations: Iterable[Table]) -> None:
    """Add the bodies that are written as stations of a path: grabs, and edges with at_m."""
    for station in stations:
        if "grab" in station.data:
            kind = "grab"
        elif "edge" in station.data and station.has("at_m"):
            kind = "edge"
        else:
            continue
        at = _at(station)
        draft.add(Body(draft.name(station.data[kind], kind, station.name), kind, at))


def body_under(draft: RigDraft, table: Table, key: str) -> int:
    """Index of the body that the value of this key names; raises RigFault where there is none."""
    name = table.text(key)
    if name is None:
        raise table.fault(key, "is missing", f'write {key} = "anchor" or another body')
    if name not in draft.body_index:
        if name in draft.names:
            cure = "write the body that it is on"
            raise table.fault(key, f'"{name}" is a {draft.names[name]}, not a body', cure)
        listed = "a further fixed point needs a table [further_anchor.NAME]; bodies now are"
        cure = cure_for(name, draft.body_index, listed)
        raise table.fault(key, f'there is no body "{name}"', cure)
    if draft.bodies[draft.body_index[name]].kind == "edge":
        raise table.fault(
            key,
            f'"{name}" is an edge; nothing can be rigged on it',
            "write an anchor, the load, a grab or a plate",
        )
    return draft.body_index[name]


def _at(table: Table) -> float:
    """The value of at_m: metres from the anchor."""
    return needed(table, "at_m")
