"""Searches where along its strand each grab should sit at the start of the job.

Fewest resets first (slides of a grab, over the whole job), then least rope; within the strands, the clearance
and the rope there is.  The number of resets is a step function of the places, so a grid over all places is
judged first, and the best of it are then improved in smaller and smaller steps.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.mechanics.model import model, reset_setbacks
from analysis.mechanics.travel import Job, job, needed_rope
from analysis.messages.message import Message, message, text_of
from analysis.rig.rig import Floats, Rig
from analysis.rig_file.load import check
from logger.errors import RigFault

MODES = ("each", "together")
# places of each grab in the first grid, by the number of grabs; chosen by us: a few hundred jobs in all
GRID = {1: 48, 2: 18, 3: 10}
STARTS = 4  # speed only: best places of the grid that are improved
STEP_M = 0.01  # places are given to the centimetre; chosen by us: nobody sets a grab closer
ONE_MORE_M = 1.0  # of space or rope, for what more would save; definition of the question


@dataclass(frozen=True)
class GrabPlacing:
    """Places of all grabs at the start of the job, and what the job then takes."""

    mode: str  # each: grabs reset one by one; together: all each time
    at_m: Mapping[str, float]  # by grab, metres from the anchor
    resets: int  # slides of a grab over the job
    resets_of: Mapping[str, int]  # by grab
    strokes: int  # strokes of the job
    haul_m: float  # rope hauled over the job
    rope_m: float  # rope needed, all ropes

    @property
    def rank(self) -> tuple[int, float]:
        """What is to be small: resets, then rope."""
        return self.resets, round(self.rope_m, 6)


@dataclass(frozen=True)
class GrabPlaces:
    """The best places, and what more room or rope would save."""

    now: Mapping[
        str, GrabPlacing | None
    ]  # by mode, with the places of the rig file; None: it cannot be done
    best: Mapping[str, GrabPlacing | None]  # by mode; None: it cannot be done
    more_space: GrabPlacing | None  # the best with the anchor 1 m farther from the load
    more_rope: GrabPlacing | None  # the best with 1 m more of each rope
    why: Message | None  # why there is no answer

    @property
    def chosen(self) -> GrabPlacing | None:
        """The best over both modes; one by one where both are as good."""
        made = [one for one in self.best.values() if one is not None]
        return min(made, key=lambda one: one.rank) if made else None

    def json(self) -> dict[str, Any]:
        """The places as JSON."""

        def row(one: GrabPlacing | None) -> dict[str, Any] | None:
            """One placing."""
            return None if one is None else vars(one) | {
                "at_m": dict(one.at_m), "resets_of": dict(one.resets_of)}  # fmt: skip

        best = self.chosen

        def saved(other: GrabPlacing | None) -> dict[str, Any] | None:
            """What a placing saves against the best."""
            if other is None or best is None:
                return None
            return {"resets": best.resets - other.resets, "strokes": best.strokes - other.strokes}

        return {
            "now": {mode: row(one) for mode, one in self.now.items()},
            "best": row(best),
            "modes": {mode: row(one) for mode, one in self.best.items()},
            "one_more_metre": {"space": saved(self.more_space), "rope": saved(self.more_rope)},
            "why": text_of(self.why),
        }


class SearchStoppedError(Exception):
    """Nobody wants the answer of a search any more; whoever stops it catches this."""


def grab_places(rig: Rig, wanted: Callable[[], bool] = lambda: True) -> GrabPlaces:
    """The best places of the grabs of a rig for its job.

    wanted: asked before each job that is worked out; raises SearchStoppedError once it is false.
    """
    none: dict[str, GrabPlacing | None] = dict.fromkeys(MODES)
    if not rig.grabs:
        return GrabPlaces(
            now=none, best=none, more_space=None, more_rope=None, why=message("no_grab_to_place")
        )
    if rig.load.pull_distance_m is None:
        return GrabPlaces(
            now=none, best=none, more_space=None, more_rope=None, why=message("distance_not_stated")
        )
    now = {mode: placing(rig, mode, rig.start_m) for mode in MODES}
    best = {mode: best_placing(rig, mode, wanted) for mode in MODES}
    made = [one for one in best.values() if one is not None]
    if not made:
        return GrabPlaces(
            now=now, best=best, more_space=None, more_rope=None, why=message("no_place_for_grabs")
        )
    farther = _farther(rig)
    longer = _longer(rig)
    space = None if farther is None else _best_of_modes(farther, wanted)
    rope = None if longer is None else _best_of_modes(longer, wanted)
    return GrabPlaces(now=now, best=best, more_space=space, more_rope=rope, why=None)


def _best_of_modes(rig: Rig, wanted: Callable[[], bool]) -> GrabPlacing | None:
    made = [one for mode in MODES if (one := best_placing(rig, mode, wanted)) is not None]
    return min(made, key=lambda one: one.rank) if made else None


def placing(rig: Rig, mode: str, x_m: Floats) -> GrabPlacing | None:
    """The job with the bodies at x_m, m, (bodies,), at its start; None where it cannot be done with the rope
    there is."""
    moved = _moved(rig, x_m)
    done = job(moved, mode, reset_setbacks(model(moved)))
    if done.why_not is not None:
        return None
    ropes = [_needed(moved, k, done) for k in range(len(moved.ropes))]
    lengths = [one.length_m for one in moved.ropes]
    if any(has is not None and has < needs for has, needs in zip(lengths, ropes, strict=True)):
        return None
    return GrabPlacing(
        mode=mode,
        at_m={name: float(x_m[rig.index[name]]) for name in rig.grabs},
        resets=sum(done.resets.values()),
        resets_of=dict(done.resets),
        strokes=done.strokes,
        haul_m=done.haul_m,
        rope_m=sum(ropes),
    )


def _needed(rig: Rig, rope: int, done: Job) -> float:
    return max(needed_rope(rig, rope, x) for x in done.places)


def best_placing(
    rig: Rig, mode: str, wanted: Callable[[], bool] = lambda: True
) -> GrabPlacing | None:
    """The places with the fewest resets, then the least rope; None where no places do.

    wanted: as for `grab_places`.
    """
    judged: dict[tuple[float, ...], GrabPlacing | None] = {}

    def at(places: tuple[float, ...]) -> GrabPlacing | None:
        """The job with the grabs at these places, m."""
        key = tuple(round(one, 3) for one in places)
        if key not in judged:
            if not wanted():
                raise SearchStoppedError
            x = rig.start_m.copy()
            for name, place in zip(rig.grabs, key, strict=True):
                x[rig.index[name]] = place
            judged[key] = placing(rig, mode, x) if fits(rig, x) else None
        return judged[key]

    starts = [one for places in _grid(rig) if (one := at(places)) is not None]
    starts.sort(key=lambda one: one.rank)
    best = None
    for start in starts[:STARTS]:
        better = _improved(rig, start, at)
        if best is None or better.rank < best.rank:
            best = better
    return best


def _improved(rig: Rig, start: GrabPlacing, at: Any) -> GrabPlacing:
    """The best placing that small steps lead to; at: judges places."""
    best = start
    step = float(rig.start_m[1]) / GRID.get(len(rig.grabs), 6)
    turns = [d for d in itertools.product((-1, 0, 1), repeat=len(rig.grabs)) if any(d)]
    while step >= STEP_M:
        here = tuple(best.at_m[name] for name in rig.grabs)
        trials = (
            at(tuple(x + d * step for x, d in zip(here, turn, strict=True))) for turn in turns
        )
        better = min(
            (one for one in trials if one is not None), key=lambda one: one.rank, default=None
        )
        if better is not None and better.rank < best.rank:
            best = better
        else:
            step /= 2.0
    return best


def _grid(rig: Rig) -> Iterator[tuple[float, ...]]:
    """Places to begin with: the file's own, and a grid between anchor and load."""
    yield tuple(float(rig.start_m[rig.index[name]]) for name in rig.grabs)
    count = GRID.get(len(rig.grabs), 6)
    low, high = rig.clearance_m, float(rig.start_m[1]) - rig.clearance_m
    yield from itertools.product(map(float, np.linspace(low, high, count)), repeat=len(rig.grabs))


