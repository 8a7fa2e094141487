"""One session watched: a thread follows it, feeds the analyser, and prepares what pages ask for.

`/since` only reads what lies ready on the board.  Per tick the work is that of the new rows.  What the
analyser has found so far, and with it the load's way, is taken every WAY_EVERY_S; the estimate, whose
cost grows with the number of strokes, every RESULT_EVERY_S.  Neither takes more than a tenth of the time.
"""

from __future__ import annotations

import math
import re
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.live.channel_track import Track, Way
from analysis.live.haul_state import OFF_AFTER_S, HaulState, Seen, State
from analysis.live.minmax_pyramid import Pyramid
from analysis.live.recorder_status import Alive, Recording
from analysis.live.stroke_remaining import StrokeLeft
from analysis.mechanics.model import Model, model
from analysis.messages.message import message, text_of
from analysis.prediction.alarm_rows import part_texts
from analysis.review.review import review_all, rows_left_out
from analysis.rig.rig import Floats
from analysis.rig_file.load import load_rig, parse_rig
from analysis.signals.channel_roles import check_places, roles
from analysis.strokes.analyser import Analyser
from analysis.strokes.load_travel import LoadWay, by_rope
from analysis.strokes.result import Result
from analysis.strokes.rig_changes import rigs_of
from dashboard.live.event_log import Happened
from dashboard.live.loads_now import LoadsNow, nearest
from dashboard.live.session_header import head
from dashboard.live.state_feed import Board, sig
from dashboard.text.units import METRIC, Units
from logger.errors import UserFault, one_line
from logger.session.reader import Follower, open_session
from logger.session.records import Block, Event, SessionInfo

TICK_S, IDLE_TICK_S = 0.05, 0.5
WAY_EVERY_S, RESULT_EVERY_S, SHARE = 0.2, 0.4, 0.1
CHANNELS_EVERY_S = 0.4
STUCK_S = 1.0
STRANDS_EVERY_S = 0.2
DRAWN_ANEW_M = 0.4  # how far a body moves until the rig is drawn anew


