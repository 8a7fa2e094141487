"""From blocks of readings to strokes and events: `push(block, now)`, `result()`.

The result depends only on what was pushed, not on how it was cut, provided that readings of
different channels and events come at most 0.25 s out of order (interface section 4).  Cost of a
push: a few passes over its readings; of a result: the strokes and events of the session so far.
"""

from __future__ import annotations

import copy
import math

import numpy as np

from analysis.signals.channel_feed import Feed
from analysis.signals.channel_roles import Roles
from analysis.signals.chunks import slices
from analysis.signals.noise_floor import NoiseFloor, noise_floor
from analysis.signals.time_cells import MOST, RATE
from analysis.strokes.cell_track import CellTrack, take_grid, track_of
from analysis.strokes.complete_seconds import CompleteSeconds
from analysis.strokes.result import Result, SessionLog, gather
from analysis.strokes.rig_changes import Loader, RigTimetable
from analysis.strokes.segmentation import Segments, Settings
from logger.session.records import Block, Event

NOISE_SECONDS = 3  # from which the noise is learnt; chosen by us: a crew waits that long before it pulls
PIECE = 1024  # seconds used at once, so that arrays stay in the processor's cache; speed only


class Analyser:
    """Strokes and events of one session, from blocks as they come.

    _log: events, drops, and how far the recording is
    _rigs: which rig holds when
    _feeds: by channel, its readings that wait, its gaps, its highest value
    _seconds: which seconds can be used
    _held: tracks of the first seconds, until the noise is learnt from them
    _noise: of the haul cell
    _segments: strokes, resets, slips and shocks; None until the noise is learnt
    """

    def __init__(self, *, roles: Roles, later: Loader | None = None) -> None:
        """later: gives the rig that a `rig` event names, see `rig_changes.rigs_of`; without it the
        first rig, whose roles are given, is taken for the whole session."""
        self._log = SessionLog()
        self._rigs = RigTimetable(roles, later)
        self._feeds = {c.name: Feed(c, roles.limits_of(c.name)) for c in roles.channels}
        self._seconds = CompleteSeconds(roles.channels)
        self._held: list[CellTrack] = []
        self._noise = NoiseFloor()
        self._segments: Segments | None = None

    def push(self, block: Block, now: float) -> None:
        """More of the session.  now: how far the recording is, s (a growing session's clock)."""
        with np.errstate(all="ignore"):
            for name, readings in block.readings.items():
                if name not in self._feeds and len(readings.time_s):
                    self._log.unknown.add(name)
            for event in block.events:
                self._take_event(event)
            for row in block.clock:
                self._log.add_clock(row)
            mine = {n: r for n, r in block.readings.items() if n in self._feeds}
            for piece, in_order in slices(mine):
                for name, (time_s, reading) in piece.items():
                    self._feeds[name].stream.push(time_s, reading, in_order)
                self._use()
            for feed in self._feeds.values():
                if feed.stream.count:
                    self._log.see(feed.stream.first_s)
                    self._log.see(feed.stream.last_s)
            self._log.reach(now)
            self._use()

    def result(self) -> Result:
        """What follows from all that was pushed; the analyser goes on unchanged."""
        with np.errstate(all="ignore"):
            end = self._fork()
            end._use(ended=True)
            end._learn()
            return gather(end._log, end._feeds, end._rigs, end._noise, end._segments)

    def _fork(self) -> Analyser:
        """A copy that can use up what waits; nothing is pushed into it."""
        other = copy.copy(self)
        other._rigs, other._seconds = self._rigs.fork(), copy.copy(self._seconds)
        other._feeds = {name: feed.fork() for name, feed in self._feeds.items()}
        other._held = list(self._held)
        other._segments = self._segments.fork() if self._segments else None
        return other

    def _take_event(self, event: Event) -> None:
        self._log.add_event(event)
        if event.kind == "rig" and abs(event.time_s) < MOST:
            self._rigs.add(event)
        feed, value = self._feeds.get(event.channel), event.value
        # undoing a zero names the one that holds again; undoing a mark gives no value
        if feed and event.kind in ("zero", "undo") and value is not None and math.isfinite(value):
            feed.zeros = sorted([*feed.zeros, (event.time_s, value)], key=lambda z: z[0])

    def _use(self, ended: bool = False) -> None:
        """Use the seconds to which nothing can be added any more; ended: all that are left."""
        feeds, seconds = self._feeds.values(), self._seconds
        until = seconds.settle(feeds, ended)
        while seconds.next < until:
            begin = seconds.begin(feeds, until)
            while self._rigs.next_s <= begin:
                self._change_rig()
            if begin >= until:
                seconds.next = until
                break
            stop = int(min(until, begin + PIECE, self._rigs.next_s))
            grid = take_grid(feeds, begin, seconds.take(feeds, begin, stop))
            if self._rigs.roles.haul_force is not None:
                self._segment(track_of(grid, self._rigs.roles))

    def _change_rig(self) -> None:
        """The next rig holds from the next second on; the stroke that was going on ends."""
        self._learn()
        self._rigs.go_on()
        roles = self._rigs.roles
        for feed in self._feeds.values():
            feed.limit(roles.limits_of(feed.channel.name))
        if self._segments is not None:
            self._segments.change(roles.ratio, self._rigs.index)

    def _segment(self, track: CellTrack) -> None:
        if self._segments is not None:
            self._segments.push(track)
            return
        self._held.append(track)
        if sum(len(t.high) for t in self._held) >= NOISE_SECONDS * RATE:
            self._learn()

    def _learn(self) -> None:
        """The noise from the tracks that were held back, and then their segmentation."""
        tracks, self._held = self._held, []
        roles = self._rigs.roles
        if not tracks or roles.haul_force is None:
            return
        force = np.concatenate([t.forces[0] for t in tracks])[: NOISE_SECONDS * RATE]
        self._noise = noise_floor(force, roles.haul_force)
        settings = Settings(
            floor_N=self._noise.floor_N,
            ratio=roles.ratio,
            counted=roles.load_length is not None,
            forces=len(roles.forces),
        )
        self._segments = Segments(settings, self._rigs.index)
        for track in tracks:
            self._segments.push(track)
