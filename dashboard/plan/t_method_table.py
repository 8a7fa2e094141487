"""The T-method as a table: tension on every strand in rope order, and the sum that each station makes."""

from __future__ import annotations

from html import escape

import numpy as np

from analysis.mechanics.model import Model
from analysis.mechanics.working_limits import RigPart
from analysis.rig.rig import Floats, Rig

BARE = 1e-9


def steps_table(known: Model) -> str:
    """Rope order, station by station, ideal beside with friction; the proof that an instructor shows."""
    rig = known.rig
    pieces = {p.name: p for p in known.pieces if p.kind != "strand"}
    body = ""
    for rope in rig.ropes:
        many = f"rope {rope.name}" if len(rig.ropes) > 1 else "in rope order"
        body += (
            f'<tr class="parting"><th>{escape(many)}</th><th>ideal</th><th>with friction</th></tr>'
        )
        for s in rope.stations:
            body += _station(rig, s, pieces, known)
            if s in rig.after:
                k = rig.after[s]
                name = rig.strands[k].name
                hauled = " (haul)" if k == rig.haul_strand else ""
                body += (
                    f'<tr class="strand"><th scope="row">{escape(name)}{hauled}</th>'
                    f"<td>{_t(known.ideal_tension[k])}</td><td>{_t(known.tension[k])}</td></tr>"
                )
    ideal, real = (_load_sum(known, t) for t in (known.ideal_tension, known.tension))
    body += f'<tr class="sum"><th scope="row">on the load</th><td>{ideal}</td><td>{real}</td></tr>'
    note = '<p class="note">T is the haul tension: what each strand carries, and the sum at each station.</p>'
    return f'{note}<table class="tmethod">{body}</table>'


def _station(rig: Rig, s: int, pieces: dict[str, RigPart], known: Model) -> str:
    station = rig.stations[s]
    on = "" if station.body is None else rig.bodies[station.body].name
    said = {
        "tie": f"tied to {on}", "free": "slack tail",
        "haul": f"{station.name} hauls" + (f" on the {on}" if on else ""),
        "pulley": f"pulley {station.name}: pulls {on} with", "grab": f"grab {station.name}: brings in",
        "capture": f"capture {station.name}: drags", "edge": f"edge {station.name}: takes",
    }[station.kind]  # fmt: skip
    cells = ["", ""]
    if station.kind in ("pulley", "grab", "capture", "edge"):
        cells = [
            _sum(rig, s, pieces[station.name], t) for t in (known.ideal_tension, known.tension)
        ]
    return (
        f'<tr class="station"><th scope="row">{escape(said)}</th>'
        f"<td>{cells[0]}</td><td>{cells[1]}</td></tr>"
    )


def _sum(rig: Rig, s: int, piece: RigPart, tension: Floats) -> str:
    """The addition at a station: two strands on a pulley, what a grab adds to a strand."""
    a, b = float(tension[rig.before[s]]), float(tension[rig.after[s]])
    force = piece.force(tension)
    kind = rig.stations[s].kind
    if kind == "grab":
        low, high = sorted((a, b))
        return f"{_n(low)} + <b>{_n(force)}</b> = {_t(high)}"
    if kind in ("capture", "edge"):
        return (
            f"{_n(max(a, b))} − {_n(min(a, b))} = {_t(abs(a - b))}"
            if abs(a - b) > BARE
            else "nothing"
        )
    if abs(a + b - force) < 1e-6 * max(1.0, force):
        return f"{_n(a)} + {_n(b)} = <b>{_t(force)}</b>"
    return f"{_n(a)} and {_n(b)} at an angle: <b>{_t(force)}</b>"


def _load_sum(known: Model, tension: Floats) -> str:
    """What pulls on the load, strand by strand."""
    row = np.zeros(len(tension))
    toward = known.system.toward
    for k, strand in enumerate(known.rig.strands):
        for s, sign in ((strand.start, -1.0), (strand.end, 1.0)):
            if known.rig.stations[s].body == 1:
                row[k] += sign * float(toward[k, 0])
    terms = [
        (f"{_n(abs(row[k] * tension[k]))}", row[k]) for k in np.flatnonzero(np.abs(row) > BARE)
    ]
    whole = float(row @ tension)
    if len(terms) < 2:
        return f"<b>{_t(whole)}</b>"
    text = "".join((" + " if r > 0 else " − ") + t for t, r in terms).removeprefix(" + ")
    return f"{text} = <b>{_t(whole)}</b>"


def _n(value: float) -> str:
    places = 2 if abs(value) < 9.995 else 1 if abs(value) < 99.95 else 0
    number = f"{value:.{places}f}"
    return number.rstrip("0").rstrip(".") if "." in number and number.endswith("00") else number


def _t(value: float) -> str:
    return f"{_n(float(value))}\u00a0T"