class Watch:
    """A session followed.  Raises UserFault where there is none to open."""

    def __init__(
        self, path: Path, run: str = "run", log: Callable[[Exception], None] | None = None,
        clock: Callable[[], float] = time.monotonic, shown: Units = METRIC,
    ) -> None:  # fmt: skip
        self.shown = shown
        self.info: SessionInfo = open_session(path)
        self.path = path
        self.rig = parse_rig(self.info.rig_text, str(self.info.rig_file))
        self.known: Model = model(self.rig)
        self.rig_now, self.known_now = self.rig, self.known
        self.roles = roles(self.rig, self.info.sensors, self.known)
        self.analyser = Analyser.of(self.roles, rigs_of(path, self.info.sensors))
        self.follower = Follower(path)
        self.tracks = {c.name: Track(c) for c in self.info.sensors.channels}
        self.recording = Recording(path)
        self.haul = HaulState(self.known)
        self.stroke = StrokeLeft(self.rig, self.roles.ratio)
        self.happened = Happened(self.info.sensors, shown)
        self.loads = LoadsNow(self.roles, self.tracks, self.recording, self.known)
        self.stands: Floats = self.rig.start_m  # where the bodies are drawn
        self.drawn = 1
        self.drops: dict[str, int] = {}
        self.result: Result | None = None
        self._by_rope: LoadWay | None = None  # of the result
        self.last_s: float | None = None
        self.ticked: float | None = None
        self.finished = False
        self._malformed = 0
        self._log, self._clock = log, clock
        self._due = self._result_due = self._channels_due = self._strands_due = -math.inf
        self._rig_changed, self._rig_from_s = False, -math.inf
        progress = self.roles.progress
        self._rope = Way(self.tracks[progress.name], self.roles.progress_gain) if progress else None
        self._rigs = 1  # whose gains the rope counter has
        self._beside = any(body.y_m for body in self.rig.bodies)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        shown = self.roles.forces[0].name if self.roles.forces else ""
        way = self.roles.load_length or self.roles.progress
        self.board = Board(
            run, self.tracks[shown].pyramid if shown else Pyramid(),
            self.tracks[way.name].pyramid if way else None,
        )  # fmt: skip
        self._tell_head()

    # -- the thread ----------------------------------------------------------------------------
    def start(self) -> None:
        """Follow in a thread of its own until `stop`."""
        self._thread = threading.Thread(target=self._run, name="follower", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        if self._thread is not None:
            self._thread.join(2.0)

    def _run(self) -> None:
        while True:
            try:
                self.tick()
            except UserFault as fault:
                self.board.set("fault", one_line(str(fault), 240))
            except Exception as error:
                self.board.set("fault", "our own fault: nothing is followed any more; see the log")
                if self._log is not None:
                    self._log(error)
                return
            if self._stop.wait(IDLE_TICK_S if self.finished else TICK_S):
                return

    def tick(self) -> None:
        """One round: read what is new, work out, put it on the board.  Raises SessionFault."""
        mono_s = self._clock()
        self.recording.look(mono_s)  # first: after the last row nothing comes, so none is missed
        block = self.follower.read()
        self._take(block, mono_s)
        now_s = self.recording.now_s(mono_s)
        alive = self.recording.alive(mono_s)
        over = alive.code in ("sealed", "changed", "cut")
        news = any(len(r.time_s) for r in block.readings.values()) or bool(block.events)
        last = over and (news or not self.finished)
        if last or (not self.finished and mono_s >= min(self._due, self._result_due)):
            began = time.perf_counter()
            self._find()
            self._result_due = mono_s + max(WAY_EVERY_S, (time.perf_counter() - began) / SHARE)
        if self.result is not None and (last or (not self.finished and mono_s >= self._due)):
            began = time.perf_counter()
            self._estimate(self.result)
            spent = time.perf_counter() - began
            self._due = mono_s + max(RESULT_EVERY_S, spent / SHARE)
        self.finished = over
        state = self._state(now_s)
        carried = self.loads.carried(state, now_s) if alive.code == "recording" else None
        self._tell_now(now_s, alive, state, nearest(carried))
        if mono_s >= self._strands_due or over:
            self._strands_due = mono_s + STRANDS_EVERY_S
            self.loads.tell(self.board, carried)
        if mono_s >= self._channels_due or over:
            self._channels_due = mono_s + CHANNELS_EVERY_S
            self._tell_channels(now_s, state)
        self.board.set("fault", None)
        self.ticked = mono_s

    def since(self, seq: int, version: int, span: str) -> bytes:
        """The answer to a page; says so where the following itself does not go on."""
        ticked = self.ticked
        late = 0.0 if self.finished or ticked is None else self._clock() - ticked
        if ticked is None or late > STUCK_S:
            words = "READING" if ticked is None else "PAGE IS BEHIND"
            detail = (
                "reading what was recorded so far" if ticked is None
                else f"this page's server has not kept up for {late:.0f} s"
            )  # fmt: skip
            self.board.now({"k": "wait", "w": words, "d": detail})
        return self.board.since(seq, version, span)

    # -- taking up -----------------------------------------------------------------------------
    def _take(self, block: Block, mono_s: float) -> None:
        self.recording.take(block, mono_s)
        self._malformed += block.malformed
        for event in block.events:
            self._event(event)
        # under the lock: a page may be reading bins of the pyramid just now
        with self.board.lock:
            for name, readings in block.readings.items():
                if name in self.tracks and len(readings.time_s):
                    self.tracks[name].push(readings)
        if block.clock:
            self.drops = block.clock[-1].drops
        now = block.clock[-1].time_s if block.clock else -math.inf
        if block.events or block.clock or any(len(r.time_s) for r in block.readings.values()):
            self.analyser.push(block, now)

    def _event(self, event: Event) -> None:
        track = self.tracks.get(event.channel)
        if event.kind in ("zero", "undo") and track and event.value is not None:
            if track.channel.quantity == "force":  # only ways of a counter count: it keeps its zero
                track.zero = event.value
        elif event.kind == "rig":
            self._take_rig(event.text, event.time_s)
        self.happened.take(event)

    def _take_rig(self, name: str, time_s: float) -> None:
        """Another rig from now on: levels, shares and drawing are its own; where its bodies stand is
        not known."""
        self._rig_changed = True
        if not re.fullmatch(r"rig-[0-9]{1,6}\.toml", name):
            return
        try:
            rig = load_rig(self.path / name)
            check_places(rig, self.info.sensors)
            known = model(rig)
        except (UserFault, np.linalg.LinAlgError):
            return  # the recorder took it, so this is a file that was changed since
        self.rig_now, self.known_now, self._rig_from_s = rig, known, time_s
        self.haul = HaulState(known, self.haul)
        self.loads.rig(known)
        self.stands, self._beside = rig.start_m, False
        self.drawn += 1
        self._tell_head()

    # -- working out ---------------------------------------------------------------------------
    def _way(self, of: str) -> Way | None:
        """The counter of the load, or of the rope at the haul: there or, scaled, elsewhere in the rig."""
        known = self.roles
        if of == "load":
            return Way(self.tracks[known.load_length.name], 1.0) if known.load_length else None
        return None if known.progress is known.load_length else self._rope

    def _state(self, now_s: float) -> State:
        cell = self.roles.haul_force
        track = self.tracks[cell.name] if cell else None
        if track is not None and track.stale(now_s, self.recording.began_s):
            age = track.age_s(now_s)
            name = cell.name if cell else ""
            said = message("no_reading_at_all", cell=name)
            if age is not None:
                said = message("no_reading_for", cell=name, age_s=age)
            return State("nodata", "NO DATA", said, None)
        result = self.result
        rope, load = self._way("haul"), self._way("load")
        force = high = None
        if track is not None and track.value is not None:
            force = float(np.mean(track.recent(0.25)))
            high = float(np.max(track.recent(OFF_AFTER_S)))
        seen = Seen(
            now_s,
            force,
            high,
            rope.moved(1.0, now_s) if rope else None,
            load.moved(0.5, now_s) if load else None,
            _negative(load.moved(1.0, now_s) if load else None),
            load.value if load else None,
            result.floor_N if result else 5.0,
            result.steady_N if result else None,
            self.loads.last_N is not None,
        )
        return self.haul.look(seen)

    def _find(self) -> None:
        """What the analyser has found so far, and what follows from strokes alone."""
        result = self.result = self.analyser.result()
        self._by_rope = by_rope(result)
        for span in result.rigs[self._rigs :]:
            if self._rope is not None:
                self._rope = self._rope.with_gain(span.roles.progress_gain, span.time_s)
        self._rigs = max(self._rigs, len(result.rigs))
        if not self._rig_changed:
            rope, load = self._way("haul"), self._way("load")
            self.stroke.follow(result.strokes, load.at if load else None, rope.at if rope else None)

    def _estimate(self, result: Result) -> None:
        hauls = [s for s in result.strokes if s.direction == "haul"]
        if hauls:
            self.last_s = hauls[-1].end_s
        info = replace(self.info, state=self.recording.state)
        more = [message("rig_changed_now")] if self._rig_changed else []
        more += rows_left_out(self._malformed)
        found = review_all(info, self.rig, result, self.known, more).shown(self.shown)
        measured = found["measured"]
        force = measured["load_force_N"]
        self.loads.hauled(
            hauls[-1].mean_force_N if hauls else None, None if force is None else force["value"],
            measured["load_force_method"] in ("cell", "haul-and-lower"),
            bool(hauls) and hauls[-1].start_s >= self._rig_from_s,
        )  # fmt: skip
        predicted = found["predicted"]
        self.board.set("pred", [sig(found["ideal_ma"]), sig(predicted["model_ma"]),
                                sig(2 * predicted["model_ma_u"])])  # fmt: skip
        self.board.set("ma", _short(measured["actual_ma"]))
        self.board.set("eff", _short(measured["efficiency"]))
        self.board.set("load", _short(measured["load_force_N"]))
        self.board.set("method", measured["load_force_method"])
        self.board.set("why", measured["why_not"])
        self.board.set("verdict", found["agreement"]["verdict"])
        self.board.set(
            "sum", {"n": len(hauls), "resets": result.resets,
                    "ht": sig(measured["haul_travel_m"]), "lt": sig(measured["load_travel_m"])},
        )  # fmt: skip
        self.board.lines("w", [one_line(w, 240) for w in found["warnings"]], 24)
        self.happened.tell(self.board, result.strokes, result.found)
        self._follow_bodies()

    def _follow_bodies(self) -> None:
        """Where the bodies stand now, for the drawing and for strands that stand beside the axis."""
        if self._rig_changed:
            return
        rope, load = self._way("haul"), self._way("load")
        x_m = self.stroke.places(load.value if load else None, rope.value if rope else None)
        if x_m is None or float(np.max(np.abs(x_m - self.stands))) < DRAWN_ANEW_M:
            return
        self.stands, self.drawn = x_m, self.drawn + 1
        if self._beside:
            try:
                self.loads.rig(model(self.rig, x_m))
            except np.linalg.LinAlgError:
                return  # it locks up there: what was known last stays

    def _tell_now(self, now_s: float, alive: Alive, state: State, used: list[Any] | None) -> None:
        haul = self.roles.haul_force
        track = self.tracks[haul.name] if haul else None
        rope, load = self._way("haul"), self._way("load")
        recording = alive.code == "recording"
        over = alive.code in ("sealed", "changed", "cut")
        left = self.stroke.left(load.value if load else None, rope.value if rope else None)
        if self._rig_changed:
            left = replace(left, load_m=None, rope_m=None, why_not=message("rig_was_changed"))
        self.board.set("left", {"by": list(left.meets), "why": one_line(text_of(left.why_not, self.shown), 200)})
        told = state if recording else alive
        way = self._tell_moved(load.value if load else None)
        goal = self.rig.load.pull_distance_m
        self.happened.tell_alarms(self.board)
        self.board.now(
            {
                "t": round(now_s, 1),
                "k": state.code if recording else alive.code,
                "w": one_line(told.words, 60),
                "d": one_line(text_of(told.detail, self.shown), 120),
                "f": sig(state.force_N) if recording else None,
                "lf": sig(self.loads.last_N, 3),
                "la": None if self.last_s is None else round(max(0.0, now_s - self.last_s)),
                "hc": self.loads.held_N(now_s) if state.code in ("held", "reset", "back") else None,
                "g": self.drawn,
                "u": used,
                "pk": sig(track.highest) if track else None,
                "pt": round(track.highest_s or 0.0, 1) if track else None,
                "lt": _round(way),
                "tg": None if way is None or goal is None else _round(max(0.0, goal - way)),
                "ht": _round(rope.value if rope else None),
                "sl": None if over else _round(left.load_m),
                "sr": None if over else _round(left.rope_m),
            }
        )

    def _tell_moved(self, counted_m: float | None) -> float | None:
        """How far the load has moved, m: what its counter says, else the review's sum over strokes.

        The part `moved`: up, down: hauled and lowered, m; rigs: with how many; first: whether what is
        to go is of a rig that is no more; why: why it is not known.
        """
        found = None if counted_m is not None else self._by_rope
        told: dict[str, Any] = {"first": self._rig_changed}
        if found is not None:
            told |= {"up": _round(found.hauled_m), "down": _round(found.lowered_m),
                     "rigs": found.rigs, "why": text_of(found.why_not, self.shown)}  # fmt: skip
        self.board.set("moved", told)
        return counted_m if found is None else found.net_m

    def _tell_channels(self, now_s: float, state: State) -> None:
        haul = self.roles.haul_force
        for k, (name, track) in enumerate(self.tracks.items()):
            age = track.age_s(now_s)
            stale = track.stale(now_s, self.recording.began_s) and not self.finished
            word = "NO DATA" if stale else "BEYOND CAPACITY" if track.saturated else ""
            value = None if stale else sig(track.value)
            if haul is not None and name == haul.name and not word and self.haul.hauled:
                # what the haul cell reads while the load is held says nothing about the rope
                value = sig(state.force_N)
            row = [
                value,
                round(track.rate(now_s), 1) if not self.finished else None,
                None if age is None else round(age, 1),
                self.drops.get(name, 0),
                track.count,
                word,
            ]
            self.board.set(f"c:{k}", row)

    def _tell_head(self) -> None:
        self.happened.alarms |= part_texts(self.known_now)
        self.board.set(
            "head",
            head(self.info, self.path.name, self.rig_now, self.known_now, self.roles,
                 self._way("haul") is not None, self.shown, self.rig.load.pull_distance_m),
            whole=True,
        )  # fmt: skip


def _negative(value: float | None) -> float | None:
    return None if value is None else -value


def _round(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 3)


def _short(quantity: dict[str, Any] | None) -> list[float | int | None] | None:
    """[value, U95, n]"""
    return (
        None
        if quantity is None
        else [sig(quantity["value"]), sig(quantity["U95"], 3), quantity["n"]]
    )
