"""Says where in a rig a channel may sit, as a list and as touched on the drawing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from analysis.mechanics.model import PartLoad, model, parts, travel_gain
from analysis.rig.rig import Rig
from dashboard.text.units import number
from logger.errors import CallFault, RigFault


@dataclass(frozen=True)
class ChannelSpot:
    """A place in the rig where a channel may sit."""

    at: str  # as the sensors file names it
    text: str  # for people
    usual: bool  # whether most rigs have their cell or counter there


HAUL_SPOT = {
    "force": "the haul strand, which the team pulls",
    "length": "rope taken in at the haul",
}
LOAD_SPOT = {"force": "the load", "length": "the way of the load"}


def spots(rig: Rig | None, quantity: str) -> tuple[ChannelSpot, ...]:
    """The places for a force or a length, the usual ones first; without a rig those of every rig."""
    usual = (
        ChannelSpot("haul", HAUL_SPOT[quantity], True),
        ChannelSpot("load", LOAD_SPOT[quantity], True),
    )
    return usual if rig is None else (*usual, *_further(rig, quantity))


@lru_cache(maxsize=16)  # speed only: every look at the page asks again
def _further(rig: Rig, quantity: str) -> tuple[ChannelSpot, ...]:
    made = []
    haul = rig.stations[rig.haul].name
    for piece in parts(rig):
        if piece.name in ("haul", "load", haul) or _is_haul_strand(rig, piece.name):
            continue
        if quantity == "length" and not _counts(rig, piece):
            continue
        ends = piece.name.split(">")
        text = f"strand from {ends[0]} to {ends[-1]}"
        if piece.kind != "strand":
            text = "the anchor" if piece.name == "anchor" else f"{piece.kind} {piece.name}"
        made.append(ChannelSpot(piece.name, text, False))
    return tuple(made)


def _counts(rig: Rig, piece: PartLoad) -> bool:
    """Whether a counter can sit at this piece."""
    if piece.kind != "pulley":
        return False
    try:
        travel_gain(rig, piece.name)
    except RigFault:
        return False
    return True


def touched_spot(rig: Rig | None, quantity: str, touched: Any) -> str:
    """The place that was touched on the drawing; raises CallFault where no channel can sit there.

    touched: {"strand": index} or {"element": name}, as a browser says.
    """
    name: Any = None
    if rig is not None and isinstance(touched, Mapping):
        index = touched.get("strand")
        if type(index) is int and 0 <= index < len(rig.strands):
            name = rig.strands[index].name
            if _is_haul_strand(rig, name) or name == rig.stations[rig.haul].name:
                name = "haul"
        elif isinstance(touched.get("element"), str):
            name = touched["element"]
            if name == rig.stations[rig.haul].name:
                name = "haul"
    return known_spot(rig, quantity, name)


def known_spot(rig: Rig | None, quantity: str, at: Any) -> str:
    """The place, if a channel can sit there; raises CallFault."""
    there = spots(rig, quantity)
    if not any(one.at == at for one in there):
        what = "a cell" if quantity == "force" else "a counter"
        names = ", ".join(one.at for one in there[:12])
        raise CallFault("where", f"{what} cannot sit there", f"choose one of {names}")
    return str(at)


def spot_text(at: str, quantity: str) -> str:
    """A place for people, also one that the rig does not have."""
    if at in ("haul", "load"):
        return (HAUL_SPOT if at == "haul" else LOAD_SPOT)[quantity]
    first, arrow, last = at.partition(">")
    return f"the strand from {first} to {last}" if arrow else at


def strand_labels(rig: Rig) -> tuple[str, ...]:
    """The label of each strand: its tension in multiples of the haul tension T."""
    return tuple(f"{number(float(t))} T" for t in model(rig).tension)


def _is_haul_strand(rig: Rig, name: str) -> bool:
    """Whether this is the strand that the team pulls."""
    ends = name.split(">")
    return len(ends) == 2 and rig.stations[rig.haul].name in ends
