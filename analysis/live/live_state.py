"""Works out what the live page shows of one session, from blocks of its rows as they come."""

from __future__ import annotations

import math
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from analysis.live.channel_track import Counters, Track
from analysis.live.current_loads import CurrentLoads
from analysis.live.events_so_far import EventsSoFar
from analysis.live.haul_state import HaulState, State, seen
from analysis.live.inferred_loads import Carried
from analysis.live.recorder_status import Alive, Recording
from analysis.live.rig_in_use import RigInUse
from analysis.live.stroke_remaining import Left, StrokeLeft
from analysis.mechanics.model import model
from analysis.messages.message import message
from analysis.review.review import Reviewed, review_all, rows_left_out
from analysis.rig_file.load import parse_rig
from analysis.signals.channel_roles import roles
from analysis.strokes.analyser import Analyser
from analysis.strokes.load_travel import LoadTravel, by_rope
from analysis.strokes.rig_changes import rigs_of
from analysis.strokes.stroke import Stroke
from logger.session.reader import open_session
from logger.session.records import Block, Event


@dataclass(frozen=True)
class Moment:
    """One session at one moment; what is not known is None.

    now_s: s of the session.
    recorder: whether it lives.
    state: what goes on at the rope.
    carried: what strands and parts carry.
    held_N: what the captures that hold the load carry, at most.
    since_haul_s: since the last haul stroke ended.
    left: until two bodies meet.
    moved_m: load travel since the session began.
    by_rope: what moved_m was worked out from, where no counter is at the load.
    to_go_m: load travel to the end of the job, as the first rig's file has it.
    rope_out_m: rope at the haul, net of what was fed back.
    """

    now_s: float
    recorder: Alive
    state: State
    carried: Carried | None
    held_N: float | None
    since_haul_s: float | None
    left: Left
    moved_m: float | None
    by_rope: LoadTravel | None
    to_go_m: float | None
    rope_out_m: float | None


