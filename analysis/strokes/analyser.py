"""Turns blocks of readings into strokes and events: `push(block, now)`, then `result()`.

The result depends on the readings only, not on how they were cut into blocks, provided that readings
of different channels and events come at most 0.25 s out of order (interface section 4).  A push costs a
few passes over its readings; a result costs one pass over the strokes and events so far.
"""

from __future__ import annotations

import copy
import math

import numpy as np

from analysis.signals.channel_feed import Feed, slices
from analysis.signals.channel_roles import Roles
from analysis.signals.noise_floor import NoiseFloor, noise_floor
from analysis.signals.time_cells import MOST, RATE
from analysis.strokes.cell_track import CellTrack, take_grid, track_of
from analysis.strokes.complete_seconds import CompleteSeconds
from analysis.strokes.result import Result, SessionLog, assemble_result
from analysis.strokes.rig_changes import Loader, RigReadings, RigTimetable
from analysis.strokes.segmentation import Segmentation, Settings
from logger.session.records import Block, Event

# of readings for the noise estimate; chosen by us: a crew waits that long before it pulls
NOISE_SECONDS = 3
PIECE = 1024  # seconds processed at once, so that arrays stay in the processor's cache; speed only


class Analyser:
    """Computes the strokes and events of one session from its blocks.

    _log: rows of events.csv, dropped readings, first and last time of the session.
    _rigs: which rig is in use when.
    _feeds: buffer of each channel, by name.
    _seconds: which seconds are complete.
    _held: tracks of the first seconds, until the noise estimate.
    _noise: noise and floor of the haul cell.
    _segmentation: strokes, resets, slips and shocks; None until the noise estimate.
    _load_m: load counter at the end of the seconds processed, m; None without a reading of one.
    """

    def __init__(self, *, roles: Roles, later: Loader | None = None) -> None:
        """roles: of the rig at the start; later: loads the rig that a `rig` event names, as
        `rig_changes.rigs_of` makes it; None: the first rig counts for the whole session."""
        self._log = SessionLog()
        self._rigs = RigTimetable(roles, later)
        self._feeds = {c.name: Feed(c, roles.limits_of(c.name)) for c in roles.channels}
        self._seconds = CompleteSeconds(roles.channels)
        self._held: list[CellTrack] = []
        self._noise = NoiseFloor()
        self._segmentation: Segmentation | None = None
        self._load_m: float | None = None

    def push(self, block: Block, now: float) -> None:
        """Add a block of the session; now: end of the recording so far, s of the session's clock."""
        with np.errstate(all="ignore"):
            for name, readings in block.readings.items():
                if name not in self._feeds and len(readings.time_s):
                    self._log.unknown_channels.add(name)
            for event in block.events:
                self._take_event(event)
            for row in block.clock:
                self._log.add_clock(row)
            used = {n: r for n, r in block.readings.items() if n in self._feeds}
            for piece, in_order in slices(used):
                for name, (time_s, reading) in piece.items():
                    feed = self._feeds[name]
                    feed.stream.push(time_s, feed.turns.followed(time_s, reading), in_order)
                self._use()
            for feed in self._feeds.values():
                if feed.stream.count:
                    self._log.see(feed.stream.first_s)
                    self._log.see(feed.stream.last_s)
            self._log.reach(now)
            self._use()

    def result(self) -> Result:
        """Compute the result of all blocks so far.  The analyser itself does not change."""
        with np.errstate(all="ignore"):
            end = self._fork()
            end._use(ended=True)
            end._learn()
            end._rigs.keep(end._readings())
            return assemble_result(end._log, end._feeds, end._rigs, end._noise, end._segmentation)

    def _fork(self) -> Analyser:
        """Return a copy that may use the readings that still wait; no block is pushed into it."""
        other = copy.copy(self)
        other._rigs, other._seconds = self._rigs.fork(), copy.copy(self._seconds)
        other._feeds = {name: feed.fork() for name, feed in self._feeds.items()}
        other._held = list(self._held)
        other._segmentation = self._segmentation.fork() if self._segmentation else None
        return other

    def _take_event(self, event: Event) -> None:
        """Apply a row of events.csv: a change of the rig, or a zero."""
        self._log.add_event(event)
        if event.kind == "rig" and abs(event.time_s) < MOST:
            self._rigs.add(event)
        feed, value = self._feeds.get(event.channel), event.value
        # the undo of a zero carries the zero that is valid again; the undo of a mark carries no value
        if feed and event.kind in ("zero", "undo") and value is not None and math.isfinite(value):
            feed.zeros = sorted([*feed.zeros, (event.time_s, value)], key=lambda z: z[0])

    def _use(self, ended: bool = False) -> None:
        """Process the complete seconds; ended: process all that are left."""
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
            load = self._rigs.roles.load_length
            if load is not None and math.isfinite(at := float(grid.length[load.name].border[-1])):
                self._load_m = at
            if self._rigs.roles.haul_force is not None:
                self._segment(track_of(grid, self._rigs.roles))

    def _change_rig(self) -> None:
        """Switch to the next rig; the stroke that is going on ends."""
        self._learn()
        self._rigs.keep(self._readings())
        self._rigs.go_on()
        roles = self._rigs.roles
        for feed in self._feeds.values():
            feed.change_rig(roles.limits_of(feed.channel.name))
        if self._segmentation is not None:
            self._segmentation.change(roles.ratio, self._rigs.index, roles.stretch_m_per_N)

    def _readings(self) -> RigReadings:
        """What was read since the rig in use was built."""
        highest = {
            name: (feed.rig_highest, (feed.rig_highest_cell + 0.5) / RATE)
            for name, feed in self._feeds.items()
            if math.isfinite(feed.rig_highest)
        }
        return RigReadings(highest, self._load_m)

    def _segment(self, track: CellTrack) -> None:
        """Pass a track on to the segmentation, or hold it back until the noise estimate."""
        if self._segmentation is not None:
            self._segmentation.push(track)
            return
        self._held.append(track)
        if sum(len(t.high) for t in self._held) >= NOISE_SECONDS * RATE:
            self._learn()

    def _learn(self) -> None:
        """Estimate the noise from the tracks held back, then start the segmentation with them."""
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
            stretch_m_per_N=roles.stretch_m_per_N,
        )
        self._segmentation = Segmentation(settings, self._rigs.index)
        for track in tracks:
            self._segmentation.push(track)
