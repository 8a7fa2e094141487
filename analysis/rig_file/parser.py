"""One reading of a rig file: tables taken apart, names kept unique, stations in rope order.

What comes out is a Rig as the file writes it; whether it can work is for `rig.check` to say.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from analysis.messages.message import Message, message
from analysis.rig.rig import TURNS, Body, Gear, Rating, Rig, Rope, Station, Strand
from analysis.rig_file.load_table import read_load, read_rating
from logger.errors import RigFault
from logger.toml_tables import Table, nearest

DEFAULT_EFFICIENCY, DEFAULT_EFFICIENCY_U = 0.90, 0.05
DEFAULT_CLEARANCE_M, DEFAULT_FACTOR = 0.3, 10.0
EDGE_FRICTION_U = 0.30  # of the coefficient where the file gives no friction_u: a table value
STATIONS = ("tie", "grab", "pulley", "capture", "edge", "haul", "free")
TABLES = ("pulley", "grab", "capture", "edge", "further_anchor", "plate", "gear")
RESERVED = ("anchor", "load", "free")
MOST_STATIONS = 400


class Reader:
    """One reading of one file: tables taken apart, names kept unique."""

    def __init__(self, data: Mapping[str, Any], file: str) -> None:
        self.file = file
        self.top = Table(data, file, "", RigFault)
        self.names: dict[str, str] = dict.fromkeys(RESERVED, "reserved")
        self.bodies: list[Body] = []
        self.stations: list[Station] = []
        self.strands: list[Strand] = []
        self.ropes: list[Rope] = []
        self.ratings: dict[str, Rating] = {}
        self.notes: list[Message] = []
        self.tables = {kind: self._named(kind) for kind in TABLES}

    def rig(self) -> Rig:
        top = self.top
        title = top.text("title", most=200) or ""
        note, source = top.text("note") or "", top.text("source") or ""
        distance = self._needed(top, "anchor_to_load_m", above=0.0, most=1e5, unit=" of metres")
        clearance = top.number("clearance_m", least=0.0, most=100.0)
        clearance = DEFAULT_CLEARANCE_M if clearance is None else clearance
        defaults = self._table("defaults")
        given = defaults.number("pulley_efficiency", above=0.0, most=1.0)
        self.default_e = DEFAULT_EFFICIENCY if given is None else given
        u = defaults.number("pulley_efficiency_u", least=0.0, most=1.0)
        self.default_u = DEFAULT_EFFICIENCY_U if u is None else u
        defaults.done()
        limits = self._table("limits")
        factor = limits.number("design_factor", least=1.0, most=1000.0)
        limits.done()
        team = self._table("team")
        pull, stand = team.number("pull_N", above=0.0), team.number("stand_m", least=-1e5, most=1e5)
        team.done()
        self.bodies += [Body("anchor", "anchor", 0.0), Body("load", "load", distance)]
        load, self.ratings["load"], notes = read_load(self._table("load"))
        self.notes += notes
        anchor = self._table("anchor")
        self.ratings["anchor"] = read_rating(anchor)
        anchor.done()
        self._fixed_bodies()
        self._paths()
        gears = self._gears()
        self._all_used()
        assumed = given is None and any(s.shared for s in self.stations)
        hauls = [k for k, s in enumerate(self.stations) if s.kind == "haul"]
        if len(hauls) != 1:
            raise self._fault(
                "rope",
                f"{len(hauls)} stations are where the pull comes in",
                'write exactly one { haul = "team" } in the rig',
            )
        top.done(also=[*TABLES])
        return Rig(
            file=self.file,
            title=title,
            note=note,
            source=source,
            clearance_m=clearance,
            design_factor=DEFAULT_FACTOR if factor is None else factor,
            default_u=self.default_u,
            default_assumed=assumed,
            bodies=tuple(self.bodies),
            stations=tuple(self.stations),
            strands=tuple(self.strands),
            ropes=tuple(self.ropes),
            gears=gears,
            ratings=self.ratings,
            load=load,
            team_pull_N=pull,
            stand_m=0.0 if stand is None else stand,
            haul=hauls[0],
            notes=tuple(self.notes),
        )

    # tables

    def _fault(self, place: str, what: str, cure: str) -> RigFault:
        return RigFault(self.file, what, cure, place)

    def _table(self, name: str) -> Table:
        return Table(self.top.raw(name, {}), self.file, name, RigFault)

    def _named(self, kind: str) -> dict[str, Table]:
        """The tables [kind.NAME] of this kind by name."""
        data = self.top.raw(kind, {})
        if not isinstance(data, Mapping):
            raise self._fault(kind, "must hold one table for each thing", f"write [{kind}.NAME]")
        return {
            name: Table(value, self.file, f"{kind}.{name}", RigFault)
            for name, value in data.items()
        }

    def _needed(self, table: Table, key: str, **limits: Any) -> float:
        value = table.number(key, **limits)
        if value is None:
            raise table.fault(key, "is missing", f"write {key} = a number{limits.get('unit', '')}")
        return value

    def _name(self, name: Any, what: str, place: str) -> str:
        """A new name, unique over the file and free of what would confuse a strand's name."""
        if not isinstance(name, str) or not name.strip() or len(name) > 40:
            raise self._fault(
                place, f"a {what} needs a name of 1 to 40 characters", f'write {what} = "NAME"'
            )
        if ">" in name or not name.isprintable() or name != name.strip():
            raise self._fault(
                place,
                f'the name "{name}" holds a ">", a control character or outer blanks',
                "take it out",
            )
        if name in self.names:
            used = self.names[name]
            why = "is reserved" if used == "reserved" else f"already names a {used}"
            raise self._fault(
                place, f'the name "{name}" {why}', "give each thing a name of its own"
            )
        self.names[name] = what
        return name

    def _fixed_bodies(self) -> None:
        for name, table in self.tables["further_anchor"].items():
            self._name(name, "further anchor", table.name)
            at = self._needed(table, "at_m", least=-1e5, most=1e5)
            side = table.number("offset_m", least=-1e5, most=1e5) or 0.0
            self.ratings[name] = read_rating(table)
            table.done()
            self.bodies.append(Body(name, "further_anchor", at, side))
        for name, table in self.tables["plate"].items():
            self._name(name, "plate", table.name)
            at = self._needed(table, "at_m", least=-1e5, most=1e5)
            self.ratings[name] = read_rating(table)
            table.done()
            self.bodies.append(Body(name, "plate", at))

    # paths

    def _paths(self) -> None:
        ropes = self.top.raw("rope")
        if not isinstance(ropes, list) or not ropes:
            raise self._fault("rope", "there is no rope", "write [[rope]] with name and path")
        tables = [Table(data, self.file, f"rope {k + 1}", RigFault) for k, data in enumerate(ropes)]
        paths = [self._path(table) for table in tables]
        if sum(len(path) for path in paths) > MOST_STATIONS:
            raise self._fault("rope", f"more than {MOST_STATIONS} stations", "leave some out")
        for path in paths:  # bodies first: a pulley may ride on a grab that comes later
            for station in path:
                if station.has("grab"):
                    at = self._needed(station, "at_m", least=-1e5, most=1e5)
                    name = self._name(station.data["grab"], "grab", station.name)
                    self.bodies.append(Body(name, "grab", at))
                elif station.has("edge") and station.has("at_m"):
                    at = self._needed(station, "at_m", least=-1e5, most=1e5)
                    name = self._name(station.data["edge"], "edge", station.name)
                    self.bodies.append(Body(name, "edge", at))
        self.place = {body.name: k for k, body in enumerate(self.bodies)}
        for table, path in zip(tables, paths, strict=True):
            self._rope(table, path)
        for kind in ("pulley", "grab", "capture", "edge"):
            for name, table in self.tables[kind].items():
                if not any(s.kind == kind and s.name == name for s in self.stations):
                    known = [s.name for s in self.stations if s.kind == kind]
                    near = nearest(name, known)
                    raise self._fault(
                        table.name,
                        f"no {kind} of this name is on a rope",
                        f"write [{kind}.{near}]" if near else "put it into a path or take it out",
                    )

    def _path(self, table: Table) -> list[Table]:
        path = table.raw("path")
        if not isinstance(path, list) or len(path) < 2:
            raise table.fault(
                "path",
                "needs at least two stations",
                'write path = [ { tie = "load" }, ..., { haul = "team" } ]',
            )
        result = []
        for k, data in enumerate(path):
            station = Table(data, self.file, f"{table.name} station {k + 1}", RigFault)
            kinds = [kind for kind in STATIONS if kind in station.data]
            if not kinds:
                known = ", ".join(STATIONS)
                raise station.fault("", _unknown_station(station.data), f"write one of {known}")
            if len(kinds) > 1:
                raise station.fault(
                    "",
                    f"is {' and '.join(kinds)} at once",
                    'a station is one thing, for example { pulley = "A1", on = "anchor" }',
                )
            result.append(station)
        return result

    def _rope(self, table: Table, path: list[Table]) -> None:
        index = len(self.ropes)
        name = table.raw("name")
        self._name(name, "rope", f"{table.name}: name")
        length = table.number("length_m", above=0.0, most=1e6)
        diameter = table.number("diameter_mm", above=0.0, most=1000.0)
        strength = table.number("mbs_kN", above=0.0, most=1e6)
        stretch = table.number("stretch_percent", least=0.0, most=1000.0)
        stretch_at = table.number("stretch_at_kN", above=0.0, most=1e6)
        item = table.text("item", most=100) or ""
        table.done(also=["path"])
        if (stretch is None) != (stretch_at is None):
            raise table.fault(
                "stretch_at_kN" if stretch_at is None else "stretch_percent",
                "is missing",
                "write stretch_percent and stretch_at_kN together",
            )
        first = len(self.stations)
        for k, station in enumerate(path):
            self.stations.append(self._station(station, index, k, path))
        stations = tuple(range(first, len(self.stations)))
        begin = len(self.strands)
        for a in stations[:-1]:
            label = f"{self._label(a)}>{self._label(a + 1)}"
            self.strands.append(Strand(index, a, a + 1, label))
        self.ratings[str(name)] = Rating(
            mbs_N=None if strength is None else strength * 1000.0, item=item
        )
        self.ropes.append(
            Rope(
                str(name),
                stations,
                tuple(range(begin, len(self.strands))),
                sum(self.stations[s].kind == "tie" for s in stations),
                length,
                diameter,
                None if strength is None else strength * 1000.0,
                None if stretch is None else stretch / 100.0,
                None if stretch_at is None else stretch_at * 1000.0,
            )
        )

    def _label(self, station: int) -> str:
        return self.stations[station].name

    def _body(self, table: Table, key: str) -> int:
        name = table.text(key, most=40)
        if name is None:
            raise table.fault(key, "is missing", f'write {key} = "anchor" or another body')
        if name not in self.place:
            near = nearest(name, self.place)
            if name in self.names:
                cure = "write the body that it is on"
                raise table.fault(key, f'"{name}" is a {self.names[name]}, not a body', cure)
            known = ", ".join(b.name for b in self.bodies)
            raise table.fault(
                key,
                f'there is no body "{name}"',
                f'write "{near}"' if near else f"bodies are {known}",
            )
        if self.bodies[self.place[name]].kind == "edge":
            raise table.fault(
                key,
                f'"{name}" is an edge; nothing is rigged on one',
                "write an anchor, the load, a grab or a plate",
            )
        return self.place[name]

    def _station(self, table: Table, rope: int, k: int, path: list[Table]) -> Station:
        kind = next(kind for kind in STATIONS if kind in table.data)
        table.raw(kind)
        end = k in (0, len(path) - 1)
        if kind in ("grab", "pulley", "capture", "edge") and end:
            raise table.fault(
                "",
                f"a rope cannot end at a {kind}",
                "end it with a tie, the haul or { free = true }",
            )
        result: Station
        if kind == "tie":
            if not end:
                raise table.fault(
                    "", "a tie ends a rope", "write it first or last in the path, or use a grab"
                )
            body = self._body(table, "tie")
            strength = table.number("strength", above=0.0, most=1.0)
            result = Station(self.bodies[body].name, kind, rope, body, strength=strength)
        elif kind == "free":
            if table.flag("free") is not True or k == 0 or k != len(path) - 1:
                raise table.fault(
                    "free",
                    "a slack tail stands last in a path",
                    "write { free = true } there alone",
                )
            result = Station("free", kind, rope, None)
        elif kind == "haul":
            last = k == len(path) - 2 and "free" in path[-1].data
            if not (end or last):
                raise table.fault(
                    "",
                    "the haul stands at the end of a rope",
                    "write it first or last in its path, or before { free = true }",
                )
            name = self._name(table.data["haul"], "haul", table.name)
            on = self._body(table, "on") if table.has("on") else None
            toward = table.number("toward_deg", least=-360.0, most=360.0)
            if on is not None and toward is not None:
                raise table.fault("toward_deg", "has no meaning beside on", "write one of the two")
            result = Station(name, kind, rope, on, toward_deg=toward or 0.0)
        elif kind == "grab":
            table.raw("at_m")
            result = self._grab(table, rope)
        else:
            result = self._turn(table, kind, rope)
        table.done()
        return result

    def _grab(self, table: Table, rope: int) -> Station:
        name = str(table.data["grab"])
        if (detail := self.tables["grab"].get(name)) is not None:
            rating = read_rating(detail)
            slips = detail.number("slips_at_kN", above=0.0, most=1e6)
            damages = detail.number("damages_rope_at_kN", above=0.0, most=1e6)
            detail.done()
            self.ratings[name] = Rating(
                rating.mbs_N, rating.wll_N,
                None if slips is None else slips * 1000.0,
                None if damages is None else damages * 1000.0,
                rating.item,
            )  # fmt: skip
        return Station(name, "grab", rope, self.place[name])

    def _turn(self, table: Table, kind: str, rope: int) -> Station:
        if kind == "edge" and "at_m" in table.data:
            name = str(table.data["edge"])
            if "on" in table.data:
                raise table.fault("on", "stands beside at_m", "write one of the two")
            table.raw("at_m")
            body = self.place[name]
        else:
            name = self._name(table.data[kind], kind, table.name)
            if kind == "edge" and "on" not in table.data:
                raise table.fault(
                    "at_m", "is missing", 'write at_m = metres from the anchor, or on = "anchor"'
                )
            body = self._body(table, "on")
        detail = self.tables[kind].get(name)
        blank = Table({}, self.file, f"{kind}.{name}", RigFault)
        extra = blank if detail is None else detail
        self.ratings[name] = read_rating(extra)
        if kind == "edge":
            if self.bodies[body].moves:
                raise table.fault(
                    "on", "an edge or post stands on the ground", 'write at_m or on = "anchor"'
                )
            wrap = math.radians(self._needed(table, "wrap_deg", least=0.0, most=36000.0))
            friction = self._needed(table, "friction", least=0.0, most=10.0)
            u = extra.number("friction_u", least=0.0, most=10.0)
            extra.done()
            if friction * wrap > 60:
                raise table.fault(
                    "wrap_deg", "these turns hold more than any rope can pull round", "write fewer"
                )
            if u is None:
                u = EDGE_FRICTION_U * friction
                if friction:
                    self.notes.append(
                        message("edge_friction_u_assumed", edge=name, friction=friction)
                    )
            e = math.exp(-friction * wrap)
            return Station(name, kind, rope, body, e, e * wrap * u, wrap_rad=wrap)
        e_given = extra.number("efficiency", above=0.0, most=1.0)
        u_given = extra.number("efficiency_u", least=0.0, most=1.0)
        setback = extra.number("setback_m", least=0.0, most=1000.0) if kind == "capture" else None
        extra.done()
        if kind == "capture" and e_given is None:
            return Station(name, kind, rope, body, 1.0, u_given or 0.0, setback_m=setback or 0.0)
        e = self.default_e if e_given is None else e_given
        u = self.default_u if u_given is None else u_given
        shared = e_given is None and u_given is None
        return Station(name, kind, rope, body, e, u, shared, setback_m=setback or 0.0)

    # gear

    def _gears(self) -> tuple[Gear, ...]:
        result = []
        for name, table in self.tables["gear"].items():
            self._name(name, "gear", table.name)
            carries = table.raw("carries")
            if (
                not isinstance(carries, list)
                or not carries
                or not all(isinstance(c, str) for c in carries)
            ):
                raise table.fault(
                    "carries", "is not a list of names", 'write carries = ["A1", "C1"]'
                )
            kind = table.text("kind", most=100) or "gear"
            self.ratings[name] = read_rating(table)
            table.done()
            result.append(Gear(name, tuple(carries), kind))
        known = {s.name for s in self.stations if s.kind in (*TURNS, "grab")}
        known |= {b.name for b in self.bodies if b.kind != "edge"} | {g.name for g in result}
        by_name = {gear.name: gear for gear in result}
        for gear in result:
            for name in gear.carries:
                if name not in known:
                    near = nearest(name, known)
                    raise self._fault(
                        f"gear.{gear.name}: carries",
                        f'there is no "{name}" in the rig',
                        f'write "{near}"'
                        if near
                        else "write pulleys, captures, grabs, plates, anchors or gear",
                    )
            if len(set(gear.carries)) != len(gear.carries):
                raise self._fault(
                    f"gear.{gear.name}: carries", "names a thing twice", "write each once"
                )
            seen, todo = set(), [gear.name]
            while todo:
                for name in by_name[todo.pop()].carries:
                    if name == gear.name:
                        raise self._fault(
                            f"gear.{gear.name}: carries",
                            "carries itself, through others",
                            "break the circle",
                        )
                    if name in by_name and name not in seen:
                        seen.add(name)
                        todo.append(name)
        return tuple(result)

    def _all_used(self) -> None:
        used = {s.body for s in self.stations}
        for k, body in enumerate(self.bodies):
            if k not in used and body.kind != "anchor":
                raise self._fault(
                    body.name,
                    "nothing in any path is on this body: it stays unloaded",
                    "rig it in, or take it out",
                )
        for kind in TABLES:
            for table in self.tables[kind].values():
                table.done()


def _unknown_station(data: Mapping[str, Any]) -> str:
    for key in data:
        near = nearest(key, STATIONS)
        if near:
            return f'unknown station "{key}", the nearest is "{near}"'
    return "the station says none of what it can be"