class LiveState:
    """One session as it goes on: `take` its blocks, ask for the `moment` and the `estimate`.

    Raises UserFault where there is no session to open.

    path, info: of the session.
    rig, model, roles: that it began with.
    in_use: the rig that is there now.
    recording: the recorder's signs of life.
    tracks: channel -> its readings so far.
    counters: travel of load and rope.
    events: the rows of events.csv so far.
    analyser: what the blocks go to.
    result: of the analyser, as of the last `find_strokes`.
    by_rope: load travel by the strokes of the result.
    haul, stroke, loads: what goes on at the rope, what is left to haul, what parts carry.
    last_haul_s: when the last haul stroke ended, as of the last `estimate`.
    """

    def __init__(self, path: Path) -> None:
        self.path, self.info = path, open_session(path)
        sensors = self.info.sensors
        self.rig = parse_rig(self.info.rig_text, str(self.info.rig_file))
        self.model = model(self.rig)
        self.roles = roles(self.rig, sensors, self.model)
        self.in_use = RigInUse(self.rig, self.model)
        self.recording = Recording(path)
        self.tracks = {c.name: Track(c) for c in sensors.channels}
        self.counters = Counters(self.roles, self.tracks)
        self.events = EventsSoFar()
        self.analyser = Analyser(roles=self.roles, later=rigs_of(path, sensors))
        self.result = self.analyser.result()
        self.by_rope = by_rope(self.result)
        self.haul = HaulState(self.model)
        self.stroke = StrokeLeft(self.rig, self.roles.ratio)
        self.loads = CurrentLoads(self.roles, self.tracks, self.recording, self.model)
        self.last_haul_s: float | None = None

    @property
    def hauls(self) -> list[Stroke]:
        """Haul strokes so far, the one that goes on among them."""
        return [s for s in self.result.strokes if s.direction == "haul"]

    def take(self, block: Block, mono_s: float, lock: AbstractContextManager[Any]) -> bool:
        """New rows, read at mono_s; whether there were any.  lock: held while pyramids grow, as other
        threads read them."""
        self.recording.take(block, mono_s)
        for event in block.events:
            self._take_event(event)
        rows = {name: r for name, r in block.readings.items() if len(r.time_s)}
        with lock:
            for name, readings in rows.items():
                if name in self.tracks:
                    self.tracks[name].push(readings)
        if block.events or block.clock or rows:
            self.analyser.push(block, block.clock[-1].time_s if block.clock else -math.inf)
        return bool(block.events or rows)

    def _take_event(self, event: Event) -> None:
        track, sensors = self.tracks.get(event.channel), self.info.sensors
        if event.kind in ("zero", "undo") and track and event.value is not None:
            # a counter keeps its zero: its travel alone counts
            if track.channel.quantity == "force":
                track.zero = event.value
        elif event.kind == "rig":
            other = self.in_use.change(self.path, event.text, sensors, event.time_s)
            if other is not None:
                self.haul = HaulState(other, self.haul)
                self.loads.change_rig(other)
        self.events.take(event)

    def find_strokes(self) -> None:
        """What the analyser has found so far, and what follows from strokes alone."""
        self.result = self.analyser.result()
        self.by_rope = by_rope(self.result)
        self.counters.follow(self.result.rigs)
        load, rope = self.counters.load, self.counters.rope
        ats = load.at if load else None, rope.at if rope else None
        if not self.in_use.changed:
            self.stroke.follow(self.result.strokes, *ats)

    def estimate(self) -> Reviewed:
        """The review of all so far; forces and bodies follow it."""
        info = replace(self.info, state=self.recording.state)
        more = [message("rig_changed_now")] if self.in_use.changed else []
        more += rows_left_out(self.recording.malformed)
        reviewed = review_all(info, self.rig, self.result, self.model, more)
        estimates, last = reviewed.main.estimates, next(iter(self.hauls[-1:]), None)
        if last is not None:
            self.last_haul_s = last.end_s
        load = estimates.load_force
        self.loads.hauled(
            last_N=last.mean_force_N if last else None,
            load_N=None if load is None else load.value,
            by_cell=estimates.method in ("cell", "haul-and-lower"),
            this_rig=last is not None and last.start_s >= self.in_use.from_s,
        )
        moved = self.in_use.move(self.stroke.places(*self._travel()))
        if moved is not None:
            self.loads.change_rig(moved)
        return reviewed

    def moment(self, mono_s: float) -> Moment:
        """The session now, mono_s by the clock that `take` was told."""
        now_s, recorder = self.recording.now_s(mono_s), self.recording.alive(mono_s)
        state = self._state(now_s)
        load_m, rope_m = self._travel()
        summed = self.by_rope if load_m is None else None
        moved_m = load_m if summed is None else summed.net_m
        goal_m = self.rig.load.pull_distance_m
        left = self.stroke.left(load_m, rope_m)
        if self.in_use.changed:
            left = replace(left, load_m=None, rope_m=None, why_not=message("rig_was_changed"))
        since = self.last_haul_s
        return Moment(
            now_s=now_s,
            recorder=recorder,
            state=state,
            carried=self.loads.carried(state, now_s) if recorder.code == "recording" else None,
            held_N=self.loads.held_N(state, now_s),
            since_haul_s=None if since is None else max(0.0, now_s - since),
            left=replace(left, load_m=None, rope_m=None) if recorder.over else left,
            moved_m=moved_m,
            by_rope=summed,
            to_go_m=None if moved_m is None or goal_m is None else max(0.0, goal_m - moved_m),
            rope_out_m=rope_m,
        )

    def overdue(self, track: Track, moment: Moment) -> bool:
        """Whether a reading of this channel is overdue, while the recording goes on."""
        return track.stale(moment.now_s, self.recording.began_s) and not moment.recorder.over

    def value(self, track: Track, moment: Moment) -> float | None:
        """What to show of this channel, N or m; None before the first reading and while one is overdue."""
        if self.overdue(track, moment):
            return None
        # what the haul cell reads while the load is held says nothing about the rope
        rests = track.channel is self.roles.haul_force and self.haul.hauled
        return moment.state.force_N if rests and not track.saturated else track.value

    def _travel(self) -> tuple[float | None, float | None]:
        """Where load and rope are by their counters, m."""
        load, rope = self.counters.load, self.counters.rope
        return load.value if load else None, rope.value if rope else None

    def _state(self, now_s: float) -> State:
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
        return self.haul.look(seen(track, self.counters, now_s, self.result, hauled))
