"""Follows how far the rig can still be hauled before two of its bodies meet.

Bodies start where the rig file has them and move with the load as the rig's motion says.  After a
reset the grabs that were slid back are found from the rope that was fed back: of all sets of grabs
slid home, or as far as there is room, the one that takes that rope.  Where none does, or two do,
nothing is claimed from then on.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.mechanics.kinematics import LOAD, directions, solve_motion
from analysis.mechanics.travel import PlannedStroke, rope_in_rig, stroke
from analysis.messages.message import Message, message
from analysis.rig.rig import Floats, Rig
from analysis.strokes.segmentation import FED_BACK_M, RESET_SHARE
from analysis.strokes.stroke import Stroke

# common practice, no source
NEAR_ENOUGH = 0.15  # how far rope fed back may be from what a reset takes, share
ALIKE_M = 0.1  # bodies this near after two resets: it does not matter which was made; chosen by us
MOST_GRABS = 6  # speed only: sets of grabs double with each
# MET_M, SOON_M, AGAIN_M: load travel left where two-blocked, soon two-blocked, and where both may be
# told again; common practice, no source
MET_M, SOON_M, AGAIN_M = 0.05, 0.5, 0.6
At = Callable[[float], float | None]


@dataclass(frozen=True)
class Left:
    """What is left until two bodies meet.

    load_m, rope_m: load travel and rope at the haul; None where they are not known.
    meets: the bodies.
    why_not: why it is not known.
    """

    load_m: float | None
    rope_m: float | None
    meets: tuple[str, ...] = ()
    why_not: Message | None = None


@dataclass(frozen=True)
class _Base:
    """Where a stroke began: its travel, and what the counters said."""

    travel: PlannedStroke
    way: Floats  # load travel at each of its places
    load_m: float | None
    rope_m: float | None


class StrokeLeft:
    """Follows the strokes of a session: `follow` them, ask what is `left`."""

    def __init__(self, rig: Rig, ratio: float) -> None:
        self.rig, self.ratio = rig, ratio
        self._base: _Base | None = self._from(rig.start_m, None, None)
        self._why: Message | None = None
        self._begun = 0  # strokes whose beginning was looked at
        self._rest_m: float | None = (
            None  # rope counter where the last stroke ended, while none grows
        )

    def _from(self, x: Floats, load_m: float | None, rope_m: float | None) -> _Base | None:
        try:
            travel = stroke(self.rig, x)
        except np.linalg.LinAlgError:
            self._why = message("locks_up_here")
            return None
        way = np.array([float(x[LOAD] - place[LOAD]) for place in travel.places])
        return _Base(travel, way, load_m, rope_m)

    def follow(self, strokes: Sequence[Stroke], load_at: At | None, rope_at: At | None) -> None:
        """Take up strokes that began since the last call; a reset lies before some of them.

        load_at, rope_at: where a counter stood at a time; None where there is none.
        """
        for k in range(max(self._begun, 1), len(strokes)):
            hauled = max(
                (s.haul_travel_m for s in strokes[:k] if s.direction == "haul"), default=0.0
            )
            self._between(strokes[k - 1].end_s, strokes[k].start_s, hauled, load_at, rope_at)
        self._begun = len(strokes)
        resting = bool(strokes) and not strokes[-1].growing and rope_at is not None
        self._rest_m = rope_at(strokes[-1].end_s) if resting and rope_at is not None else None

    def _between(
        self, end_s: float, start_s: float, hauled_m: float, load_at: At | None, rope_at: At | None
    ) -> None:
        if rope_at is None:
            self._base = None
            self._why = message("fed_back_not_counted")
            return
        before, after = rope_at(end_s), rope_at(start_s)
        if before is None or after is None:
            return
        fed = before - after
        if fed < max(FED_BACK_M, RESET_SHARE * hauled_m):
            return
        load_before = load_at(end_s) if load_at else None
        load_after = load_at(start_s) if load_at else None
        if self._base is None:
            return
        x = self._places(self._base, self._way(self._base, load_before, before))
        back = 0.0
        if load_before is not None and load_after is not None:
            back = load_before - load_after
        x = x - solve_motion(self.rig, x).body_rate * back
        found = self._slid(x, fed)
        self._base = None if found is None else self._from(found, load_after, after)

    def left(self, load_m: float | None, rope_m: float | None) -> Left:
        """What is left where the counters are now, m from their first reading; None: no counter."""
        if self._base is None:
            return Left(None, None, (), self._why)
        if load_m is None and rope_m is None:
            return Left(None, None, (), message("no_counter"))
        if self._rest_m is not None and rope_m is not None and self._rest_m - rope_m >= FED_BACK_M:
            return Left(None, None, (), message("after_the_reset"))
        base = self._base
        way = self._way(base, load_m, self._held(rope_m))
        share = 1 - way / base.travel.load_m if base.travel.load_m > 0 else 0.0
        here = self._places(base, way)
        if share <= 0:
            return Left(0.0, 0.0, base.travel.stopped_by)
        rope = self._rope_out(here, base.travel.end)
        return Left(max(0.0, base.travel.load_m - way), max(0.0, rope), base.travel.stopped_by)

    def places(self, load_m: float | None, rope_m: float | None) -> Floats | None:
        """Where the bodies stand, (bodies,); None where that is not known."""
        if self._base is None or (load_m is None and rope_m is None):
            return None
        return self._places(self._base, self._way(self._base, load_m, self._held(rope_m)))

    def _held(self, rope_m: float | None) -> float | None:
        """Rope that still tells where the load is: what is fed back after a stroke moves no load."""
        if rope_m is None or self._rest_m is None:
            return rope_m
        return max(rope_m, self._rest_m)

    def _way(self, base: _Base, load_m: float | None, rope_m: float | None) -> float:
        """Load travel since the base; of load and rope counter the one that leaves less."""
        ways = []
        if load_m is not None:
            ways.append(load_m - (base.load_m or 0.0))
        if rope_m is not None:
            ways.append((rope_m - (base.rope_m or 0.0)) / self._ratio(base))
        return max(ways, default=0.0)

    def _ratio(self, base: _Base) -> float:
        """Rope at the haul for a metre of load, mean over this stroke."""
        travel = base.travel
        return travel.haul_m / travel.load_m if travel.load_m > 1e-6 else self.ratio

    def _places(self, base: _Base, way: float) -> Floats:
        places = np.array(base.travel.places)
        way = min(way, float(base.way[-1]))
        if way < 0:  # let back beyond where this stroke began
            return np.asarray(places[0] + solve_motion(self.rig, places[0]).body_rate * way)
        return np.array([np.interp(way, base.way, places[:, k]) for k in range(places.shape[1])])

    def _rope_out(self, old: Floats, new: Floats) -> float:
        """Rope that came out at the haul while the bodies went from `old` to `new`."""
        rig = self.rig
        haul = rig.stations[rig.haul]
        change = rope_in_rig(rig, new)[haul.rope] - rope_in_rig(rig, old)[haul.rope]
        strand = rig.strands[rig.haul_strand]
        ends = [rig.stations[strand.start].body, rig.stations[strand.end].body]
        if haul.body is not None:  # taken in at the load: its strand is part of the rig
            return -change
        last = next(b for b in ends if b is not None)
        toward = directions(rig, old)[rig.haul_strand] * rig.haul_sign
        return -change + float(toward[0]) * float(new[last] - old[last])

    def _slid(self, x: Floats, fed: float) -> Floats | None:
        """Positions after the reset that took this rope; None, and why, where that is not plain."""
        grabs = sorted(self.rig.grabs, key=lambda name: -float(x[self.rig.index[name]]))
        if len(grabs) > MOST_GRABS:
            self._why = message("too_many_grabs")
            return None
        fits: list[tuple[float, tuple[str, ...], Floats]] = []
        for size in range(1, len(grabs) + 1):
            for some in itertools.combinations(grabs, size):
                home = self._home(x, some)
                takes = -self._rope_out(x, home)
                if takes > FED_BACK_M and abs(fed - takes) <= NEAR_ENOUGH * takes:
                    fits.append((abs(fed - takes) / takes, some, home))
        fits.sort(key=lambda fit: fit[0])
        if len(grabs) == 1 and not fits:  # one grab alone: how far it went follows from the rope
            home = self._home(x, (grabs[0],))
            takes = -self._rope_out(x, home)
            if takes > 0:
                return x + (home - x) * min(1.0, fed / takes)
        names = " or ".join(sorted({" and ".join(some) for _, some, _ in fits}))
        if not fits:
            self._why = message("fed_back_fits_none", fed_m=fed)
            return None
        if len(fits) > 1 and not np.allclose(fits[0][2], fits[1][2], atol=ALIKE_M):
            self._why = message("fed_back_fits_several", grabs=names)
            return None
        return fits[0][2]

    def _home(self, x: Floats, names: Sequence[str]) -> Floats:
        """These grabs slid, the one nearest the load first, to at_m or as far as there is room."""
        x = x.copy()
        for name in names:
            g = self.rig.index[name]
            here, target = float(x[g]), float(self.rig.start_m[g])
            sign = math.copysign(1.0, target - here)
            for other in self._beside(g):
                if (float(x[other]) - here) * sign > 0:
                    room = float(x[other]) - sign * self.rig.clearance_m
                    target = min(target, room) if sign > 0 else max(target, room)
            x[g] = target if (target - here) * sign > 0 else here
        return x

    def _beside(self, body: int) -> list[int]:
        """Bodies that a strand joins to this one."""
        found = []
        for strand in self.rig.strands:
            a, b = self.rig.stations[strand.start].body, self.rig.stations[strand.end].body
            if body in (a, b) and a is not None and b is not None and a != b:
                found.append(b if a == body else a)
        return found
