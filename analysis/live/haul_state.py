"""Says what goes on at the rope, from tension and travel of the last second.

While the load is set on a capture the haul cell reads next to nothing and the rope behind it is
loaded: then no tension is given at all, and the words say what holds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.live.channel_track import Counters, Track
from analysis.mechanics.load_resistance import can_run_back
from analysis.mechanics.model import Model
from analysis.messages.message import Message, message
from analysis.strokes.result import Result
from analysis.strokes.segmentation import OFF_FLOOR_SHARE, OFF_SHARE, ON_SHARE

# MEAN_S, OFF_AFTER_S, ROPE_S, LOAD_S, MOVES_M, STANDS_M, RUNS_M, LOWERS_M, BEYOND_SETBACK_M: the page
# speaks within a second, a stroke of the review may wait longer; common practice, no source
MEAN_S = 0.25  # over which the tension is averaged
OFF_AFTER_S = 0.6  # without tension until the haul counts as let go: hands change faster
ROPE_S, LOAD_S = 1.0, 0.5  # over which rope and load are seen to move
MOVES_M = 0.03  # of rope in ROPE_S that is hauling or easing
STANDS_M = 0.001  # of load in LOAD_S below which it stands
RUNS_M = 0.015  # of load back in LOAD_S that is running back
LOWERS_M = 0.01  # of load back in ROPE_S, beyond the setback, that is lowering
BEYOND_SETBACK_M = 0.03  # of load back since the haul was let go that is told


@dataclass(frozen=True)
class Seen:
    """The last moments, as the haul state is judged by.

    force_N: haul force, mean over MEAN_S; None where no cell speaks.
    force_high_N: highest haul force over OFF_AFTER_S.
    rope_m: rope hauled in ROPE_S; None where it is not counted, as for the next three.
    load_m: load travel in LOAD_S.
    load_back_m: load travel back in ROPE_S.
    load_at_m: where the load stands.
    floor_N: forces below it are taken for none.
    steady_N: the steady haul force so far; None before there is one.
    hauled: whether something has been hauled before.
    """

    force_N: float | None
    force_high_N: float | None
    rope_m: float | None
    load_m: float | None
    load_back_m: float | None
    load_at_m: float | None
    floor_N: float
    steady_N: float | None
    hauled: bool


def seen(cell: Track | None, counters: Counters, now_s: float, result: Result, hauled: bool) -> Seen:
    """What haul cell and counters say of the last moments; hauled: whether a stroke was hauled."""
    rope, load = counters.rope, counters.load
    speaks = cell is not None and cell.value is not None
    back = load.moved(ROPE_S, now_s) if load else None
    return Seen(
        force_N=float(np.mean(cell.recent(MEAN_S))) if cell and speaks else None,
        force_high_N=float(np.max(cell.recent(OFF_AFTER_S))) if cell and speaks else None,
        rope_m=rope.moved(ROPE_S, now_s) if rope else None,
        load_m=load.moved(LOAD_S, now_s) if load else None,
        load_back_m=None if back is None else -back,
        load_at_m=load.value if load else None,
        floor_N=result.floor_N,
        steady_N=result.steady_N,
        hauled=hauled,
    )


@dataclass(frozen=True)
class State:
    """What goes on at the rope.

    code: haul, lower, ease, hold, tension, held, rest, loose, reset, back, before, nocell, nodata.
    words, detail: for people.
    force_N: the tension to show; None where there is none to be shown.
    """

    code: str
    words: str
    detail: Message | None
    force_N: float | None


class HaulState:
    """Remembers whether the haul strand is under tension, and where the load stood when it ended."""

    def __init__(self, rig_model: Model, before: HaulState | None = None) -> None:
        """before: of the rig that was changed for this one."""
        self.captures = tuple(h.name for h in rig_model.held if h.ideal is not None)
        self.setback_m = max(
            (rig_model.rig.stations[h.station].setback_m for h in rig_model.held), default=0.0
        )
        self.may_run = can_run_back(rig_model.rig.load)
        self.on: bool = before is not None and before.on
        self.hauled: bool = before is not None and before.hauled
        self._load_off_m: float | None = None if before is None else before._load_off_m

    def look(self, seen: Seen) -> State:
        """The state now."""
        self.hauled = self.hauled or seen.hauled
        if seen.force_N is None:
            return State("nocell", "NO HAUL CELL", message("no_haul_reading"), None)
        steady = seen.steady_N or 0.0
        on_at = max(seen.floor_N, ON_SHARE * steady)
        off_at = max(OFF_FLOOR_SHARE * seen.floor_N, OFF_SHARE * steady)
        was = self.on
        if seen.force_N > on_at:
            self.on = True
        elif (seen.force_high_N or 0.0) < off_at:
            self.on = False
        if was and not self.on:
            self._load_off_m = seen.load_at_m
        if self.on:
            return self._under_tension(seen, seen.force_N if seen.force_N >= off_at else None)
        return self._without(seen)

    def _under_tension(self, seen: Seen, force: float | None) -> State:
        if seen.rope_m is None:
            self.hauled = True
            return State(
                "tension", "UNDER TENSION", message("no_counter_speaks"), force
            )
        if seen.rope_m >= MOVES_M:
            self.hauled = True
            stands = seen.load_m is not None and seen.load_m < STANDS_M
            return State("haul", "HAULING", message("load_stands") if stands else None, force)
        if seen.rope_m <= -MOVES_M:
            return self._going_back(seen, force)
        if not self.hauled:
            return State("tension", "TENSION ON", message("nothing_hauled_yet"), force)
        return State("hold", "HOLDING", message("team_has_the_load"), force)

    def _going_back(self, seen: Seen, force: float | None) -> State:
        """Lowering, or rope that eases while the load is set on the capture."""
        if seen.load_back_m is None:
            return State("ease", "ROPE GOES BACK", message("lowered_or_set"), force)
        if seen.load_back_m > self.setback_m + LOWERS_M:
            return State("lower", "LOWERING", message("load_goes_back"), force)
        return State("ease", "EASING", message("rope_goes_back"), force)

    def _without(self, seen: Seen) -> State:
        if not self.hauled:
            return State("before", "NOT HAULING YET", message("no_tension_so_far"), None)
        back = self._run_back(seen)
        if back is not None and seen.load_m is not None and seen.load_m < -RUNS_M:
            return State("back", "LOAD RUNNING BACK", message("ran_back_since", back_m=back), None)
        on = " or ".join(self.captures)
        if seen.rope_m is not None and seen.rope_m <= -MOVES_M:
            held = message("fed_back_held_on", captures=on) if on else message("fed_back_not_held")
            return State("reset", "RESETTING", held, None)
        ran = None if back is None else message("ran_back_first", back_m=back)
        if on and self.may_run:
            return State("held", f"HELD on {on}", message("rope_is_loaded", ran_back=ran), None)
        if not self.may_run:
            return State("rest", "LOAD AT REST", message("haul_let_go", ran_back=ran), None)
        return State(
            "loose", "HAUL LET GO", message("holder_not_known"), None
        )

    def _run_back(self, seen: Seen) -> float | None:
        """Metres beyond the setback that the load came back since the tension ended."""
        if self._load_off_m is None or seen.load_at_m is None:
            return None
        back = self._load_off_m - seen.load_at_m
        return back if back > self.setback_m + BEYOND_SETBACK_M else None
