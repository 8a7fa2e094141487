"""Computes how far the rig can still be hauled before two of its bodies meet.

Bodies start where the rig file has them and move with the load by the rig's kinematics.  At a reset, the
rope fed back shows which grabs were slid back: of all sets of grabs slid home, or as far as there is room,
the one that takes this rope.  Where none fits, or several do, the remaining travel is unknown from then on.

A rig that was made of the one before by the moves of a conversion stands as its file says, if the load does.
After another change of the rig nobody says where its grabs stand.  The load stands where its progress shows; the
grabs are known from the next reset that slides every grab home.  A rig without grabs and plates is known as
soon as it is hauled.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.mechanics.kinematics import LOAD, directions, solve_motion
from analysis.mechanics.travel import PlannedStroke, rope_in_rig, stroke
from analysis.messages.message import Message, message
from analysis.rig.rig import Floats, Rig
from analysis.strokes.segmentation import RESET_M, is_reset
from analysis.strokes.stroke import Stroke

# share by which the rope of a reset may differ from the model; common practice, no source
NEAR_ENOUGH = 0.15
# largest difference between the positions after two resets that makes no difference; chosen by us: as RESET_M
ALIKE_M = 0.1
MOST_GRABS = 6  # speed only: the number of sets doubles with each grab
# remaining load travel at which the page warns of two-blocked, of soon two-blocked, and above which both
# warnings are armed again; common practice, no source
MET_M, SOON_M, AGAIN_M = 0.05, 0.5, 0.6
# how far the load may stand from where a converted rig's file has it; chosen by us: the default clearance, closer
# than which no two bodies come
STANDS_M = 0.3
Nearness = Literal["met", "soon", "near", "far"]
At = Callable[[float], float | None]  # position of a counter, m, at a time, s
Way = Callable[[int], float | None]  # load's net way since the session began, m, before a stroke


@dataclass(frozen=True)
class Remaining:
    """The travel that remains until two bodies meet."""

    load_m: float | None  # load travel; None where it is unknown
    rope_m: float | None  # rope at the haul; None where it is unknown
    meets: tuple[str, ...] = ()  # names of the bodies that meet
    why_not: Message | None = None  # why the travel is unknown

    @property
    def nearness(self) -> Nearness | None:
        """How near to two-blocked the load is; None where load_m is unknown.

        met: two-blocked.  soon: the page warns of it.  far: both warnings are armed again.  near: between
        soon and far.
        """
        if self.load_m is None:
            return None
        if self.load_m < MET_M:
            return "met"
        if self.load_m < SOON_M:
            return "soon"
        return "far" if self.load_m > AGAIN_M else "near"


@dataclass(frozen=True)
class _StrokeStart:
    """The beginning of a stroke."""

    travel: PlannedStroke  # from the bodies here to where two of them meet
    load_travel_m: Floats  # (places,) load travel at each of its places
    load_m: float | None  # load counter at the beginning; None: taken as 0
    rope_m: float | None  # rope counter at the beginning; None: taken as 0


class StrokeRoom:
    """The travel that remains in the current stroke: `follow` the strokes, then read `remaining`.

    rig: the rig in use.
    ratio: rope at the haul / load travel, where the stroke itself is too short to give it.
    """

    def __init__(self, rig: Rig, ratio: float) -> None:
        self.rig, self.ratio = rig, ratio
        self._start: _StrokeStart | None = self._start_at(rig.start_m, None, None)
        self._why: Message | None = None
        self._begun = 0  # number of strokes whose beginning was evaluated
        self._hauled_m = 0.0  # rope of the last haul stroke
        self._resetting: bool | None = None  # whether a reset goes on; None: the rope shows it
        self._session_start_m = float(rig.start_m[LOAD])  # load's position when the session began
        self._stands_s: float | None = (
            None  # when the bodies stood as the file says; None: not known so
        )
        self._unknown = False  # whether the rig was changed and its grabs were not slid home yet
        # rope counter at the end of the last stroke; None while a stroke grows
        self._rest_m: float | None = None

    def change_rig(self, rig: Rig | None, ratio: float, stands_s: float | None = None) -> None:
        """Go on with another rig; rig None: its file cannot be used.

        ratio: rope at the haul / load travel.  stands_s: when its bodies stood as its file says, s of the session;
        None: nobody says where its grabs stand.
        """
        self._start, self._begun, self._rest_m = None, 0, None
        self._stands_s = None if rig is None else stands_s
        self._hauled_m, self._resetting = 0.0, None
        self._unknown, self._why = rig is not None, message("rig_change_unread")
        if rig is None:
            return
        self.rig, self.ratio = rig, ratio
        self._why = message("rig_was_changed") if rig.grabs else message("rig_was_changed_no_grabs")
        if any(body.kind == "plate" for body in rig.bodies):
            self._unknown, self._why = False, message("plates_not_known")

    def _start_at(
        self, x: Floats, load_m: float | None, rope_m: float | None
    ) -> _StrokeStart | None:
        """A stroke that begins with the bodies at x (bodies,), m, and the counters at load_m and rope_m.

        None where the rig locks up there.
        """
        try:
            travel = stroke(self.rig, x)
        except np.linalg.LinAlgError:
            self._why = message("locks_up_here")
            return None
        moved = np.array([float(x[LOAD] - place[LOAD]) for place in travel.places])
        return _StrokeStart(travel, moved, load_m, rope_m)

    def follow(
        self,
        strokes: Sequence[Stroke],
        load_at: At | None,
        rope_at: At | None,
        way_before: Way | None = None,
        resetting: bool | None = None,
    ) -> None:
        """Evaluate the strokes that began since the last call, and the resets before them.

        strokes: all so far with this rig; load_at, rope_at: position of the counters at a time, None without a
        counter; way_before: the load's net way before a stroke, by its index; resetting: whether a reset
        followed the last stroke, None: the rope fed back shows it.
        """
        if self._stands_s is not None:
            self._as_filed(strokes, load_at, rope_at, way_before)
        if self._unknown and strokes and not self.rig.grabs:
            self._with_load(strokes[0].start_s, load_at, rope_at, way_before)
        for k in range(max(self._begun, 1), len(strokes)):
            if self._unknown:
                self._all_home(
                    strokes[:k],
                    strokes[k].start_s,
                    load_at,
                    rope_at,
                    way_before(k) if way_before else None,
                )
                continue
            hauled_m = _last_haul_m(strokes[:k])
            self._between(strokes[k - 1].end_s, strokes[k].start_s, hauled_m, load_at, rope_at)
        self._begun = len(strokes)
        self._hauled_m = _last_haul_m(strokes)
        self._resetting = resetting
        resting = bool(strokes) and not strokes[-1].growing and rope_at is not None
        self._rest_m = rope_at(strokes[-1].end_s) if resting and rope_at is not None else None

    def _as_filed(
        self, strokes: Sequence[Stroke], load_at: At | None, rope_at: At | None, way_before: Way | None
    ) -> None:  # fmt: skip
        """Begin with the bodies as the file has them, if the load stands where it does by its progress.

        The first stroke decides: until then the rig is looked at as of `_stands_s`.
        """
        assert self._stands_s is not None
        start_s = strokes[0].start_s if strokes else self._stands_s
        way_m = None if way_before is None else way_before(0)
        if strokes:
            self._stands_s = None
        if way_m is None:
            return
        away_m = float(self.rig.start_m[LOAD]) - (self._session_start_m - way_m)
        if abs(away_m) > STANDS_M:
            self._stands_s = None
            return
        start = self._start_at(
            self.rig.start_m,
            load_at(start_s) if load_at else None,
            rope_at(start_s) if rope_at else None,
        )
        if start is not None:
            self._start, self._unknown, self._why = start, False, None

    def _with_load(
        self, start_s: float, load_at: At | None, rope_at: At | None, way_before: Way | None
    ) -> None:
        """Begin the first stroke with a rig whose only moving body is the load; start_s: its beginning."""
        way_m = None if way_before is None else way_before(0)
        if way_m is None:
            return
        x = self.rig.start_m.copy()
        x[LOAD] = self._session_start_m - way_m
        self._unknown = False
        self._start = self._start_at(
            x, load_at(start_s) if load_at else None, rope_at(start_s) if rope_at else None
        )

    def _all_home(
        self, before: Sequence[Stroke], start_s: float, load_at: At | None, rope_at: At | None,
        way_m: float | None,
    ) -> None:  # fmt: skip
        """Begin the first stroke of which the places are known after a change of the rig.

        A reset slides the only grab home.  Of several grabs it slides all, if it feeds back the rope that was
        hauled since the change.  before: strokes with this rig; start_s: when the next one begins; way_m: the
        load's net way since the session began.
        """
        if rope_at is None:
            self._why = message("fed_back_not_counted")
            return
        rope_before, rope_after = rope_at(before[-1].end_s), rope_at(start_s)
        if rope_before is None or rope_after is None or way_m is None:
            return
        fed_m = rope_before - rope_after
        out_m = sum(s.haul_travel_m * (1 if s.direction == "haul" else -1) for s in before)
        whole = abs(fed_m - out_m) <= NEAR_ENOUGH * out_m
        if not is_reset(fed_m, _last_haul_m(before)) or (len(self.rig.grabs) > 1 and not whole):
            return
        x = self.rig.start_m.copy()
        x[LOAD] = self._session_start_m - way_m
        for name in sorted(self.rig.grabs, key=lambda name: -float(x[self.rig.index[name]])):
            g = self.rig.index[name]
            rooms = [float(x[b]) - self.rig.clearance_m for b in self._beside(g)
                     if self.rig.start_m[b] > self.rig.start_m[g]]  # fmt: skip
            x[g] = min([float(x[g]), *rooms])
        self._unknown = False
        self._start = self._start_at(x, load_at(start_s) if load_at else None, rope_after)

    def _between(
        self, end_s: float, start_s: float, hauled_m: float, load_at: At | None, rope_at: At | None
    ) -> None:
        """Begin another stroke if the rope fed back from end_s to start_s is a reset.

        hauled_m: rope of the last haul stroke.
        """
        if rope_at is None:
            self._start = None
            self._why = message("fed_back_not_counted")
            return
        before, after = rope_at(end_s), rope_at(start_s)
        if before is None or after is None:
            return
        fed = before - after
        if not is_reset(fed, hauled_m):
            return
        load_before = load_at(end_s) if load_at else None
        load_after = load_at(start_s) if load_at else None
        if self._start is None:
            return
        x = self._places(self._start, self._load_travel(self._start, load_before, before))
        back = 0.0
        if load_before is not None and load_after is not None:
            back = load_before - load_after
        x = x - solve_motion(self.rig, x).body_rate * back
        home = self._slid(x, fed)
        self._start = None if home is None else self._start_at(home, load_after, after)

    def remaining(self, load_m: float | None, rope_m: float | None) -> Remaining:
        """The remaining travel with the counters at load_m and rope_m; None without a counter."""
        start = self._start
        if start is None:
            return Remaining(None, None, (), self._why)
        if load_m is None and rope_m is None:
            return Remaining(None, None, (), message("no_counter"))
        fed = 0.0 if self._rest_m is None or rope_m is None else self._rest_m - rope_m
        if is_reset(fed, self._hauled_m) and self._resetting is not False:
            return Remaining(None, None, (), message("after_the_reset"))
        moved_m = self._load_travel(start, load_m, self._rope_at_load(rope_m))
        share = 1 - moved_m / start.travel.load_m if start.travel.load_m > 0 else 0.0
        here = self._places(start, moved_m)
        if share <= 0:
            return Remaining(0.0, 0.0, start.travel.stopped_by)
        rope = self._rope_out(here, start.travel.end)
        left_m = max(0.0, start.travel.load_m - moved_m)
        return Remaining(left_m, max(0.0, rope), start.travel.stopped_by)

    def places(self, load_m: float | None, rope_m: float | None) -> Floats | None:
        """Positions of the bodies with the counters at load_m and rope_m, (bodies,), m; None: unknown."""
        if self._start is None or (load_m is None and rope_m is None):
            return None
        moved_m = self._load_travel(self._start, load_m, self._rope_at_load(rope_m))
        return self._places(self._start, moved_m)

    def _rope_at_load(self, rope_m: float | None) -> float | None:
        """The rope counter that corresponds to the load: rope fed back after a stroke moves no load."""
        if rope_m is None or self._rest_m is None:
            return rope_m
        return max(rope_m, self._rest_m)

    def _load_travel(
        self, start: _StrokeStart, load_m: float | None, rope_m: float | None
    ) -> float:
        """Load travel since the start, m, by load or rope counter, whichever gives more."""
        travels = []
        if load_m is not None:
            travels.append(load_m - (start.load_m or 0.0))
        if rope_m is not None:
            travels.append((rope_m - (start.rope_m or 0.0)) / self._ratio(start))
        return max(travels, default=0.0)

    def _ratio(self, start: _StrokeStart) -> float:
        """Rope at the haul / load travel, mean over this stroke."""
        travel = start.travel
        return travel.haul_m / travel.load_m if travel.load_m > 1e-6 else self.ratio

    def _places(self, start: _StrokeStart, moved_m: float) -> Floats:
        """Positions of the bodies after a load travel of moved_m since the start, (bodies,), m."""
        places = np.array(start.travel.places)
        moved_m = min(moved_m, float(start.load_travel_m[-1]))
        if moved_m < 0:  # the load went back beyond the start of this stroke
            return np.asarray(places[0] + solve_motion(self.rig, places[0]).body_rate * moved_m)
        columns = range(places.shape[1])
        return np.array([np.interp(moved_m, start.load_travel_m, places[:, k]) for k in columns])

    def _rope_out(self, old: Floats, new: Floats) -> float:
        """Rope that comes out at the haul while the bodies move from `old` to `new`, (bodies,) each, m."""
        rig = self.rig
        haul = rig.stations[rig.haul]
        change = rope_in_rig(rig, new)[haul.rope] - rope_in_rig(rig, old)[haul.rope]
        strand = rig.strands[rig.haul_strand]
        ends = [rig.stations[strand.start].body, rig.stations[strand.end].body]
        if haul.body is not None:  # the team pulls at the load: the haul strand lies within the rig
            return -change
        last = next(b for b in ends if b is not None)
        toward = directions(rig, old)[rig.haul_strand] * rig.haul_sign
        return -change + float(toward[0]) * float(new[last] - old[last])

    def _slid(self, x: Floats, fed: float) -> Floats | None:
        """Positions of the bodies after a reset, (bodies,), m; None, with the reason in _why, if unclear.

        x: positions before it, (bodies,), m; fed: rope fed back, m.
        """
        grabs = sorted(self.rig.grabs, key=lambda name: -float(x[self.rig.index[name]]))
        if not grabs:
            return x
        if len(grabs) > MOST_GRABS:
            self._why = message("too_many_grabs")
            return None
        fits: list[tuple[float, tuple[str, ...], Floats]] = []
        for size in range(1, len(grabs) + 1):
            for some in itertools.combinations(grabs, size):
                home = self._home(x, some)
                takes = -self._rope_out(x, home)
                if takes >= RESET_M and abs(fed - takes) <= NEAR_ENOUGH * takes:
                    fits.append((abs(fed - takes) / takes, some, home))
        fits.sort(key=lambda fit: fit[0])
        if len(grabs) == 1 and not fits:  # with one grab, the rope shows how far it was slid
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
        """Positions with these grabs slid to their at_m, or as far as there is room, (bodies,), m.

        x: positions before, (bodies,), m; the grab nearest the load is slid first.
        """
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
        """Indices of the bodies that a strand joins to this one."""
        neighbours = []
        for strand in self.rig.strands:
            a, b = self.rig.stations[strand.start].body, self.rig.stations[strand.end].body
            if body in (a, b) and a is not None and b is not None and a != b:
                neighbours.append(b if a == body else a)
        return neighbours


def _last_haul_m(strokes: Sequence[Stroke]) -> float:
    """Rope of the last haul stroke, m; 0 before the first."""
    return next((s.haul_travel_m for s in reversed(strokes) if s.direction == "haul"), 0.0)
