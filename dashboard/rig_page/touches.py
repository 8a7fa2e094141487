"""Reads what was touched on the drawing or in the list: a strand, a part or a body."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.rig.rig import Rig
from analysis.rig_edit.edits import StationPlace, kind_of


@dataclass(frozen=True)
class Chosen:
    """What the menu is about."""

    kind: str  # "strand", "part", "body", "which" and "grabs" for a question, "" for nothing
    place: StationPlace | None = None  # of a part; of a strand, the station at its end
    body: str = ""  # name of a body


NOTHING = Chosen("")


def chosen(data: Any, document: Mapping[str, Any], rig: Rig | None) -> Chosen:
    """What a browser says was touched, checked against the draft; NOTHING where it is not there.

    data: {"strand": index}, {"element": name}, {"place": [rope, station]}, {"gap": [rope, station]} or
    {"ask": "which"} or {"ask": "grabs"}; document: the draft's TOML; rig: the drawn rig, which gives the strands.
    """
    if not isinstance(data, dict):
        return NOTHING
    if data.get("ask") in ("which", "grabs"):
        return Chosen(data["ask"])
    if rig is not None and isinstance(data.get("strand"), int):
        return _strand(data["strand"], rig)
    for key, kind in (("place", "part"), ("gap", "strand")):
        place = _place(data.get(key), document, last=kind == "strand")
        if place is not None:
            return Chosen(kind, place)
    name = data.get("element")
    return _named(name, document) if isinstance(name, str) else NOTHING


def _strand(number: int, rig: Rig) -> Chosen:
    """The strand with this index."""
    if not 0 <= number < len(rig.strands):
        return NOTHING
    strand = rig.strands[number]
    rope = rig.ropes[strand.rope]
    return Chosen("strand", StationPlace(strand.rope, rope.stations.index(strand.end)))


def _place(pair: Any, document: Mapping[str, Any], last: bool) -> StationPlace | None:
    """A checked place; last: whether the place behind the last station counts."""
    if not (isinstance(pair, list) and len(pair) == 2 and all(type(n) is int for n in pair)):
        return None
    rope, station = pair
    ropes = document.get("rope", [])
    if not 0 <= rope < len(ropes):
        return None
    length = len(ropes[rope].get("path", [])) + (1 if last else 0)
    return StationPlace(rope, station) if 0 <= station < length else None


def _named(name: str, document: Mapping[str, Any]) -> Chosen:
    """The part or the body of this name."""
    for r, rope in enumerate(document.get("rope", [])):
        for s, station in enumerate(rope.get("path", [])):
            kind = kind_of(station)
            if kind not in ("tie", "free", "") and station[kind] == name:
                return Chosen("part", StationPlace(r, s))
    if name in ("anchor", "load") or any(
        name in document.get(kind, {}) for kind in ("further_anchor", "plate", "gear")
    ):
        return Chosen("body", None, name)
    return NOTHING
