"""Writes a rig as the text of a rig file, the inverse of `load.parse_rig`, for a rig that was fitted."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from analysis.rig.rig import Rating, Rig, Station


def rig_toml(rig: Rig) -> str:
    """TOML text of a rig (interface section 1), without defaults; lengths are rounded to 0.1 mm."""
    lines = [f"title = {_text(rig.title)}"]
    if rig.note:
        lines.append(f"note = {_text(rig.note)}")
    if rig.source:
        lines.append(f"source = {_text(rig.source)}")
    lines.append(f"anchor_to_load_m = {_number(float(rig.start_m[1]))}")
    lines.append(f"clearance_m = {_number(rig.clearance_m)}")
    default = next((s for s in rig.stations if s.shared), None)
    if default is not None and not rig.default_assumed:
        lines += _table("defaults", {
            "pulley_efficiency": default.efficiency, "pulley_efficiency_u": rig.default_u,
        })  # fmt: skip
    lines += _table("load", _load(rig))
    team = {"pull_N": rig.team_pull_N, "people": rig.people, "stand_m": rig.stand_m or None}
    lines += _table("team", team)
    lines += _table("limits", {"design_factor": rig.design_factor})
    lines += _table("anchor", _rating(rig, "anchor"))
    for body in rig.bodies:
        if body.kind == "further_anchor":
            place = {"at_m": body.x_m, "offset_m": body.y_m or None}
            lines += _table(f"further_anchor.{_key(body.name)}", place | _rating(rig, body.name))
        elif body.kind == "plate":
            lines += _table(
                f"plate.{_key(body.name)}", {"at_m": body.x_m} | _rating(rig, body.name)
            )
    for rope in rig.ropes:
        own = {
            "length_m": rope.length_m, "diameter_mm": rope.diameter_mm, "mbs_kN": _kilo(rope.mbs_N),
            "preset": rope.preset or None,
            "stretch_percent": None if rope.stretch is None or rope.preset else 100 * rope.stretch,
            "stretch_at_kN": None if rope.preset else _kilo(rope.stretch_at_N), "item": _item(rig, rope.name),
        }  # fmt: skip
        lines += ["", "[[rope]]", f"name = {_text(rope.name)}", *_pairs(own), "path = ["]
        lines += [f"  {_station(rig, rig.stations[s])}," for s in rope.stations] + ["]"]
    for station in rig.stations:
        if station.kind in ("pulley", "grab", "capture", "edge"):
            lines += _table(f"{station.kind}.{_key(station.name)}", _detail(rig, station))
    for gear in rig.gears:
        what: dict[str, Any] = {"carries": list(gear.carries), "kind": gear.kind}
        lines += _table(f"gear.{_key(gear.name)}", what | _rating(rig, gear.name))
    return "\n".join(lines) + "\n"


def _load(rig: Rig) -> dict[str, Any]:
    load = rig.load
    return {
        "kind": load.kind, "mass_kg": load.mass_kg, "mass_kg_u": load.mass_u_kg,
        "slope_deg": math.degrees(load.slope_rad) or None,
        "resistance_coefficient": load.coefficient, "resistance_coefficient_u": load.coefficient_u,
        "resistance_N": load.resistance_N, "resistance_u_N": load.resistance_u_N,
        "breakaway": load.breakaway, "breakaway_u": load.breakaway_u,
        "pull_distance_m": load.pull_distance_m,
    } | _rating(rig, "load")  # fmt: skip


def _station(rig: Rig, station: Station) -> str:
    on = "" if station.body is None else rig.bodies[station.body].name
    row: dict[str, Any] = {station.kind: station.name}
    if station.kind == "tie":
        row = {"tie": on, "knot": station.knot or None}
        row["strength"] = None if station.knot else station.strength
    elif station.kind == "free":
        row = {"free": True}
    elif station.kind == "haul":
        row |= {"on": on or None, "toward_deg": station.toward_deg or None}
    elif station.kind == "grab":
        row["at_m"] = rig.bodies[rig.index[station.name]].x_m
    elif station.kind == "edge":
        own = rig.bodies[rig.index[on]].kind == "edge"
        row |= {"at_m": rig.bodies[rig.index[on]].x_m} if own else {"on": on}
        row |= {"wrap_deg": math.degrees(station.wrap_rad)}
        row |= {
            "friction": -math.log(station.efficiency) / station.wrap_rad
            if station.wrap_rad
            else 0.0
        }
    else:
        row["on"] = on
    return "{ " + ", ".join(_pairs(row)) + " }"


def _detail(rig: Rig, station: Station) -> dict[str, Any]:
    row = _rating(rig, station.name)
    if station.kind == "edge":
        slope = station.efficiency * station.wrap_rad
        return row | ({"friction_u": station.efficiency_u / slope} if slope else {})
    if station.kind == "capture":
        row |= {"setback_m": station.setback_m or None}
        if station.efficiency != 1.0 or station.efficiency_u:
            row |= {"efficiency": station.efficiency, "efficiency_u": station.efficiency_u}
    elif station.preset:
        row |= {"preset": station.preset}
    elif station.kind == "pulley" and not station.shared:
        row |= {"efficiency": station.efficiency, "efficiency_u": station.efficiency_u}
    return row


def _rating(rig: Rig, name: str) -> dict[str, Any]:
    rating = rig.ratings.get(name, Rating())
    return {
        "mbs_kN": _kilo(rating.mbs_N), "wll_kN": _kilo(rating.wll_N),
        "preset": rating.preset or None,
        "slips_at_kN": None if rating.preset else _kilo(rating.slips_N),
        "slips_at_u_kN": None if rating.preset else _kilo(rating.slips_u_N),
        "damages_rope_at_kN": None if rating.preset else _kilo(rating.damages_N),
        "item": rating.item or None,
    }  # fmt: skip


def _item(rig: Rig, name: str) -> str | None:
    return rig.ratings.get(name, Rating()).item or None


def _table(name: str, row: Mapping[str, Any]) -> list[str]:
    pairs = _pairs(row)
    return ["", f"[{name}]", *pairs] if pairs else []


def _pairs(row: Mapping[str, Any]) -> list[str]:
    return [f"{key} = {_value(value)}" for key, value in row.items() if value is not None]


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return _number(value)
    if isinstance(value, list):
        return "[" + ", ".join(_text(item) for item in value) + "]"
    return _text(value)


def _number(value: float) -> str:
    rounded = round(float(value), 4)
    return repr(rounded if math.isclose(rounded, value, rel_tol=1e-6) else float(value))


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False)


def _key(name: str) -> str:
    plain = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    return name if plain else _text(name)


def _kilo(newton: float | None) -> float | None:
    return None if newton is None else newton / 1000.0
