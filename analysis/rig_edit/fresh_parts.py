"""Proposes names and places for parts that are put into a rig, so that nobody has to type them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.rig_edit.edits import Document, StationPlace, Value, kind_of, names_in, path_of
from logger.file_keys import UNIT_SUFFIXES

# how far along its strand a new grab sits, from the end that is nearer the load; chosen by us: far
# enough to leave a stroke, near enough that its reset is short
GRAB_SHARE = 0.15
ROPE_WORD = "rope"  # before the number of a rope that a touch made
LETTERS = {"grab": "G", "capture": "C", "edge": "E", "plate": "B", "further_anchor": "P", "gear": "K"}  # fmt: skip


def fresh_name(document: Document, kind: str, on: str = "") -> str:
    """The first free name for a part: A1 on an anchor, L1 on the load, T1 on a grab, G1 for a grab.

    kind: of the station or table; on: the body that a pulley hangs on.
    """
    letter = LETTERS.get(kind)
    if letter is None:
        bodies = {
            "anchor": "A",
            "load": "L",
            **dict.fromkeys(document.get("further_anchor", {}), "A"),
        }
        letter = bodies.get(on, "T")
    names = names_in(document)
    number = 1
    while f"{letter}{number}" in names:
        number += 1
    return f"{letter}{number}"


def fresh_rope(document: Document) -> str:
    """The first free name for a rope: "rope 2"."""
    names = names_in(document)
    number = 2
    while f"{ROPE_WORD} {number}" in names:
        number += 1
    return f"{ROPE_WORD} {number}"


def body_places(document: Document) -> dict[str, float]:
    """Where each body stands along the haul axis, m, by name; a body without a place is left out."""
    places = {"anchor": 0.0}
    load = stated_m(document, "anchor_to_load")
    if load is not None:
        places["load"] = load
    for kind in ("further_anchor", "plate"):
        for name, row in document.get(kind, {}).items():
            at = stated_m(row, "at")
            if at is not None:
                places[name] = at
    for rope in document.get("rope", []):
        for station in rope.get("path", []):
            kind = kind_of(station)
            at = stated_m(station, "at")
            if kind in ("grab", "edge") and at is not None:
                places[str(station[kind])] = at
    return places


def strand_span(document: Document, place: StationPlace) -> tuple[float, float]:
    """Where the strand before this place in the path begins and ends along the haul axis, m.

    An end that isn't known, such as a haul taken from the ground, counts as the anchor's place.
    """
    path = path_of(document, place.rope)
    places = body_places(document)

    def at(index: int) -> float:
        """Place of the station with this index along the haul axis, m."""
        if not 0 <= index < len(path):
            return 0.0
        station = path[index]
        kind = kind_of(station)
        body = station.get("tie") if kind == "tie" else station.get("on", station.get(kind))
        return places.get(str(body), 0.0)

    return at(place.station - 1), at(place.station)


def fresh_at_m(document: Document, place: StationPlace) -> float:
    """Where a new grab or edge sits on the strand before this place, metres from the anchor.

    It sits nearer the far end than any grab that is there, so that what hangs on it later leaves those
    within their strands.
    """
    start, end = strand_span(document, place)
    far, near = max(start, end), min(start, end)
    usual = far - GRAB_SHARE * (far - near)
    others = [
        at for name, at in body_places(document).items()
        if name not in ("anchor", "load") and near < at < far
    ]  # fmt: skip
    beyond = max(others, default=near)
    return round(usual if usual > beyond else (beyond + far) / 2, 2)


def fresh_station(
    document: Document, kind: str, place: StationPlace, on: str = "anchor"
) -> tuple[tuple[str, Value], ...]:
    """The keys of a new station at this place, named and placed; on: the body of a pulley or capture."""
    name = fresh_name(document, kind, on)
    if kind in ("pulley", "capture"):
        return ((kind, name), ("on", on))
    if kind == "grab":
        return ((kind, name), ("at_m", fresh_at_m(document, place)))
    if kind == "edge":
        return ((kind, name), ("at_m", fresh_at_m(document, place)), ("wrap_deg", 90.0), ("friction", 0.3))  # fmt: skip
    if kind == "tie":
        return ((kind, on),)
    return ((kind, True),) if kind == "free" else ((kind, "team"),)


def stated_m(row: Mapping[str, Any], stem: str) -> float | None:
    """The length that a table gives under this key in any unit, m; None where it gives none."""
    for unit, size in UNIT_SUFFIXES["length"].items():
        value = row.get(f"{stem}_{unit}")
        if isinstance(value, int | float) and not isinstance(value, bool):
            return float(value) * size
    return None
