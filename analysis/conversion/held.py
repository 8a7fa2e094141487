"""Judges whether the load is held at a stage of a conversion, and which moves the held rope allows.

The tensions are those of the model (`analysis.mechanics.tension.hold`): the haul slack, one capture alone, no
friction.  A stage need not be a rig that can haul, so the direction of the capture comes from the rig that
has it.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from analysis.conversion.stages import Edit, Stages, Standing
from analysis.mechanics.kinematics import TINY, Motion, directions
from analysis.mechanics.load_resistance import G, can_run_back, resistance
from analysis.mechanics.tension import hold
from analysis.mechanics.working_limits import parts
from analysis.messages.message import Message, message
from analysis.rig.rig import Floats, Load, Rig

GROUND = "ground"
SLACK_KINDS = ("pulley", "tie", "edge", "haul", "free")  # they change on slack rope alone
SURE = 2.0  # standard uncertainties by which the ground must exceed the slope; JCGM 100:2008, 6.3.3, about 95 %


@dataclass(frozen=True)
class Holder:
    """What holds the load: a capture by its place, or the ground."""

    rope: int  # index into Pairing.ropes; -1 of the ground
    entry: int  # index into its entries; -1 of the ground


ON_GROUND = Holder(-1, -1)


@dataclass(frozen=True, eq=False)
class HeldStage:
    """The rope at one stage while the load is held."""

    standing: tuple[tuple[Standing, ...], ...]  # stations of each rope that is there
    tension: dict[
        tuple[int, int], float
    ]  # by (rope, entry) of its first station: strand tension / load force
    name: str  # of what holds


def held_stage(stages: Stages, done: frozenset[int], holder: Holder) -> HeldStage | None:
    """The rope after these edits while this holder holds the load; None where it does not hold."""
    rig = stages.rig(done)
    if rig is None:
        return None
    standing = tuple(tuple(rope) for rope in stages.standing(done))
    if holder == ON_GROUND:
        zero = {(one.rope, one.entry): 0.0 for rope in standing for one in rope[:-1]}
        return HeldStage(standing, zero, GROUND)
    place = next(
        (one for rope in standing for one in rope if (one.rope, one.entry) == (holder.rope, holder.entry)),
        None,
    )  # fmt: skip
    if place is None:
        return None
    side = stages.new if place.fresh else stages.old
    run = side.capture_run[place.spot.name]
    tension = held_tension(rig, place.name, run)
    if tension is None or over_limit(rig, place.name, run, tension) is not None:
        return None
    strands = [(one.rope, one.entry) for rope in standing for one in rope[:-1]]
    return HeldStage(standing, dict(zip(strands, map(float, tension), strict=True)), place.name)


def held_tension(rig: Rig, capture: str, run: int) -> Floats | None:
    """Strand tensions / load force, (strands,), while this capture holds alone; None where it cannot.

    run: +1 where it lets rope run in rope order, -1 where it lets it run back.
    """
    station = next((s for s in rig.captures if rig.stations[s].name == capture), None)
    if station is None:
        return None
    try:
        return hold(rig, _motion(rig, station, run), directions(rig, rig.start_m), station, 1.0)
    except (np.linalg.LinAlgError, ValueError, KeyError):
        return None


def _motion(rig: Rig, station: int, run: int) -> Motion:
    """A motion that tells the direction of one capture alone."""
    flow = np.zeros(len(rig.stations))
    flow[station] = float(run)
    return Motion(np.zeros(len(rig.bodies)), flow, 1.0)


def over_limit(rig: Rig, capture: str, run: int, tension: Floats) -> Message | None:
    """Why a capture must not hold: it would be over its limit; None: it is not, as far as the file says.

    run: as in `held_tension`; tension: strand tensions / load force, (strands,).
    """
    load_N = resistance(rig.load).force_N
    if load_N is None:
        return None
    station = next(s for s in rig.captures if rig.stations[s].name == capture)
    every = parts(rig, _motion(rig, station, run), directions(rig, rig.start_m))
    own = next(p for p in every if p.name == capture and p.kind == "capture")
    force_N = abs(own.force(tension)) * load_N
    if own.limit_N is None or force_N <= own.limit_N:
        return None
    return message("convert_over_limit", name=capture, force_N=force_N, limit_N=own.limit_N)


def ground_surely_holds(load: Load) -> bool:
    """Whether the load surely cannot move by itself, so that chocks may hold it; False where the file is
    silent."""
    if load.kind not in ("rolling", "dragging", "slope") or load.slope_rad < 0:
        return False
    if not can_run_back(load):
        return True
    if None in (load.mass_kg, load.coefficient) or load.resistance_N is not None:
        return False
    weight = (load.mass_kg or 0.0) * G
    normal = weight * float(np.cos(load.slope_rad))
    back = weight * float(np.sin(load.slope_rad)) - normal * (load.coefficient or 0.0)
    return back + SURE * normal * (load.coefficient_u or 0.0) < 0


def misplaced(rig: Rig) -> int:
    """Number of grabs that do not stand between the bodies at the ends of their strands.

    Hands can put a grab on its strand alone, so a place beyond it is for after another move.
    """
    count = 0
    for s, station in enumerate(rig.stations):
        if station.kind != "grab" or station.body is None:
            continue
        x = rig.bodies[station.body].x_m
        ends = [rig.stations[k] for k in (rig.strands[rig.before[s]].start, rig.strands[rig.after[s]].end)]  # fmt: skip
        there = [rig.bodies[one.body].x_m for one in ends if one.body is not None]
        haul = next((one for one in ends if one.body is None and one.kind == "haul"), None)
        if len(there) == 2 and ends[0].body != ends[1].body:
            count += not min(there) < x < max(there)
        elif len(there) == 1 and haul is not None:
            along = np.cos(np.radians(haul.toward_deg))
            count += bool((x - there[0]) * along >= 0)
    return count


def refusal(
    stages: Stages, before: HeldStage, after: HeldStage, edit: Edit, holder: Holder
) -> Message | None:
    """Why an edit must not be made between two stages that this holder holds; None: it may be made."""
    if edit.entry < 0:
        stage = before if edit.kind == "rope off" else after
        loaded = [
            k
            for (rope, k), tension in stage.tension.items()
            if rope == edit.rope and tension > TINY
        ]
        return message("convert_rope_loaded") if loaded else None
    for rope, entry in stages.places(edit):
        was, now = _spot(before, rope, entry), _spot(after, rope, entry)
        item = was or now
        if item is None:
            continue
        if was is not None and (rope, entry) == (holder.rope, holder.entry) and now is None:
            return message("convert_holds_the_load", name=was.name)
        kinds = {one.spot.kind for one in (was, now) if one is not None}
        if kinds <= {"capture"}:
            continue
        if kinds <= {"grab"}:
            for stage, there in ((before, was), (after, now)):
                # a grab may go on a loaded strand; it comes off and slides only where nothing pulls on it
                if there is None or (stage is after and was is None):
                    continue
                sides = _beside(stage, rope, entry)
                if len(sides) == 2 and abs(sides[0][1] - sides[1][1]) > TINY:
                    return message("convert_grab_pulled", name=there.name)
            continue
        for stage in (before, after):
            for name, tension in _beside(stage, rope, entry):
                if tension > TINY:
                    return message("convert_strand_loaded", strand=name, share=tension)
    return None


def _spot(stage: HeldStage, rope: int, entry: int) -> Standing | None:
    for stations in stage.standing:
        for one in stations:
            if (one.rope, one.entry) == (rope, entry):
                return one
    return None


def strands_beside(stage: HeldStage, rope: int, entry: int) -> list[str]:
    """Names of the strands before and after a station, or of the strand in which it would stand."""
    return [name for name, _ in _beside(stage, rope, entry)]


def _beside(stage: HeldStage, rope: int, entry: int) -> list[tuple[str, float]]:
    """Name and tension of the strands at a station, or of the strand in which it would stand."""
    result = []
    for stations in stage.standing:
        for a, b in itertools.pairwise(stations):
            if a.rope == rope and a.entry <= entry <= b.entry:
                result.append((f"{a.name}>{b.name}", stage.tension[(a.rope, a.entry)]))
    return result
