"""The review of a session: measured against predicted, the JSON object of interface section 6.

Live and review share `review_from`; `review_session` reads a folder and pushes it all at once.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from analysis.analyser import Analyser, Result
from analysis.bodies import Rig
from analysis.efficiency import Estimates, estimate
from analysis.found import Found
from analysis.predict import Model, model
from analysis.rig import load_rig, parse_rig
from analysis.roles import check_places, roles
from analysis.uncertainty import Quantity
from analysis.verdict import agreement
from logger.session_types import Event, SessionInfo

__all__ = ["agreement", "check_places", "review_from", "review_session"]


def review_session(path: str | Path, rig_path: str | Path | None = None) -> dict[str, Any]:
    """The review of a session folder; rig_path: what if it had been this rig.

    Raises SessionFault, RigFault or SensorsFault in one line.
    """
    from logger.session import open_session, read_all

    info = open_session(path)
    rig = parse_rig(info.rig_text, str(info.rig_file)) if rig_path is None else load_rig(rig_path)
    known = model(rig)
    analyser = Analyser.of(roles(rig, info.sensors, known))
    block = read_all(path)
    analyser.push(block, block.clock[-1].time_s if block.clock else -math.inf)
    more = [f"{block.malformed} torn or unreadable rows left out"] if block.malformed else []
    return review_from(info, rig, analyser.result(), known, more)


def review_from(
    info: SessionInfo,
    rig: Rig,
    result: Result,
    known: Model | None = None,
    warnings: list[str] | None = None,
) -> dict[str, Any]:
    """Every key of interface section 6, plain numbers, text and null only.

    result: the analyser's, of a growing or finished session; warnings: more to be said first.
    """
    known = known or model(rig)
    found = estimate(rig, known, result)
    measured = found.actual_ma
    return {
        "title": rig.title,
        "session": str(info.path),
        "state": info.state,
        "started_at": info.started_at,
        "duration_s": _number(result.end_s - result.start_s),
        "readings": {name: s.readings for name, s in result.channels.items()},
        "dropped": {name: s.dropped for name, s in result.channels.items()},
        "ideal_ma": known.ideal_ma,
        "predicted": {
            "model_ma": known.model_ma,
            "model_ma_u": known.model_ma_u,
            "efficiency": known.efficiency,
            "haul_force_N": known.haul_force_N,
            "haul_force_u_N": known.haul_force_u_N,
        },
        "measured": _measured(found),
        "agreement": agreement(known, measured, found.method),
        "strokes": [
            {
                "start_s": s.start_s,
                "end_s": s.end_s,
                "direction": s.direction,
                "haul_travel_m": _number(s.haul_travel_m),
                "load_travel_m": _number(s.load_travel_m),
                "mean_force_N": _number(s.mean_force_N),
                "peak_force_N": _number(s.peak_force_N),
                "work_J": _number(s.work_J),
                "efficiency": _quantity(e),
            }
            for s, e in zip(result.strokes, found.strokes, strict=True)
        ],
        "resets": result.resets,
        "events": _events(result),
        "peaks": peaks(known, result),
        "warnings": [*(warnings or []), *_warnings(info, known, result, found)],
    }


def peaks(known: Model, result: Result) -> list[dict[str, Any]]:
    """Highest force on every strand and element: the highest haul force times its frictionless
    gain, which is never too low while hauling; what a cell measures itself is taken from it."""
    rows: list[dict[str, Any]] = []
    haul = result.roles.haul_force
    top = result.channels[haul.name] if haul else None
    own = {c.at: result.channels[c.name] for c in result.roles.forces[1 if haul else 0 :]}
    for part in known.parts:
        force = time = None
        if top is not None and top.highest is not None:
            force, time = abs(part.ideal) * max(0.0, top.highest), top.highest_s
        cell = own.get(part.name)
        if cell is not None and cell.highest is not None:
            force, time = cell.highest, cell.highest_s
        if force is None:
            continue
        use = None if part.limit_N is None else force / part.limit_N
        rows.append(
            {
                "name": part.name,
                "force_N": _number(force),
                "limit_N": _number(part.limit_N),
                "use": _number(use),
                "time_s": _number(time),
            }
        )
    return rows


def _measured(found: Estimates) -> dict[str, Any]:
    travel = found.travel
    return {
        "haul_force_N": _quantity(found.haul_force),
        "load_force_N": _quantity(found.load_force),
        "load_force_method": found.method,
        "actual_ma": _quantity(found.actual_ma),
        "efficiency": _quantity(found.efficiency),
        "pulley_efficiency": _quantity(found.pulley_efficiency),
        "travel_efficiency": _quantity(travel.efficiency),
        "work_efficiency": _quantity(found.work_efficiency),
        "haul_travel_m": _number(travel.haul_m),
        "load_travel_m": _number(travel.load_m),
        "load_travel_method": travel.method,
        "work_in_J": _number(travel.in_J),
        "work_out_J": _number(found.work_out_J),
        "why_not": "; ".join(found.why_not),
    }


def _events(result: Result) -> list[dict[str, Any]]:
    """Derived events and the rows of events.csv in order of time."""
    rows = [_event(e) for e in result.found] + [_event(e) for e in result.events]
    return sorted(rows, key=lambda row: float(row["time_s"]))


def _event(event: Found | Event) -> dict[str, Any]:
    return {
        "time_s": _number(event.time_s) or 0.0,
        "end_s": _number(event.end_s if isinstance(event, Found) else event.time_s),
        "kind": event.kind,
        "channel": event.channel,
        "value": _number(event.value),
        "text": event.text,
    }


def _warnings(info: SessionInfo, known: Model, result: Result, found: Estimates) -> list[str]:
    lines = [*known.warnings, *found.warnings]
    if info.state == "cut short":
        lines.append("the recording was cut short: what came after is not known")
    elif info.state == "changed":
        lines.append("files were changed after the session was sealed: `haul verify` names them")
    if result.roles.load_length is None:
        lines.append("no counter at the load: a slip cannot be seen, nor a load that stands")
    if result.roles.haul_length is None and result.roles.progress is not None:
        lines.append(
            f"no rope counter at the haul: rope travel comes from {result.roles.progress.name}"
        )
    for name, s in result.channels.items():
        if s.readings == 0:
            lines.append(f"{name}: no reading")
        if s.dropped:
            lines.append(f"{name}: {s.dropped} lines dropped, see rejects.csv")
        if s.late:
            lines.append(f"{name}: {s.late} readings out of order, not used")
        if s.bad:
            lines.append(f"{name}: {s.bad} readings that are no sensible number, not used")
        if s.restarts:
            lines.append(f"{name}: the counter jumped {s.restarts} times; the jumps are left out")
    lines += result.notes
    for name in result.unknown:
        lines.append(f"{name}: readings of a channel that the sensors file does not have, not used")
    if result.ran_back_m > 0.3:
        lines.append(f"the load ran back {result.ran_back_m:.2f} m while nobody pulled")
    if result.untold:
        lines.append(f"{result.untold} more events are not listed")
    if len(info.rigs) > 1:
        lines.append("the rig was changed during the session; this review takes the first for all")
    return list(dict.fromkeys(lines))


def _quantity(quantity: Quantity | None) -> dict[str, Any] | None:
    if quantity is None or not all(
        math.isfinite(x) for x in (quantity.value, quantity.u, quantity.U95)
    ):
        return None
    row = quantity.json()
    return {k: int(v) if k == "n" else float(v) for k, v in row.items()}


def _number(value: float | None) -> float | None:
    """A plain float, or None where it is unknown or not finite."""
    return None if value is None or not math.isfinite(value) else float(value)
