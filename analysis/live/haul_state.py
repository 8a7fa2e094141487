"""Classifies what happens at the rope (hauling, holding, lowering, held ...) from the last second.

While the load is set on a capture the haul cell reads almost zero, though the rope behind the capture is
loaded: then no tension is shown, and the words name the capture.
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

# MEAN_S, LET_GO_SHOWN_S, ROPE_S, LOAD_S, MOVES_M, STANDS_M, RUNS_M, LOWERS_M, BEYOND_SETBACK_M: the page
# reacts within a second; common practice, no source
MEAN_S = 0.25  # over which the tension is averaged
# without tension until the page shows the haul as let go.  STROKE_END_CELLS of `strokes.segmentation` (1.5 s)
# is another decision: it ends a stroke for good, so it waits for hands that change slowly.  The page must
# warn of a load that runs back within a second, and the next pull corrects it
LET_GO_SHOWN_S = 0.6
ROPE_S, LOAD_S = 1.0, 0.5  # over which the motion of rope and load is taken
MOVES_M = 0.03  # least rope in ROPE_S that is hauling or easing
STANDS_M = 0.001  # load travel in LOAD_S below which the load stands
RUNS_M = 0.015  # least load travel back in LOAD_S that is running back
LOWERS_M = 0.01  # least load travel back in ROPE_S, beyond the setback, that is lowering
BEYOND_SETBACK_M = 0.03  # least load travel back since the haul was let go that is shown


@dataclass(frozen=True)
class LastSecond:
    """Force and motion of the last second, from which the haul state follows."""

    force_N: float | None  # haul force, mean over MEAN_S; None without a reading
    force_high_N: float | None  # highest haul force over LET_GO_SHOWN_S; None without a reading
    rope_m: float | None  # rope hauled in ROPE_S; None where it is not counted
    load_m: float | None  # load travel in LOAD_S; None where it is not counted
    load_back_m: float | None  # load travel back in ROPE_S; None where it is not counted
    load_at_m: float | None  # position of the load; None where it is not counted
    floor_N: float  # haul forces below it count as zero
    steady_N: float | None  # steady haul force so far; None before there is one
    hauled: bool  # whether a stroke was hauled before


def last_second(
    cell: Track | None, counters: Counters, now_s: float, result: Result, hauled: bool
) -> LastSecond:
    """Collect force and motion of the last second before now_s.

    cell: of the haul; hauled: whether a stroke was hauled before.
    """
    rope, load = counters.rope, counters.load
    has_reading = cell is not None and cell.value is not None
    back = load.moved(ROPE_S, now_s) if load else None
    return LastSecond(
        force_N=float(np.mean(cell.recent(MEAN_S))) if cell and has_reading else None,
        force_high_N=float(np.max(cell.recent(LET_GO_SHOWN_S))) if cell and has_reading else None,
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
    """What happens at the rope.

    code: haul, lower, ease, hold, tension, held, rest, loose, reset, back, before, nocell, nodata.
    """

    code: str
    words: str  # the state as the page shows it
    detail: Message | None  # a second line for the page
    force_N: float | None  # the tension to show; None where none is shown


class HaulState:
    """Classifies the haul; keeps whether the haul strand is under tension, and where the load stood at its end.

    captures: names of the captures that may hold the load.
    setback_m: largest setback of the captures.
    may_run: whether the load runs back when nothing holds it.
    on: whether the haul strand is under tension.
    hauled: whether something was hauled before.
    """

    def __init__(self, rig_model: Model, before: HaulState | None = None) -> None:
        """rig_model: of the rig in use; before: the state with the rig that this one replaces."""
        self.captures = tuple(h.name for h in rig_model.held if h.ideal is not None)
        self.setback_m = max(
            (rig_model.rig.stations[h.station].setback_m for h in rig_model.held), default=0.0
        )
        self.may_run = can_run_back(rig_model.rig.load)
        self.on: bool = before is not None and before.on
        self.hauled: bool = before is not None and before.hauled
        self._load_off_m: float | None = None if before is None else before._load_off_m

    def update(self, recent: LastSecond) -> State:
        """Classify the last second; return the state now."""
        self.hauled = self.hauled or recent.hauled
        if recent.force_N is None:
            return State("nocell", "NO HAUL CELL", message("no_haul_reading"), None)
        steady = recent.steady_N or 0.0
        on_at = max(recent.floor_N, ON_SHARE * steady)
        off_at = max(OFF_FLOOR_SHARE * recent.floor_N, OFF_SHARE * steady)
        was = self.on
        if recent.force_N > on_at:
            self.on = True
        elif (recent.force_high_N or 0.0) < off_at:
            self.on = False
        if was and not self.on:
            self._load_off_m = recent.load_at_m
        if self.on:
            return self._under_tension(recent, recent.force_N if recent.force_N >= off_at else None)
        return self._without(recent)

    def _under_tension(self, recent: LastSecond, force: float | None) -> State:
        """The state with the haul strand under tension; force: N to show."""
        if recent.rope_m is None:
            self.hauled = True
            return State("tension", "UNDER TENSION", message("no_counter_speaks"), force)
        if recent.rope_m >= MOVES_M:
            self.hauled = True
            stands = recent.load_m is not None and recent.load_m < STANDS_M
            return State("haul", "HAULING", message("load_stands") if stands else None, force)
        if recent.rope_m <= -MOVES_M:
            return self._going_back(recent, force)
        if not self.hauled:
            return State("tension", "TENSION ON", message("nothing_hauled_yet"), force)
        return State("hold", "HOLDING", message("team_has_the_load"), force)

    def _going_back(self, recent: LastSecond, force: float | None) -> State:
        """The state while rope goes back under tension: lowering, or easing onto a capture; force: N to show."""
        if recent.load_back_m is None:
            return State("ease", "ROPE GOES BACK", message("lowered_or_set"), force)
        if recent.load_back_m > self.setback_m + LOWERS_M:
            return State("lower", "LOWERING", message("load_goes_back"), force)
        return State("ease", "EASING", message("rope_goes_back"), force)

    def _without(self, recent: LastSecond) -> State:
        """The state without tension in the haul strand."""
        if not self.hauled:
            return State("before", "NOT HAULING YET", message("no_tension_so_far"), None)
        back = self._run_back(recent)
        if back is not None and recent.load_m is not None and recent.load_m < -RUNS_M:
            return State("back", "LOAD RUNNING BACK", message("ran_back_since", back_m=back), None)
        on = " or ".join(self.captures)
        if recent.rope_m is not None and recent.rope_m <= -MOVES_M:
            held = message("fed_back_held_on", captures=on) if on else message("fed_back_not_held")
            return State("reset", "RESETTING", held, None)
        ran = None if back is None else message("ran_back_first", back_m=back)
        if on and self.may_run and recent.rope_m is None and recent.load_at_m is None:
            return State("held", f"LOOKS HELD on {on}", message("looks_held", captures=on), None)
        if on and self.may_run:
            return State("held", f"HELD on {on}", message("rope_is_loaded", ran_back=ran), None)
        if not self.may_run:
            return State("rest", "LOAD AT REST", message("haul_let_go", ran_back=ran), None)
        return State("loose", "HAUL LET GO", message("holder_not_known"), None)

    def _run_back(self, recent: LastSecond) -> float | None:
        """Load travel back since the tension ended, m; None where it is within the setback or not counted."""
        if self._load_off_m is None or recent.load_at_m is None:
            return None
        back = self._load_off_m - recent.load_at_m
        return back if back > self.setback_m + BEYOND_SETBACK_M else None
