"""Defines the edits that make two ropes of one: a cut that a plate joins, a new rope that pulls on the first.

Each has its opposite or is undone; whether the rig can work afterwards is not asked here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis.rig_edit.edits import (
    Document,
    StationPlace,
    kind_of,
    names_in,
    path_of,
    refused_edit,
    rope_at,
    station_at,
)

# keys of a rope that say what kind of rope it is; a piece of it is of the same kind
_KIND_OF_ROPE = ("diameter_", "mbs_", "preset", "stretch_")


@dataclass(frozen=True)
class CutRope:
    """Cut a rope at one of its strands; a plate joins the two ends."""

    place: StationPlace  # of the station at the strand's end
    plate: str  # name of the plate
    at_m: float  # place of the plate along the haul axis, m from the anchor
    name: str  # of the new rope, from the cut to the old one's last end

    def change(self, document: Document) -> None:
        """Put the plate in, end the rope at it, and begin the new one there."""
        path = path_of(document, self.place.rope)
        if not 0 < self.place.station < len(path):
            raise refused_edit("there is no strand", "touch the rope between two of its stations")
        for name in (self.plate, self.name):
            if name in names_in(document):
                raise refused_edit(f'the name "{name}" is taken', "choose another name")
        rope = rope_at(document, self.place.rope)
        beyond = [dict(station) for station in path[self.place.station :]]
        del path[self.place.station :]
        path.append({"tie": self.plate})
        kept = {key: rope[key] for key in rope if key.startswith(_KIND_OF_ROPE)}
        document["rope"].append({"name": self.name, **kept, "path": [{"tie": self.plate}, *beyond]})
        document.setdefault("plate", {})[self.plate] = {"at_m": self.at_m}


@dataclass(frozen=True)
class JoinRopes:
    """Take a plate out and make one rope of the two that it joins."""

    plate: str  # name of the plate

    def change(self, document: Document) -> None:
        """Put the second rope's stations behind the first one's."""
        if self.plate not in document.get("plate", {}):
            raise refused_edit(f'there is no plate "{self.plate}"', "read the rig again")
        ends, begins = [], []
        for number, rope in enumerate(document.get("rope", [])):
            path = rope.get("path", [])
            here = [k for k, station in enumerate(path) if self.plate in _bodies(station)]
            ends += [number for k in here if k == len(path) - 1 and kind_of(path[k]) == "tie"]
            begins += [number for k in here if k == 0 and kind_of(path[k]) == "tie"]
            if any(k not in (0, len(path) - 1) for k in here):
                raise refused_edit(f"something hangs on {self.plate}", "take that out first")
        if len(ends) != 1 or len(begins) != 1 or ends == begins:
            raise refused_edit(
                f"{self.plate} does not join the end of one rope to the beginning of another",
                "take its ropes out one by one",
            )
        first, second = path_of(document, ends[0]), path_of(document, begins[0])
        beyond = [dict(station) for station in second[1:]]
        del first[len(first) - 1]
        for station in beyond:
            first.append(station)
        del document["rope"][begins[0]]
        del document["plate"][self.plate]
        if not document["plate"]:
            del document["plate"]


@dataclass(frozen=True)
class HandOver:
    """Let a new rope do the hauling: the old one ends in a slack tail."""

    place: StationPlace  # of the old haul
    name: str  # of the new rope
    stations: tuple[tuple[tuple[str, Any], ...], ...]  # of the new rope, without the haul

    def change(self, document: Document) -> None:
        """Move the haul to the new rope."""
        path, haul = station_at(document, self.place)
        if kind_of(haul) != "haul" or self.place.station != len(path) - 1:
            raise refused_edit(
                "the rope's last end is not hauled", "touch a strand of the rope that is hauled"
            )
        if self.name in names_in(document):
            raise refused_edit(f'the name "{self.name}" is taken', "choose another name")
        values = dict(haul)
        del path[self.place.station]
        path.append({"free": True})
        document["rope"].append(
            {"name": self.name, "path": [*(dict(one) for one in self.stations), values]}
        )


def _bodies(station: Any) -> tuple[Any, Any]:
    return station.get("tie"), station.get("on")
