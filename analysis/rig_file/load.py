"""Loads a rig file (TOML) and checks that the rig can work.

`load_rig` and `parse_rig` raise RigFault, one line with the table, key or station that is wrong and
what to write instead.  The rig that they return moves the load toward the anchor in exactly one way,
with every strand in tension.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from analysis.mechanics.kinematics import TINY, directions, solve_motion, why_not_moving
from analysis.mechanics.tension import load_row, system, tensions
from analysis.rig.rig import TURNS, Rig
from analysis.rig_file.parser import read_rig
from logger.errors import RigFault
from logger.toml_tables import CHANNELS, ROPES, parse_toml, read_text


def load_rig(path: str | Path) -> Rig:
    """Read and check the rig in this file; raises RigFault."""
    return parse_rig(read_text(path, RigFault), str(path))


def parse_rig(text: str, file: str) -> Rig:
    """Read and check the rig in this TOML text; raises RigFault, which names `file`."""
    data = parse_toml(text, file, RigFault)
    if CHANNELS in data and ROPES not in data:
        raise RigFault(
            file, "this is a sensors file, not a rig file", "give the rig file in its place"
        )
    rig = read_rig(data, file)
    check(rig)
    return rig


def sketch_rig(text: str, file: str) -> Rig:
    """The rig in this TOML text as far as it can be drawn; it need not be able to work.

    Raises RigFault, which names `file`, where a table can't be read.
    """
    return read_rig(parse_toml(text, file, RigFault), file, whole=False)


def check(rig: Rig) -> None:
    """Raise RigFault for a rig that cannot work.

    Refused are grabs outside their strand, a rig without exactly one motion, slack strands, and bodies
    without load.
    """
    _check_places(rig)
    why = why_not_moving(rig)
    if why:
        raise RigFault(rig.file, why[1], why[2], why[0])
    motion = solve_motion(rig)
    _check_room(rig, motion.body_rate)
    sys = system(rig, motion)
    try:
        tension = tensions(sys, np.ones(len(rig.turns)))
    except np.linalg.LinAlgError:
        raise RigFault(
            rig.file, "its forces have no single solution", "tie every body into one loaded rope"
        ) from None
    slack = {
        k
        for k, s in enumerate(rig.strands)
        if _leads_to_free(rig, k) or rig.stations[s.end].kind == "free"
    }
    for k, strand in enumerate(rig.strands):
        if tension[k] < -TINY:
            raise RigFault(
                rig.file,
                f"would have to push ({tension[k]:.3g} times the haul tension), and rope only pulls",
                "lead the rope round the other way, or take it out",
                f"strand {strand.name}",
            )
        if tension[k] < TINY and k not in slack:
            raise RigFault(
                rig.file,
                "stays slack while hauling",
                "take it out, or end it with { free = true }",
                f"strand {strand.name}",
            )
    for k, body in enumerate(rig.bodies):
        if body.kind in ("grab", "plate"):
            force = sum(abs(x) for x in _by_station(rig, sys.toward, tension, k).values())
            if force < TINY:
                raise RigFault(
                    rig.file,
                    "carries nothing while hauling",
                    "hang a pulley or tie a rope on it, or take it out",
                    body.name,
                )
    if float(load_row(rig, sys.toward) @ tension) <= TINY:
        raise RigFault(
            rig.file,
            "is not pulled toward the anchor",
            "tie it to the rope that is hauled",
            "load",
        )


def _by_station(rig: Rig, toward: Any, tension: Any, body: int) -> dict[int, float]:
    """Force along the haul axis of each station on a body, by station index, in the unit of tension."""
    result: dict[int, float] = {}
    for s, station in enumerate(rig.stations):
        if station.body != body:
            continue
        force = 0.0
        if s in rig.after:
            force += float(toward[rig.after[s], 0] * tension[rig.after[s]])
        if s in rig.before:
            force -= float(toward[rig.before[s], 0] * tension[rig.before[s]])
        result[s] = force
    return result


def _leads_to_free(rig: Rig, strand: int) -> bool:
    """Whether only turns lie between this strand and a free tail, so that it has no tension."""
    station = rig.strands[strand].end
    while rig.stations[station].kind in TURNS:
        station = rig.strands[rig.after[station]].end
    return rig.stations[station].kind == "free"


def _check_places(rig: Rig) -> None:
    """Raise RigFault for a grab outside its own strand, or a strand without length."""
    for s, station in enumerate(rig.stations):
        if station.kind != "grab" or station.body is None:
            continue
        x = rig.bodies[station.body].x_m
        beside = [rig.strands[rig.before[s]].start, rig.strands[rig.after[s]].end]
        bodies = [rig.bodies[b] for b in (rig.stations[n].body for n in beside) if b is not None]
        if len(bodies) == 2:
            low, high = sorted(bodies, key=lambda b: b.x_m)
            if not low.x_m < x < high.x_m:
                _check_order(rig, s, x)
                raise RigFault(
                    rig.file,
                    f"at_m = {x:g} is outside its own strand, which runs from {low.name} at {low.x_m:g} m to {high.name} at {high.x_m:g} m",
                    "write a place between them",
                    station.name,
                )
    toward = directions(rig, rig.start_m)
    for k, strand in enumerate(rig.strands):
        a, b = rig.stations[strand.start], rig.stations[strand.end]
        if a.body is None or b.body is None or np.any(toward[k]):
            continue
        if a.body != b.body:
            raise RigFault(
                rig.file,
                f"{rig.bodies[a.body].name} and {rig.bodies[b.body].name} stand at the same place",
                "write different at_m",
                f"strand {strand.name}",
            )
        if "capture" not in (a.kind, b.kind):
            raise RigFault(
                rig.file,
                f"both ends are on {rig.bodies[a.body].name}, so it has no direction",
                "put one of them on another body",
                f"strand {strand.name}",
            )


def _check_order(rig: Rig, grab: int, x_m: float) -> None:
    """Raise RigFault for a grab that belongs on the other side of the captures beside it.

    grab: its station index; x_m: its place.
    """
    name = rig.stations[grab].name
    for step, side, move in ((-1, "behind", "up"), (1, "before", "down")):
        passed = []
        at = grab + step
        while 0 <= at < len(rig.stations) and rig.stations[at].kind == "capture":
            passed.append(rig.stations[at])
            at += step
        if not passed or not 0 <= at < len(rig.stations):
            continue
        places = [station.body for station in (passed[-1], rig.stations[at])]
        if any(body is None for body in places) or rig.stations[at].rope != rig.stations[grab].rope:
            continue
        low, high = sorted(rig.bodies[body].x_m for body in places if body is not None)
        if low < x_m < high:
            lines = "one line" if len(passed) == 1 else f"{len(passed)} lines"
            captures = " and ".join(station.name for station in passed)
            raise RigFault(
                rig.file,
                f"at_m = {x_m:g} is outside its own strand: the grab is written {side} {captures}",
                f"move it {lines} {move}",
                name,
            )


def _check_room(rig: Rig, rate: Any) -> None:
    """Raise RigFault for a rig that is two-blocked before the first pull; rate: (bodies,) m/m."""
    for strand in rig.strands:
        a, b = rig.stations[strand.start].body, rig.stations[strand.end].body
        if a is None or b is None or a == b:
            continue
        step = np.array([rig.start_m[b] - rig.start_m[a], rig.side_m[b] - rig.side_m[a]])
        length = float(np.hypot(*step))
        closing = float(step[0] / length * (rate[b] - rate[a]))
        if closing < -TINY and length <= rig.clearance_m + TINY:
            raise RigFault(
                rig.file,
                f"cannot move: {rig.bodies[a].name} and {rig.bodies[b].name} are {length:g} m apart at the start, clearance_m is {rig.clearance_m:g}",
                "write their places farther apart",
                f"strand {strand.name}",
            )
