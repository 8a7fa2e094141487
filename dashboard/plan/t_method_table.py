"""The T-method as a table: the tension on every strand in rope order, and the sum at each station.

T is the haul tension; every tension is a multiple of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.mechanics.model import Model
from analysis.mechanics.working_limits import RigPart
from analysis.rig.rig import Floats, Rig

NOTHING = 1e-9  # a difference of tensions, in T, that is rounding alone


@dataclass(frozen=True)
class Sum:
    """An addition as text; one of its numbers may be bold."""

    terms: str = ""  # text before the bold number
    result: str = ""  # the bold number: the force at the station; "": none
    after: str = ""  # text after the bold number


@dataclass(frozen=True)
class TMethodRow:
    """One row of the table: a strand, a station, or the load."""

    kind: str  # class of the row: strand, station or sum
    text: str  # what stands at the row's head
    ideal: Sum  # tension or sum without friction
    real: Sum  # the same with friction
    rope: str = ""  # title of the rope that begins with this row


def t_method(rig_model: Model) -> list[TMethodRow]:
    """Rope by rope, station by station, ideal beside with friction; then the load."""
    rig = rig_model.rig
    pieces = {piece.name: piece for piece in rig_model.pieces if piece.kind != "strand"}
    rows: list[TMethodRow] = []
    for rope in rig.ropes:
        title = f"rope {rope.name}" if len(rig.ropes) > 1 else "in rope order"
        for s in rope.stations:
            rows.append(_station(rig, s, pieces, rig_model, title))
            title = ""
            if s in rig.after:
                rows.append(_strand(rig, rig.after[s], rig_model))
    ideal, real = (
        _load_sum(rig_model, tension) for tension in (rig_model.ideal_tension, rig_model.tension)
    )
    return [*rows, TMethodRow(kind="sum", text="on the load", ideal=ideal, real=real)]


def _strand(rig: Rig, k: int, rig_model: Model) -> TMethodRow:
    hauled = " (haul)" if k == rig.haul_strand else ""
    return TMethodRow(
        kind="strand",
        text=f"{rig.strands[k].name}{hauled}",
        ideal=Sum(_t(rig_model.ideal_tension[k])),
        real=Sum(_t(rig_model.tension[k])),
    )


def _station(
    rig: Rig, s: int, pieces: dict[str, RigPart], rig_model: Model, title: str
) -> TMethodRow:
    """title: of the rope, where station number s begins it."""
    station = rig.stations[s]
    on = "" if station.body is None else rig.bodies[station.body].name
    text = {
        "tie": f"tied to {on}", "free": "slack tail",
        "haul": f"{station.name} hauls" + (f" on the {on}" if on else ""),
        "pulley": f"pulley {station.name}: pulls {on} with", "grab": f"grab {station.name}: adds",
        "capture": f"capture {station.name}: friction takes", "edge": f"edge {station.name}: friction takes",
    }[station.kind]  # fmt: skip
    sums = [Sum(), Sum()]
    if station.kind in ("pulley", "grab", "capture", "edge"):
        sums = [
            _station_sum(rig, s, pieces[station.name], tension)
            for tension in (rig_model.ideal_tension, rig_model.tension)
        ]
    return TMethodRow(kind="station", text=text, ideal=sums[0], real=sums[1], rope=title)


def _station_sum(rig: Rig, s: int, piece: RigPart, tension: Floats) -> Sum:
    """The addition at station number s: two strands on a pulley, what a grab adds, what friction
    takes.

    tension: of each strand (n,), in T.
    """
    a, b = float(tension[rig.before[s]]), float(tension[rig.after[s]])
    low, high = sorted((a, b))
    force = piece.force(tension)
    kind = rig.stations[s].kind
    if kind == "grab":
        return Sum(f"{_n(low)} + ", _n(force), f" = {_t(high)}")
    if kind in ("capture", "edge"):
        if high - low <= NOTHING:
            return Sum("nothing")
        return Sum(f"{_n(high)} − {_n(low)} = {_t(high - low)}")
    if abs(a + b - force) < 1e-6 * max(1.0, force):
        return Sum(f"{_n(a)} + {_n(b)} = ", _t(force))
    return Sum(f"{_n(a)} and {_n(b)} at an angle: ", _t(force))


def _load_sum(rig_model: Model, tension: Floats) -> Sum:
    """What pulls on the load, strand by strand.  tension: of each strand (n,), in T."""
    row = np.zeros(len(tension))
    toward = rig_model.system.toward
    for k, strand in enumerate(rig_model.rig.strands):
        for s, sign in ((strand.start, -1.0), (strand.end, 1.0)):
            if rig_model.rig.stations[s].body == 1:
                row[k] += sign * float(toward[k, 0])
    pulling = np.flatnonzero(np.abs(row) > NOTHING)
    total = _t(float(row @ tension))
    if len(pulling) < 2:
        return Sum(result=total)
    terms = "".join(
        (" + " if row[k] > 0 else " − ") + _n(abs(row[k] * tension[k])) for k in pulling
    )
    return Sum(f"{terms.removeprefix(' + ')} = ", total)


def _n(value: float) -> str:
    """A multiple of T: two decimals below ten, then one, then none; no decimals where they are 0."""
    places = 2 if abs(value) < 9.995 else 1 if abs(value) < 99.95 else 0
    number = f"{value:.{places}f}"
    return number.rstrip("0").rstrip(".") if "." in number and number.endswith("00") else number


def _t(value: float) -> str:
    return f"{_n(float(value))}\u00a0T"
