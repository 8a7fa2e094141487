"""Reads the ropes of a rig file: the path of each rope, station by station in rope order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis.messages.message import message
from analysis.rig.knots import KNOTS, Knot, knot
from analysis.rig.presets import STRETCH_SHARE, rope_preset
from analysis.rig.rig import Rating, Rope, Station, Strand
from analysis.rig_file.body_places import body_under, read_bodies_on_ropes
from analysis.rig_file.draft import RigDraft
from analysis.rig_file.item_tables import read_grab_rating, read_turn
from analysis.rig_file.ratings import kilonewtons
from analysis.rig_file.rig_keys import ROPE, STATION_KEYS
from logger.errors import RigFault
from logger.spelling import likely
from logger.toml_tables import Table

STATIONS = tuple(STATION_KEYS)
# keys that say more of a station
MORE_KEYS = frozenset(
    spelling.name
    for table in STATION_KEYS.values()
    for key in table.keys
    for spelling in key.spellings
    if key.name not in STATIONS
)
MOST_STATIONS = 400  # speed only: the model's cost grows with the cube of the strands


@dataclass(frozen=True)
class PathPlace:
    """One station in the path of a rope, as written."""

    table: Table  # its keys
    kind: str  # one of STATIONS
    rope: int  # index into Rig.ropes
    first: bool  # whether it is the first of its path
    last: bool  # whether it is the last of its path
    before_tail: bool  # whether only a free tail follows it

    @property
    def end(self) -> bool:
        """Whether it is at an end of its rope."""
        return self.first or self.last


def read_ropes(draft: RigDraft, ropes: Any) -> None:
    """Add all ropes with their stations and strands to the draft; ropes: the value of [[rope]]."""
    if not isinstance(ropes, list) or not ropes:
        raise draft.fault("rope", "there is no rope", "write [[rope]] with name and path")
    tables = [
        Table(data, draft.file, f"rope {k + 1}", RigFault, ROPE) for k, data in enumerate(ropes)
    ]
    paths = [_path(table, k) for k, table in enumerate(tables)]
    if sum(len(path) for path in paths) > MOST_STATIONS:
        raise draft.fault("rope", f"more than {MOST_STATIONS} stations", "write fewer")
    # bodies first: a pulley may ride on a grab that comes later
    read_bodies_on_ropes(draft, (place.table for path in paths for place in path))
    for table, path in zip(tables, paths, strict=True):
        _read_rope(draft, table, path)


def _path(table: Table, rope: int) -> list[PathPlace]:
    """The stations of a rope as written; rope: its index."""
    path = table.raw("path")
    if not isinstance(path, list) or len(path) < 2:
        raise table.fault(
            "path",
            "needs at least two stations",
            'write path = [ { tie = "load" }, ..., { haul = "team" } ]',
        )
    stations, kinds = [], []
    for k, data in enumerate(path):
        stations.append(Table(data, table.file, f"{table.name} station {k + 1}", RigFault))
        stations[k].station = (rope, k)
        kinds.append(_kind(stations[k]))
        stations[k].declared = STATION_KEYS[kinds[k]]
    return [
        PathPlace(
            table=stations[k],
            kind=kinds[k],
            rope=rope,
            first=k == 0,
            last=k == len(path) - 1,
            before_tail=kinds[k + 1 :] == ["free"],
        )
        for k in range(len(path))
    ]


def _kind(station: Table) -> str:
    """The kind of a station; raises RigFault where it has none or several."""
    kinds = [kind for kind in STATIONS if kind in station.data]
    if len(kinds) > 1:
        raise station.fault(
            "",
            f"is {' and '.join(kinds)} at once",
            'a station is one thing, for example { pulley = "A1", on = "anchor" }',
        )
    if kinds:
        return kinds[0]
    for key in station.data:
        meant = likely(key, STATIONS)
        if meant is not None:
            raise station.fault("", f'unknown station "{key}"', f'write "{meant}"')
    other = next((key for key in station.data if key not in MORE_KEYS), None)
    what = "the station has no kind" if other is None else f'unknown station "{other}"'
    raise station.fault("", what, f"write one of {', '.join(STATIONS)}")


def _read_rope(draft: RigDraft, table: Table, path: list[PathPlace]) -> None:
    index = len(draft.ropes)
    name = draft.name(table.raw("name"), "rope", f"{table.name}: name")
    length = table.number("length_m")
    diameter = table.number("diameter_mm")
    strength = kilonewtons(table, "mbs_kN")
    stretch = table.number("stretch_percent")
    stretch_at = kilonewtons(table, "stretch_at_kN")
    item = table.text("item") or ""
    preset = table.text("preset")
    table.done()
    if preset is not None:
        if strength is None or stretch is not None or stretch_at is not None:
            raise table.fault(
                "preset",
                "needs mbs_kN, and stands in place of stretch_percent and stretch_at_kN",
                "write mbs_kN = the rope's minimum breaking strength, or leave preset out",
            )
        usual = rope_preset(preset)
        stretch, stretch_at = 100.0 * usual.stretch, STRETCH_SHARE * strength
        draft.notes.append(
            message("rope_preset_assumed", rope=name, preset=preset, share=usual.stretch,
                    share_u=usual.stretch_u)
        )  # fmt: skip
    if (stretch is None) != (stretch_at is None):
        raise table.fault(
            "stretch_at_kN" if stretch_at is None else "stretch_percent",
            "is missing",
            "write stretch_percent and stretch_at_kN together",
        )
    first, begin = len(draft.stations), len(draft.strands)
    draft.stations += [_station(draft, place) for place in path]
    stations = range(first, len(draft.stations))
    for a in stations[:-1]:
        label = f"{draft.stations[a].name}>{draft.stations[a + 1].name}"
        draft.strands.append(Strand(index, a, a + 1, label))
    draft.ratings[name] = Rating(mbs_N=strength, item=item)
    draft.ropes.append(
        Rope(
            name=name,
            stations=tuple(stations),
            strands=tuple(range(begin, len(draft.strands))),
            ties=sum(place.kind == "tie" for place in path),
            length_m=length,
            diameter_mm=diameter,
            mbs_N=strength,
            stretch=None if stretch is None else stretch / 100.0,
            stretch_at_N=stretch_at,
            preset=preset or "",
        )
    )


def _station(draft: RigDraft, place: PathPlace) -> Station:
    place.table.raw(place.kind)
    if place.kind in ("grab", "pulley", "capture", "edge") and place.end:
        raise place.table.fault(
            "",
            f"a rope cannot end at a {place.kind}",
            "end it with a tie, the haul or { free = true }",
        )
    read = {"tie": _tie, "free": _free, "haul": _haul, "grab": _grab}.get(place.kind, _turn)
    station = read(draft, place)
    place.table.done()
    return station


def _tie(draft: RigDraft, place: PathPlace) -> Station:
    table = place.table
    if not place.end:
        raise table.fault(
            "",
            "a tie must be at the end of a rope",
            "write it first or last in the path, or use a grab",
        )
    body = body_under(draft, table, "tie")
    strength = table.number("strength")
    tied = _knot(table)
    if tied is not None and strength is not None:
        raise table.fault(
            "knot",
            "cannot stand beside strength",
            "write the knot's name, or the share that it keeps",
        )
    return Station(
        name=draft.bodies[body].name,
        kind="tie",
        rope=place.rope,
        body=body,
        strength=strength if tied is None else tied.keeps,
        knot="" if tied is None else tied.name,
    )


def _knot(table: Table) -> Knot | None:
    """The knot that a tie names, or None; raises RigFault for one that the table of knots does not have."""
    name = table.text("knot")
    if name is None:
        return None
    tied = knot(name)
    if tied is None:
        names = [each.name for each in KNOTS]
        near = likely(name, names)
        raise table.fault(
            "knot", f'"{name}" is not in the table of knots',
            (f'write "{near}"; ' if near else "") + "knots are " + ", ".join(names)
            + "; or write strength = the share that it keeps",
        )  # fmt: skip
    return tied


def _free(draft: RigDraft, place: PathPlace) -> Station:
    if place.table.flag("free") is not True or place.first or not place.last:
        raise place.table.fault(
            "free",
            "a slack tail must be the last station of its path",
            "write { free = true } last",
        )
    return Station("free", "free", place.rope, None)


def _haul(draft: RigDraft, place: PathPlace) -> Station:
    table = place.table
    if not (place.end or place.before_tail):
        raise table.fault(
            "",
            "the haul must be at the end of a rope",
            "write it first or last in its path, or before { free = true }",
        )
    name = draft.name(table.data["haul"], "haul", table.name)
    on = body_under(draft, table, "on") if table.has("on") else None
    toward = table.number("toward_deg")
    if on is not None and toward is not None:
        raise table.fault("toward_deg", "cannot stand beside on", "write one of the two")
    return Station(name=name, kind="haul", rope=place.rope, body=on, toward_deg=toward or 0.0)


def _grab(draft: RigDraft, place: PathPlace) -> Station:
    name = str(place.table.data["grab"])
    read_grab_rating(draft, name)
    return Station(name, "grab", place.rope, draft.body_index[name])


def _turn(draft: RigDraft, place: PathPlace) -> Station:
    table, kind = place.table, place.kind
    if kind == "edge" and table.has("at_m"):
        name = str(table.data["edge"])
        if "on" in table.data:
            raise table.fault("on", "cannot stand beside at_m", "write one of the two")
        body = draft.body_index[name]
    else:
        name = draft.name(table.data[kind], kind, table.name)
        if kind == "edge" and "on" not in table.data:
            raise table.fault(
                "at_m", "is missing", 'write at_m = metres from the anchor, or on = "anchor"'
            )
        body = body_under(draft, table, "on")
    return read_turn(draft, table, Station(name, kind, place.rope, body))
