"""Computes everything that the live page shows of one session, from blocks of its rows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from analysis.live.channel_track import Counters, Track
from analysis.live.current_loads import CurrentLoads
from analysis.live.events_so_far import EventsSoFar
from analysis.live.haul_state import HaulState, State, last_second
from analysis.live.inferred_loads import RigLoads
from analysis.live.recorder_status import RecorderState, RecorderWatch
from analysis.live.rig_in_use import RigInUse
from analysis.live.stroke_remaining import Remaining, StrokeRoom
from analysis.mechanics.model import Model, model
from analysis.messages.message import message
from analysis.review.review import Reviewed, review_all, rows_left_out
from analysis.rig.rig import Floats
from analysis.rig_file.load import parse_rig
from analysis.signals.channel_roles import roles
from analysis.strokes.analyser import Analyser
from analysis.strokes.load_travel import LoadTravel, by_rope
from analysis.strokes.rig_changes import in_order, rigs_of
from analysis.strokes.stroke import Stroke
from logger.session.reader import open_session
from logger.session.records import Block, Event


@dataclass(frozen=True)
class Moment:
    """One session at one moment; None where a value cannot be computed."""

    now_s: float  # time of the session
    recorder: RecorderState  # whether the recorder is alive
    state: State  # what happens at the rope
    carried: RigLoads | None  # forces on strands and parts
    held_N: float | None  # most that a capture which holds the load carries
    since_haul_s: float | None  # time since the last haul stroke ended
    remaining: Remaining  # travel until two bodies meet
    moved_m: float | None  # load travel since the session began
    by_rope: LoadTravel | None  # source of moved_m where no counter is at the load
    to_go_m: float | None  # load travel to the end of the job in the first rig file
    rope_out_m: float | None  # rope at the haul, less what was fed back


@dataclass(frozen=True)
class RigNow:
    """The rig in use and what was done to it, all of one moment: another thread never reads half of a change."""

    file: str  # name of its file in the session's folder
    model: Model  # with the bodies where they were drawn last
    stands_m: Floats  # positions of the bodies, (bodies,), m from the anchor
    drawing: int  # number that rises whenever the rig must be drawn again
    moves: tuple[Event, ...]  # moves of a conversion that are marked since it came into use


class LiveState:
    """A growing session: `take` its blocks, then read the `moment` and the `estimate`.

    path, info: folder and description of the session.
    rig, model, roles: the rig at the start of the session, its model, the roles of its channels.
    in_use: the rig in use now; of the thread that calls `take`.
    rig_now: the same for other threads.
    recording: status of the recorder.
    tracks: channel -> its readings so far.
    counters: travel of load and rope.
    events: the rows of events.csv so far.
    analyser: of the session.
    result: of the analyser, as of the last `find_strokes`.
    by_rope: load travel by the strokes of the result.
    haul: state of the haul.
    stroke: travel until two bodies meet.
    loads: forces on the parts.
    last_haul_s: when the last haul stroke ended, as of the last `estimate`.
    """

    def __init__(self, path: Path) -> None:
        """Open the session in this folder; raises UserFault where there is none."""
        self.path, self.info = path, open_session(path)
        sensors = self.info.sensors
        self.rig = parse_rig(self.info.rig_text, str(self.info.rig_file))
        self.model = model(self.rig)
        self.roles = roles(self.rig, sensors, self.model)
        self.in_use = RigInUse(self.rig, self.model)
        self.recording = RecorderWatch(path)
        self.tracks = {c.name: Track(c) for c in sensors.channels}
        self.counters = Counters(self.roles, self.tracks)
        self.events = EventsSoFar()
        self._load_rig = rigs_of(path, sensors)
        self.analyser = Analyser(roles=self.roles, later=self._load_rig)
        self.result = self.analyser.result()
        self.by_rope = by_rope(self.result)
        self.haul = HaulState(self.model)
        self.stroke = StrokeRoom(self.rig, self.roles.ratio)
        self.loads = CurrentLoads(self.roles, self.tracks, self.recording, self.model)
        self.last_haul_s: float | None = None
        self.rig_now = self._rig_now()

    def _rig_now(self) -> RigNow:
        return RigNow(
            file=self.in_use.file,
            model=self.loads.model,
            stands_m=self.in_use.stands_m,
            drawing=self.in_use.drawing,
            moves=tuple(self.events.moves),
        )

    @property
    def hauls(self) -> list[Stroke]:
        """Haul strokes so far, the growing one included."""
        return [s for s in self.result.strokes if s.direction == "haul"]

    def take(self, block: Block, mono_s: float, lock: AbstractContextManager[Any]) -> bool:
        """Take new rows, read at mono_s; return whether there were readings or events.

        lock: held while the pyramids grow, because other threads read them.
        """
        self.recording.take(block, mono_s)
        for event in block.events:
            self._take_event(event)
        if block.events:
            self.rig_now = self._rig_now()
        rows = {name: r for name, r in block.readings.items() if len(r.time_s)}
        with lock:
            for name, readings in rows.items():
                if name in self.tracks:
                    self.tracks[name].push(readings)
        if block.events or block.clock or rows:
            self.analyser.push(block, block.clock[-1].time_s if block.clock else -math.inf)
        return bool(block.events or rows)

    def _take_event(self, event: Event) -> None:
        """Apply a row of events.csv: a zero, a change of the rig, or what the page lists."""
        track = self.tracks.get(event.channel)
        if event.kind in ("zero", "undo") and track and event.value is not None:
            # a counter keeps its zero, because only its travel counts
            if track.channel.quantity == "force":
                track.zero = event.value
        elif event.kind == "saturated" and track:
            track.overload(event.time_s)
        elif event.kind == "rig":
            other = self.in_use.change(self._load_rig, self.roles, event.text, event.time_s)
            if other is None:
                self.stroke.change_rig(None, 0.0)
            else:
                self.haul = HaulState(other, self.haul)
                self.loads.change_rig(other)
                # the moves of a conversion lead to a rig that stands as its file says
                stands_s = event.time_s if self.events.moves else None
                self.stroke.change_rig(self.in_use.rig, other.travel_ratio, stands_s)
        self.events.take(event)

    def find_strokes(self) -> None:
        """Update the analyser's result, and all that follows from the strokes."""
        self.result = self.analyser.result()
        self.by_rope = by_rope(self.result)
        self.counters.follow(self.result.rigs)
        load, rope = self.counters.load, self.counters.rope
        ats = load.at if load else None, rope.at if rope else None
        last = in_order(self.result.rigs)[-1]
        # before this the analyser has not changed the rig yet
        if self.result.rigs[last].time_s >= self.in_use.from_s:
            numbers = [k for k, s in enumerate(self.result.strokes) if s.rig == last]
            own = [self.result.strokes[k] for k in numbers]
            self.stroke.follow(
                own,
                *ats,
                way_before=lambda k: self._way_before(
                    numbers[k] if k < len(numbers) else len(self.result.strokes)
                ),
                resetting=self._resetting(own),
            )

    def _resetting(self, strokes: Sequence[Stroke]) -> bool | None:
        """Whether a reset followed the last of these strokes; None where there is none."""
        if not strokes:
            return None
        resets = self.result.reset_list
        return bool(resets) and resets[-1].end_s >= strokes[-1].end_s

    def _way_before(self, k: int) -> float | None:
        """The load's net way since the session began, m, when stroke k began, behind the last one when the rig
        came into use; None: not known."""
        strokes = self.result.strokes
        if self.counters.load is not None:
            return self.counters.load.at(
                strokes[k].start_s if k < len(strokes) else self.in_use.from_s
            )
        return by_rope(replace(self.result, strokes=self.result.strokes[:k])).net_m

    def estimate(self) -> Reviewed:
        """Review the session so far; update the forces on parts and the positions of bodies from it."""
        info = replace(self.info, state=self.recording.state)
        more = [message("rig_changed_now")] if self.in_use.changed else []
        more += rows_left_out(self.recording.malformed)
        reviewed = review_all(info, self.rig, self.result, self.model, more)
        last = next(iter(self.hauls[-1:]), None)
        estimates = next(
            (
                c.estimates
                for c in reversed(reviewed.chapters)
                if c.estimates.load_force is not None
            ),
            reviewed.main.estimates,
        )
        if last is not None:
            self.last_haul_s = last.end_s
        load = estimates.load_force
        self.loads.take_estimate(
            last_N=last.mean_force_N if last else None,
            load_N=None if load is None else load.value,
            by_cell=estimates.method in ("cell", "haul-and-lower"),
            this_rig=last is not None and last.start_s >= self.in_use.from_s,
        )
        moved_model = self.in_use.move(self.stroke.places(*self._travel()))
        if moved_model is not None:
            self.loads.change_rig(moved_model)
        self.rig_now = self._rig_now()
        return reviewed

    def moment(self, mono_s: float) -> Moment:
        """The session at mono_s, by the same monotonic clock as for `take`."""
        now_s, recorder = self.recording.now_s(mono_s), self.recording.alive(mono_s)
        state = self._state(now_s)
        load_m, rope_m = self._travel()
        summed = self.by_rope if load_m is None else None
        moved_m = load_m if summed is None else summed.net_m
        goal_m = self.rig.load.pull_distance_m
        remaining = self.stroke.remaining(load_m, rope_m)
        if recorder.over:
            remaining = replace(remaining, load_m=None, rope_m=None)
        since = self.last_haul_s
        return Moment(
            now_s=now_s,
            recorder=recorder,
            state=state,
            carried=self.loads.carried(state, now_s) if recorder.code == "recording" else None,
            held_N=self.loads.held_N(state, now_s),
            since_haul_s=None if since is None else max(0.0, now_s - since),
            remaining=remaining,
            moved_m=moved_m,
            by_rope=summed,
            to_go_m=None if moved_m is None or goal_m is None else max(0.0, goal_m - moved_m),
            rope_out_m=rope_m,
        )

    def standing(self) -> tuple[str, Floats | None]:
        """Name of the rig file in use, and where its bodies are now, (bodies,), m from the anchor; None: not known.

        Another thread may call it: while the rig changes the places are not known.
        """
        rig = self.rig_now
        x_m = self.stroke.places(*self._travel())
        same = self.in_use.file == rig.file and x_m is not None and len(x_m) == len(rig.stands_m)
        return rig.file, x_m if same else None

    def overdue(self, track: Track, moment: Moment) -> bool:
        """Whether a reading of this channel is overdue, while the recording goes on."""
        return track.stale(moment.now_s, self.recording.began_s) and not moment.recorder.over

    def value(self, track: Track, moment: Moment) -> float | None:
        """The value to show of this channel, N or m; None before a reading and while one is overdue."""
        if self.overdue(track, moment):
            return None
        # while the load is held on a capture the haul cell does not measure the rope
        rests = track.channel is self.roles.haul_force and self.haul.hauled
        return moment.state.force_N if rests and not track.saturated else track.value

    def _travel(self) -> tuple[float | None, float | None]:
        """(load travel, rope at the haul) by the counters, m; None where it is not counted."""
        load, rope = self.counters.load, self.counters.rope
        return load.value if load else None, rope.value if rope else None

    def _state(self, now_s: float) -> State:
        """What happens at the rope at now_s; "nodata" while a reading of the haul cell is overdue."""
        cell = self.roles.haul_force
        track = self.tracks[cell.name] if cell else None
        if track is not None and track.stale(now_s, self.recording.began_s):
            age = track.age_s(now_s)
            name = track.channel.name
            said = message("no_reading_at_all", cell=name)
            if age is not None:
                said = message("no_reading_for", cell=name, age_s=age)
            return State("nodata", "NO DATA", said, None)
        hauled = self.loads.last_N is not None
        return self.haul.update(last_second(track, self.counters, now_s, self.result, hauled))
