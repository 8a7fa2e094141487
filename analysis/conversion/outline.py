"""Lists the stations of a rig file in rope order, as a conversion compares them."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from analysis.mechanics.kinematics import Motion, solve_motion
from analysis.rig.rig import Rig
from analysis.rig_edit.edits import kind_of
from analysis.rig_file.load import parse_rig
from logger.errors import RigFault
from logger.toml_tables import parse_toml

BODY_KINDS = ("grab", "edge")  # stations that may be a body by themselves


@dataclass(frozen=True, eq=False)
class Spot:
    """A station of a rig file where it stands."""

    rope: int  # index of its rope
    place: int  # index in the path
    name: str  # of the station; of a tie, its body; "free" of a free tail
    kind: str  # tie | grab | pulley | capture | edge | haul | free
    on: str  # name of the body that it acts on; "" where it has none
    values: Mapping[str, Any]  # its keys as written, the place along the haul axis in at_m


@dataclass(frozen=True, eq=False)
class Outline:
    """A checked rig with its file as values and its stations in order."""

    document: Mapping[str, Any]  # the file as values
    rig: Rig  # the rig
    ropes: tuple[tuple[Spot, ...], ...]  # stations of each rope, in rope order

    @cached_property
    def motion(self) -> Motion:
        """How the rig moves; it gives the direction in which each capture lets rope run."""
        return solve_motion(self.rig)

    @cached_property
    def capture_run(self) -> dict[str, int]:
        """By capture, +1 where it lets rope run in rope order, -1 where it lets it run back."""
        return {
            self.rig.stations[s].name: 1 if self.motion.flow[s] >= 0 else -1
            for s in self.rig.captures
        }

    @property
    def bodies(self) -> tuple[str, ...]:
        """Names of grabs, plates, further anchors and edges, in file order."""
        return tuple(body.name for body in self.rig.bodies[2:])

    def kind(self, body: str) -> str:
        """Kind of a body by its name."""
        return self.rig.bodies[self.rig.index[body]].kind


def outline(text: str, file: str) -> Outline:
    """Read and check a rig file; raises RigFault, which names `file`."""
    return _outlined(parse_toml(text, file, RigFault), parse_rig(text, file))


def reversed_rope(rig: Outline) -> Outline:
    """The same rig with the rope that is hauled read from its other end; raises RigFault where a path
    has to end with a free tail."""
    from analysis.rig_edit.toml_text import document_text

    document = copy.deepcopy(dict(rig.document))
    rope = rig.rig.stations[rig.rig.haul].rope
    document["rope"][rope]["path"].reverse()
    text = document_text(document)
    return outline(text, rig.rig.file)


def scaled(rig: Outline, anchor_to_load_m: float) -> Outline:
    """The same rig on a haul of another length, its travelling bodies moved in proportion."""
    ratio = anchor_to_load_m / float(rig.rig.start_m[1])
    if abs(ratio - 1.0) < 1e-9:
        return rig
    ropes = tuple(
        tuple(
            Spot(
                rope=spot.rope,
                place=spot.place,
                name=spot.name,
                kind=spot.kind,
                on=spot.on,
                values={
                    key: round(value * ratio, 3) if key == "at_m" and spot.kind == "grab" else value
                    for key, value in spot.values.items()
                },
            )
            for spot in rope
        )
        for rope in rig.ropes
    )
    document = copy.deepcopy(dict(rig.document))
    for name, plate in document.get("plate", {}).items():
        at_m = float(rig.rig.start_m[rig.rig.index[name]])
        rest = {key: value for key, value in plate.items() if not key.startswith("at_")}
        document["plate"][name] = {"at_m": round(at_m * ratio, 3), **rest}
    return Outline(document, rig.rig, ropes)


def _outlined(document: Mapping[str, Any], rig: Rig) -> Outline:
    ropes = []
    for r, rope in enumerate(document["rope"]):
        spots = []
        for place, station in enumerate(rope["path"]):
            kind = kind_of(station)
            name = "free" if kind == "free" else str(station[kind])
            own = kind in BODY_KINDS and "on" not in station
            on = name if own or kind == "tie" else str(station.get("on", ""))
            values = dict(station)
            if own:
                values = {key: one for key, one in values.items() if not key.startswith("at_")}
                values["at_m"] = float(rig.start_m[rig.index[name]])
            spots.append(
                Spot(rope=r, place=place, name=name, kind=kind, on=on, values=values)
            )  # fmt: skip
        ropes.append(tuple(spots))
    return Outline(document, rig, tuple(ropes))