def fits(rig: Rig, x_m: Floats) -> bool:
    """Whether each grab lies between the bodies at the ends of its strands, clearance away from both.

    x_m: positions of the bodies, m, (bodies,).
    """
    for s, station in enumerate(rig.stations):
        if station.kind != "grab" or station.body is None:
            continue
        ends = [rig.strands[rig.before[s]].start, rig.strands[rig.after[s]].end]
        bodies = [rig.stations[n].body for n in ends]
        if any(body is None for body in bodies):
            places = [float(x_m[body]) for body in bodies if body is not None]
        else:
            places = [float(x_m[body]) for body in bodies if body is not None]
            x = float(x_m[station.body])
            if not min(places) < x < max(places):
                return False
        if any(abs(float(x_m[station.body]) - one) < rig.clearance_m - 1e-9 for one in places):
            return False
    try:
        check(_moved(rig, x_m))
    except RigFault:
        return False
    return True


def _moved(rig: Rig, x_m: Floats) -> Rig:
    """The rig with its bodies at x_m, m, (bodies,), at the start."""
    return replace(
        rig,
        bodies=tuple(replace(body, x_m=float(x)) for body, x in zip(rig.bodies, x_m, strict=True)),
    )


def _farther(rig: Rig) -> Rig | None:
    """The rig with the anchor 1 m farther from the load; None where it would not work."""
    x = rig.start_m.copy()
    for k, body in enumerate(rig.bodies):
        if body.moves:
            x[k] += ONE_MORE_M
    made = _moved(rig, x)
    try:
        check(made)
    except RigFault:
        return None
    return made


def _longer(rig: Rig) -> Rig | None:
    """The rig with 1 m more of each rope; None where no rope's length is stated."""
    if all(rope.length_m is None for rope in rig.ropes):
        return None
    return replace(
        rig,
        ropes=tuple(
            rope if rope.length_m is None else replace(rope, length_m=rope.length_m + ONE_MORE_M)
            for rope in rig.ropes
        ),
    )
