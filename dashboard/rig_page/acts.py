"""Turns a button or a field of the page into edits of the draft.

An act travels through the browser as a JSON list, so it is hostile when it comes back: each is checked
for its verb and for the types of its values, and the edit then checks its place.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from importlib import resources
from typing import Any

from analysis.rig_edit.draft import Draft
from analysis.rig_edit.edits import (
    EditFault,
    MoveStation,
    PutRope,
    PutStation,
    Rename,
    RigEdit,
    SetStation,
    SetValue,
    StationPlace,
    TakeItem,
    TakeRope,
    TakeStation,
    kind_of,
    station_at,
)
from analysis.rig_edit.fresh_parts import fresh_at_m, fresh_name, fresh_rope, fresh_station
from analysis.rig_edit.rope_cuts import CutRope, HandOver, JoinRopes
from analysis.rig_edit.toml_text import document_of, edited
from analysis.rig_file.rig_keys import ITEM_KEYS, MOST_M, RIG, STATION_KEYS
from dashboard.rig_page.numbers_typed import MOST_TYPED, typed_value
from dashboard.rig_page.which_rig import JOB_TABLES, with_fitted
from logger.errors import CallFault
from logger.file_keys import Key, KeyKind

MOST_ACT = 400  # characters; memory only
# place of a further anchor that a touch makes: behind the anchor, aside; chosen by us: near enough that
# the strand to it is short, and apart from the anchor in the drawing
ANCHOR_AT_M, ANCHOR_OFFSET_M = -1.0, 1.0


def act(*values: str | int | float) -> str:
    """An act as the page carries it."""
    return json.dumps(values)


def act_values(text: Any) -> list[Any]:
    """The values of an act that came back from a browser; raises CallFault."""
    try:
        values = json.loads(text) if isinstance(text, str) and len(text) <= MOST_ACT else None
    except (ValueError, RecursionError):
        values = None
    if (
        not isinstance(values, list)
        or not values
        or not all(type(one) in (str, int, float) for one in values)
    ):
        raise CallFault("page", "this is no act of the page", "load the page again")
    return values


def made(draft: Draft, values: list[Any], typed: Any = None) -> Draft:
    """The draft after an act.

    values: as `act_values` gives them; typed: the text of a field, None for a button.  Raises a
    UserFault where the act is none of the page's, has no place in the draft, or the text is wrong.
    """
    verb, *rest = values
    if verb in _WHOLE and len(rest) <= 1:
        return _WHOLE[verb](draft, *rest)
    edits = _edits(document_of(draft.text), str(verb), rest, typed)
    return draft.make(*edits)


def _undo(draft: Draft) -> Draft:
    return draft.undo()


def _redo(draft: Draft) -> Draft:
    return draft.redo()


def _shelf(draft: Draft, name: Any) -> Draft:
    """The draft with a rig of the shelf in its place, for the same job."""
    files = {
        file.name: file
        for file in (resources.files("analysis") / "rigs").iterdir()
        if file.name.endswith(".toml")
    }
    if name not in files:
        raise CallFault("page", "there is no such rig on the shelf", "load the page again")
    job = document_of(draft.text)
    kept = [
        SetValue(table, key, value)
        for table in JOB_TABLES
        for key, value in job.get(table, {}).items()
    ]
    rope = (job.get("rope") or [{}])[0]
    kept += [SetValue("rope.0", key, rope[key]) for key in rope if key not in ("name", "path")]
    return draft.replaced(edited(files[name].read_text(encoding="utf-8"), *kept))


def _fit(draft: Draft, name: Any) -> Draft:
    """The draft with a rig of the shelf in its place, as long as the job and its rope allow."""
    return draft.replaced(with_fitted(draft.text, name))


def _begin(draft: Draft, tied: Any) -> Draft:
    """An empty rope: tied to the load and over a pulley at the anchor, or the other way round."""
    if tied not in ("load", "anchor"):
        raise CallFault("page", "a rope begins at the load or at the anchor", "load the page again")
    turn = ("A1", "anchor") if tied == "load" else ("L1", "load")
    document = document_of(draft.text)
    edits: list[RigEdit] = [TakeRope(0) for _ in document.get("rope", [])]
    stations = (
        (("tie", tied),),
        (("pulley", turn[0]), ("on", turn[1])),
        (("haul", "team"),),
    )
    return draft.make(*edits, SetValue("", "title", None), PutRope("main", stations))


_WHOLE: dict[str, Callable[..., Draft]] = {
    "undo": _undo,
    "redo": _redo,
    "shelf": _shelf,
    "fit": _fit,
    "begin": _begin,
}


def _edits(document: dict[str, Any], verb: str, rest: list[Any], typed: Any) -> list[RigEdit]:
    """The edits of one act; raises CallFault or EditFault."""
    match verb, rest:
        case "put", [str(kind), int(rope), int(station), str(on)] if kind in STATION_KEYS:
            place = StationPlace(rope, station)
            if on == "new anchor":
                name = fresh_name(document, "further_anchor")
                anchor = f"further_anchor.{name}"
                return [
                    SetValue(anchor, "at_m", ANCHOR_AT_M),
                    SetValue(anchor, "offset_m", ANCHOR_OFFSET_M),
                    PutStation(place, fresh_station(document, kind, place, name)),
                ]
            return [PutStation(place, fresh_station(document, kind, place, on))]
        case "take", [int(rope), int(station)]:
            return _take(document, StationPlace(rope, station))
        case "move", [int(rope), int(station), int(to)]:
            return [MoveStation(StationPlace(rope, station), to)]
        case "hang", [int(rope), int(station), str(key), str(body)] if key in ("on", "tie"):
            return [SetStation(StationPlace(rope, station), key, body)]
        case "station", [int(rope), int(station), str(kind), str(key)] if kind in STATION_KEYS:
            name, value = typed_value(_key(STATION_KEYS[kind].name, key), typed)
            edits: list[RigEdit] = [SetStation(StationPlace(rope, station), name, value)]
            for other in {"knot": ("strength",), "strength": ("knot",)}.get(key, ()):
                edits.insert(0, SetStation(StationPlace(rope, station), other, None))
            return edits
        case "choose", [str(table), str(key), str(value)]:
            return _replacing(table, key, value or None)
        case "knot", [int(rope), int(station), str(knot)]:
            place = StationPlace(rope, station)
            return [SetStation(place, "strength", None), SetStation(place, "knot", knot)]
        case "set", [str(table), str(key)]:
            name, value = typed_value(_key(_declared(table), key), typed)
            return _replacing(table, name, value)
        case "rename", [str(old)] if isinstance(typed, str):
            return [Rename(old, typed.strip()[:MOST_TYPED])]
        case "rope", []:
            tied = ((("tie", "load"),), (("tie", "anchor"),))
            return [PutRope(fresh_rope(document), tied)]
        case "cut", [int(rope), int(station)]:
            place = StationPlace(rope, station)
            plate = fresh_name(document, "plate")
            return [CutRope(place, plate, fresh_at_m(document, place), fresh_rope(document))]
        case "pull on", [int(rope), int(station)]:
            return _pulled(document, StationPlace(rope, station))
        case "join", [str(plate)]:
            return [JoinRopes(plate)]
        case "drop", [str(kind), str(name)] if kind in ITEM_KEYS:
            return [TakeItem(kind, name)]
        case "drop rope", [int(rope)]:
            return [TakeRope(rope)]
        case "seat", [str(), _, *_] if len(rest) % 3 == 1:
            places = rest[1:]
            return [_seated(document, *places[k : k + 3]) for k in range(0, len(places), 3)]
    raise CallFault("page", "this is no act of the page", "load the page again")


# keys that stand for each other: writing one takes the others out
_INSTEAD = {
    "preset": ("efficiency", "efficiency_u", "slips_at_kN", "slips_at_u_kN", "damages_rope_at_kN",
               "stretch_percent", "stretch_at_kN"),
    "efficiency": ("preset",), "efficiency_u": ("preset",), "slips_at_kN": ("preset",),
    "slips_at_u_kN": ("preset",), "damages_rope_at_kN": ("preset",), "stretch_percent": ("preset",),
    "stretch_at_kN": ("preset",), "footing": ("pull_N",), "pull_N": ("footing",),
    "resistance_N": ("kind", "mass_kg", "mass_kg_u", "slope_deg", "resistance_coefficient",
                     "resistance_coefficient_u", "surface"),
    "mass_kg": ("resistance_N", "resistance_u_N"), "kind": ("resistance_N", "resistance_u_N"),
    "surface": ("resistance_N", "resistance_u_N", "resistance_coefficient", "resistance_coefficient_u"),
    "resistance_coefficient": ("surface", "resistance_N", "resistance_u_N"),
}  # fmt: skip


def _replacing(table: str, key: str, value: Any) -> list[RigEdit]:
    """The edit that sets a key, after those that take out what it stands in place of."""
    declared = _declared(table)
    base = next(
        (k.name for k in RIG.table(declared).keys if key in {s.name for s in k.spellings}), key
    )
    there = {k.name for k in RIG.table(declared).keys}
    others = [other for other in _INSTEAD.get(base, ()) if other in there]
    out: list[RigEdit] = [] if value is None else [SetValue(table, other, None) for other in others]
    return [*out, SetValue(table, key, value)]


def _declared(table: str) -> str:
    """The name under which a table is declared: "pulley.NAME" for "pulley.A1"; raises CallFault."""
    kind, dot, _ = table.partition(".")
    if kind == "rope":
        return "rope"
    if dot and kind in ITEM_KEYS:
        return ITEM_KEYS[kind].name
    if not dot and any(table == each.name for each in RIG.tables):
        return table
    raise CallFault("page", "there is no such table", "load the page again")


def _key(declared: str, key: str) -> Key:
    """The declaration of a key; raises CallFault."""
    try:
        found_key = RIG.table(declared).key(key)
    except KeyError:
        raise CallFault("page", "there is no such key", "load the page again") from None
    if found_key.kind in (KeyKind.STATIONS, KeyKind.TEXTS):
        raise CallFault("page", "this key is no field", "load the page again")
    return found_key


def _pulled(document: dict[str, Any], place: StationPlace) -> list[RigEdit]:
    """A grab on the strand, and a new rope from the anchor that pulls on it over a pulley."""
    path = document.get("rope", [])[place.rope].get("path", []) if _has(document, place) else []
    grab = fresh_name(document, "grab")
    put = PutStation(place, fresh_station(document, "grab", place))
    stations = (
        (("tie", "anchor"),),
        (("pulley", fresh_name(document, "pulley", grab)), ("on", grab)),
    )
    haul = StationPlace(place.rope, len(path))  # behind the grab that is put in
    return [put, HandOver(haul, fresh_rope(document), stations)]


def _seated(document: dict[str, Any], rope: Any, station: Any, at_m: Any) -> SetStation:
    """The edit that moves a grab along its strand; raises CallFault, EditFault."""
    numbers = type(rope) is int and type(station) is int and type(at_m) in (int, float)
    if not numbers or not abs(at_m) <= MOST_M:
        raise CallFault("page", "this is no place of a grab", "load the page again")
    place = StationPlace(rope, station)
    if kind_of(station_at(document, place)[1]) != "grab":
        raise EditFault("edit", "there is no grab at this place any more", "ask again")
    return SetStation(place, "at_m", float(at_m))


def _has(document: dict[str, Any], place: StationPlace) -> bool:
    return 0 <= place.rope < len(document.get("rope", []))


def _take(document: dict[str, Any], place: StationPlace) -> list[RigEdit]:
    """Take a station out; a body that something hangs on is refused, with what must go first."""
    station = station_at(document, place)[1]
    kind = kind_of(station)
    if kind == "haul":
        raise EditFault("edit", "the haul stays", "a rig needs one; move it to another place")
    name = str(station.get(kind, ""))
    riders = [
        str(other[kind_of(other)])
        for rope in document.get("rope", [])
        for other in rope.get("path", [])
        if kind == "grab" and name in (other.get("on"), other.get("tie"))
    ]
    if riders:
        raise EditFault(
            "edit",
            f"{', '.join(riders)} {'hangs' if len(riders) == 1 else 'hang'} on {name}",
            "take that out first, or hang it elsewhere",
        )
    return [TakeStation(place)]
