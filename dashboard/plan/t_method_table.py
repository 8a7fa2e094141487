"""The T-method as a table: the tension on every strand in rope order, and the sum at each station.

T is the haul tension; every tension is a multiple of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.mechanics.model import Model
from analysis.mechanics.working_limits import RigPart
from analysis.rig.rig import Floats, Rig

BARE = 1e-9


@dataclass(frozen=True)
class Sum:
    """An addition as text: terms, then the result in bold, then what stands after it."""

    terms: str = ""
    result: str = ""
    after: str = ""


@dataclass(frozen=True)
class TMethodRow:
    """One strand or station."""

    kind: str  # class of the row: strand, station or sum
    text: str  # what stands at the row's head
    ideal: Sum | None  # tension or sum without friction; None: empty cell
    real: Sum | None  # the same with friction


@dataclass(frozen=True)
class TMethodRope:
    """One rope of the table."""

    title: str
    rows: tuple[TMethodRow, ...]  # in rope order


def t_method(model: Model) -> list[TMethodRope]:
    """Every rope, station by station, ideal beside with friction."""
    rig = model.rig
    pieces = {piece.name: piece for piece in model.pieces if piece.kind != "strand"}
    ropes = []
    for rope in rig.ropes:
        rows = []
        for s in rope.stations:
            rows.append(_station(rig, s, pieces, model))
            if s in rig.after:
                rows.append(_strand(rig, rig.after[s], model))
        title = f"rope {rope.name}" if len(rig.ropes) > 1 else "in rope order"
        ropes.append(TMethodRope(title, tuple(rows)))
    return ropes


def load_sum(model: Model) -> TMethodRow:
    """What pulls on the load, strand by strand."""
    return TMethodRow(
        kind="sum",
        text="on the load",
        ideal=_load_sum(model, model.ideal_tension),
        real=_load_sum(model, model.tension),
    )


def _strand(rig: Rig, k: int, model: Model) -> TMethodRow:
    hauled = " (haul)" if k == rig.haul_strand else ""
    return TMethodRow(
        kind="strand",
        text=f"{rig.strands[k].name}{hauled}",
        ideal=Sum(_t(model.ideal_tension[k])),
        real=Sum(_t(model.tension[k])),
    )


def _station(rig: Rig, s: int, pieces: dict[str, RigPart], model: Model) -> TMethodRow:
    station = rig.stations[s]
    on = "" if station.body is None else rig.bodies[station.body].name
    text = {
        "tie": f"tied to {on}", "free": "slack tail",
        "haul": f"{station.name} hauls" + (f" on the {on}" if on else ""),
        "pulley": f"pulley {station.name}: pulls {on} with", "grab": f"grab {station.name}: brings in",
        "capture": f"capture {station.name}: drags", "edge": f"edge {station.name}: takes",
    }[station.kind]  # fmt: skip
    sums: list[Sum | None] = [None, None]
    if station.kind in ("pulley", "grab", "capture", "edge"):
        sums = [
            _station_sum(rig, s, pieces[station.name], tension)
            for tension in (model.ideal_tension, model.tension)
        ]
    return TMethodRow(kind="station", text=text, ideal=sums[0], real=sums[1])


def _station_sum(rig: Rig, s: int, piece: RigPart, tension: Floats) -> Sum:
    """The addition at a station: two strands on a pulley, what a grab adds to a strand."""
    a, b = float(tension[rig.before[s]]), float(tension[rig.after[s]])
    low, high = sorted((a, b))
    force = piece.force(tension)
    kind = rig.stations[s].kind
    if kind == "grab":
        return Sum(f"{_n(low)} + ", _n(force), f" = {_t(high)}")
    if kind in ("capture", "edge"):
        if high - low <= BARE:
            return Sum("nothing")
        return Sum(f"{_n(high)} − {_n(low)} = {_t(high - low)}")
    if abs(a + b - force) < 1e-6 * max(1.0, force):
        return Sum(f"{_n(a)} + {_n(b)} = ", _t(force))
    return Sum(f"{_n(a)} and {_n(b)} at an angle: ", _t(force))


def _load_sum(model: Model, tension: Floats) -> Sum:
    row = np.zeros(len(tension))
    toward = model.system.toward
    for k, strand in enumerate(model.rig.strands):
        for s, sign in ((strand.start, -1.0), (strand.end, 1.0)):
            if model.rig.stations[s].body == 1:
                row[k] += sign * float(toward[k, 0])
    pulling = np.flatnonzero(np.abs(row) > BARE)
    total = _t(float(row @ tension))
    if len(pulling) < 2:
        return Sum(result=total)
    terms = "".join(
        (" + " if row[k] > 0 else " − ") + _n(abs(row[k] * tension[k])) for k in pulling
    )
    return Sum(f"{terms.removeprefix(' + ')} = ", total)


def _n(value: float) -> str:
    places = 2 if abs(value) < 9.995 else 1 if abs(value) < 99.95 else 0
    number = f"{value:.{places}f}"
    return number.rstrip("0").rstrip(".") if "." in number and number.endswith("00") else number


def _t(value: float) -> str:
    return f"{_n(float(value))}\u00a0T"
