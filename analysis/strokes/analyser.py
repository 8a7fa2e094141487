"""From blocks of readings to strokes and events: `push(block, now)`, `result()`.

The result depends only on what was pushed, not on how it was cut, provided that readings of
different channels and events come at most 0.25 s out of order (interface section 4).  Cost of a
push: a few passes over its readings; of a result: the strokes and events found so far.
"""

from __future__ import annotations

import copy
import math
from dataclasses import replace

import numpy as np

from analysis.messages.message import Message, once
from analysis.rig.rig import Rig
from analysis.signals.channel_feed import LEAST_N, Feed
from analysis.signals.channel_roles import Roles, roles
from analysis.signals.chunks import slices
from analysis.signals.lag_from_edges import NO_LAG, Lag
from analysis.signals.lag_from_ripple import stated
from analysis.signals.spikes import LOOK, without_spikes
from analysis.signals.time_cells import MOST, RATE, Floats
from analysis.signals.time_grid import (
    Grid,
    ends_in_si,
    force_grid,
    gap_s,
    highest_in_si,
    in_si,
    length_grid,
    unjumped,
)
from analysis.strokes.counter_checks import notes
from analysis.strokes.derived_events import derived
from analysis.strokes.lag_correction import with_lag
from analysis.strokes.result import Result, Summary
from analysis.strokes.rig_changes import Loader, RigSpan, check_same, not_used
from analysis.strokes.segmentation import Segments, Settings
from analysis.strokes.steady_part import MOST_SHIFT
from analysis.strokes.stroke import Stroke, Track
from logger.channels.sensors_file import Sensors
from logger.errors import UserFault
from logger.session.records import Block, Event

HORIZON = RATE // 2  # cells that readings and events may come late
NOISE_SECONDS = 3
PIECE = 1024  # seconds
MOST_EVENTS = 200_000
MOST_RIGS = 1000
AHEAD = MOST_SHIFT + 2 * LOOK  # cells that must be known after one that is used: shifts, spikes


class Analyser:
    """Strokes and events of one session, from blocks as they come."""

    def __init__(self, rig: Rig, sensors: Sensors) -> None:
        """Raises SensorsFault where a channel sits at a place that the rig does not have."""
        self._setup(roles(rig, sensors))

    def _setup(self, known: Roles, later: Loader | None = None) -> None:
        self.roles = known  # of the rig that holds now
        self._later = later
        self._rigs = [RigSpan(-math.inf, "rig.toml", None, known)]
        self._changes: list[tuple[int, int]] = []  # second and rig, to come
        self._notes: list[Message] = []
        self._feeds = {c.name: Feed(c, known.limits_of(c.name)) for c in known.channels}
        self._events: list[Event] = []
        self._untold = 0
        self._drops: dict[str, int] = {}
        self._drops_s = -math.inf
        self._unknown: tuple[str, ...] = ()
        self._first_s, self._now = math.inf, -math.inf
        self._next = -(2**62)  # second that comes next
        self._data_second = -(2**62) - 1000  # last second that held a reading
        self._fill = math.ceil(max([gap_s(c) for c in known.channels], default=1.0)) + 2
        self._segments: Segments | None = None
        self._held: list[Grid] = []  # the first seconds, until the noise is known
        self._noise: float | None = None
        self._rig = 0
        self._floor = LEAST_N

    @classmethod
    def of(cls, known: Roles, later: Loader | None = None) -> Analyser:
        """With roles worked out already; later: gives the rig that a `rig` event names, see
        `later_rig.rigs_of`.  Without it the first rig is taken for the whole session."""
        made = cls.__new__(cls)
        made._setup(known, later)
        return made

    def push(self, block: Block, now: float) -> None:
        """More of the session.  now: how far the recording is, s (a growing session's clock)."""
        with np.errstate(all="ignore"):
            for name, readings in block.readings.items():
                if len(readings.time_s) and name not in self._feeds and name not in self._unknown:
                    self._unknown = (*self._unknown, name)
            for event in block.events:
                self._take(event)
            for row in block.clock:
                self._see(row.time_s)
                if row.time_s >= self._drops_s:
                    self._drops_s, self._drops = row.time_s, dict(row.drops)
            known = {n: r for n, r in block.readings.items() if n in self._feeds}
            for part, in_order in slices(known):
                for name, (time_s, reading) in part.items():
                    self._feeds[name].stream.push(time_s, reading, in_order)
                self._advance()
            for feed in self._feeds.values():
                if feed.stream.count:
                    self._see(feed.stream.first_s)
                    self._see(feed.stream.last_s)
            if abs(now) < MOST:
                self._now = max(self._now, now)
            self._advance()

    def _see(self, time_s: float) -> None:
        if abs(time_s) < MOST:
            self._first_s = min(self._first_s, time_s)
            self._now = max(self._now, time_s)

    def _take(self, event: Event) -> None:
        self._see(event.time_s)
        if len(self._events) < MOST_EVENTS:
            self._events.append(event)
        else:
            self._untold += 1
        if event.kind == "rig" and self._later is not None and abs(event.time_s) < MOST:
            self._change(event, self._later)
        feed = self._feeds.get(event.channel)
        # undoing a zero tells the one that holds again; undoing a mark tells no value
        if (
            event.kind in ("zero", "undo")
            and feed
            and event.value is not None
            and math.isfinite(event.value)
        ):
            feed.zeros = sorted([*feed.zeros, (event.time_s, event.value)], key=lambda z: z[0])

    def _change(self, event: Event, later: Loader) -> None:
        """Another rig, from the first whole second at or after the event."""
        try:
            rig, known = later(event.text)
            check_same(self._rigs[0].roles, known, event.text)
        except UserFault as fault:
            self._notes.append(not_used(event.text, fault))
            return
        if len(self._rigs) < MOST_RIGS:
            self._changes.append((math.ceil(event.time_s), len(self._rigs)))
            self._changes.sort()
            self._rigs.append(RigSpan(event.time_s, event.text, rig, known))

    def _take_rig(self, index: int) -> None:
        """This rig holds from the next second on; the stroke that was going on ends."""
        if self._segments is None and self._held:
            self._begin()
        self.roles = self._rigs[index].roles
        for feed in self._feeds.values():
            feed.limit(self.roles.limits_of(feed.channel.name))
        self._rig = index
        if self._segments is not None:
            self._segments.change(self.roles.ratio, index)

    def _advance(self) -> None:
        """Use the seconds that nothing can be added to any more."""
        frontier = max((_cell(f.stream.last_s) for f in self._feeds.values()), default=None)
        if frontier is None or frontier < -(2**60):
            return
        ready = frontier - HORIZON
        for feed in self._feeds.values():
            feed.stream.complete(frontier - HORIZON - 1)
        for feed in self._feeds.values():
            seen = feed.seen
            if seen is None or seen >= ready:
                continue
            if frontier - HORIZON - seen - 1 <= math.ceil(gap_s(feed.channel) * RATE):
                ready = min(ready, seen)  # the reading after may still be joined by a line
        self._use((ready - AHEAD) // RATE)

    def _use(self, until: int) -> None:
        """Bring seconds below `until` onto the grid, PIECE at a time so that arrays stay in cache;
        seconds long after any reading are left out."""
        while self._next < until:
            first = [int(f.waiting[0]) for f in self._feeds.values() if len(f.waiting)]
            begin = max(self._next, min(first) // RATE) if first else until
            if self._data_second + self._fill >= self._next:
                begin = self._next
            stop = min(until, begin + PIECE)
            while self._changes and self._changes[0][0] <= begin:
                self._take_rig(self._changes.pop(0)[1])
            if self._changes:
                stop = min(stop, self._changes[0][0])
            if begin < stop:
                self._use_piece(begin, self._until(begin, stop))
            else:
                self._next = until

    def _until(self, begin: int, stop: int) -> int:
        """Up to where, at most `stop`, no second is long after the last reading."""
        reach = self._fill + 1
        known = self._data_second if self._data_second + reach > begin else begin
        last, full, seconds = known, False, [np.array([known], np.int64)]
        for feed in self._feeds.values():
            cells = feed.waiting
            k = int(np.searchsorted(cells, stop * RATE))
            if k == 0:
                continue
            first, final = int(cells[0]), int(cells[k - 1]) // RATE
            last = max(last, final)
            if int(cells[k - 1]) - first + 1 == k:  # a reading in every cell
                mine = np.arange(first // RATE, final + 1)
                step = max(1, first // RATE - known)
            else:
                mine = cells[:k] // RATE
                mine = mine[np.diff(mine, prepend=known) > 0]
                if len(mine) == 0:
                    continue
                step = int(np.diff(mine, prepend=known).max())
            if step <= reach and int(mine[-1]) + reach >= stop:
                full = True  # the usual case: this channel alone leaves no hole
            seconds.append(mine)
        if not full:
            data = np.sort(np.concatenate(seconds))
            holes = np.flatnonzero(np.diff(data) > reach)
            last = int(data[holes[0]] if len(holes) else data[-1])
            stop = min(stop, last + reach)
        self._data_second = last
        return stop

    def _use_piece(self, begin: int, until: int) -> None:
        self._next = until
        grid = Grid(begin * RATE, (until - begin) * RATE, {}, {})
        for name, feed in self._feeds.items():
            self._onto(grid, name, feed, until * RATE)
        if self.roles.haul_force is None:
            return
        if self._segments is None:
            self._held.append(grid)
            if sum(g.n for g in self._held) >= NOISE_SECONDS * RATE:
                self._begin()
            return
        self._segments.push(self._track(grid))

    def _onto(self, grid: Grid, name: str, feed: Feed, before: int) -> None:
        ready, old, split = feed.take(before)
        if feed.channel.quantity == "force":
            further = split + int(np.searchsorted(ready.cell[split:], before + MOST_SHIFT))
            raw = ready.part(0, further + 3)
            cells = in_si(raw, feed.channel, feed.zeros)
            cells = without_spikes(cells, max(old - 1, 0), further + 1, feed.spike)
            cells = cells.part(0, further + 1)
            n = grid.n + MOST_SHIFT
            grid.force[name] = force_grid(cells, raw, feed.channel, grid.first, n)
            high = cells.high[old:split]
        else:  # only differences count, so a zero on the way must not move the rope
            raw = ready.part(0, split + 1)
            cells, shifts, restarts = unjumped(
                ends_in_si(raw, feed.channel), feed.shift, old, split
            )
            feed.restarts += restarts
            feed.shift = float(shifts[split - feed.taken]) if len(shifts) else None
            grid.length[name] = length_grid(cells, feed.channel, grid.first, grid.n)
            high = highest_in_si(raw.part(old, split), feed.channel, feed.zeros)
        if split > old:
            k = int(np.argmax(high))
            top = float(high[k])
            if top > feed.highest:
                feed.highest, feed.highest_cell = top, int(raw.cell[old + k])
            for limit in feed.limits:
                if limit.holds and top > limit.level:
                    limit.runs.push(raw.cell[old:split], high > limit.level, high)

    def _begin(self) -> None:
        """Noise from the first seconds, then the segmentation of what was held back."""
        tracks = [self._track(grid) for grid in self._held]
        self._held = []
        force = np.concatenate([t.forces[0] for t in tracks])[: NOISE_SECONDS * RATE]
        channel = self.roles.haul_force
        assert channel is not None
        bend = np.abs(np.diff(force, 2))
        bend = bend[np.isfinite(bend)]
        # the second difference of white noise has 6 times its variance, that of a slow force is
        # nothing; the lowest fifth (0.2533 sigma) leaves out jerks of a pull that has begun
        lowest = np.sort(bend)[max(0, math.ceil(0.2 * len(bend)) - 1)] if len(bend) else 0.0
        self._noise = float(lowest) / 0.2533 / math.sqrt(6)
        capacity = channel.capacity or 0.0
        doubt = float(channel.u_si(0.0))
        self._floor = max(LEAST_N, 6.0 * self._noise, 4.0 * doubt, 0.002 * capacity)
        counted = self.roles.load_length is not None
        self._segments = Segments(
            Settings(self._floor, self.roles.ratio, counted, len(self.roles.forces)), self._rig
        )
        for track in tracks:
            self._segments.push(track)

    def _track(self, grid: Grid) -> Track:
        forces, n = [grid.force[c.name] for c in self.roles.forces], grid.n
        saturated = forces[0].saturated[:n]
        for force in forces[1:]:
            saturated = saturated | force.saturated[:n]
        rope, load = self._way(grid)
        mean = np.array([f.mean[:n] for f in forces])
        return Track(
            grid.first, mean, forces[0].high[:n], saturated, rope, load, forces[0].mean[n:]
        )

    def _way(self, grid: Grid) -> tuple[Floats | None, Floats | None]:
        rope = load = None
        if self.roles.progress is not None:
            own = _filled(grid.length[self.roles.progress.name].border)
            rope = own * self.roles.progress_gain
        if self.roles.load_length is not None:
            load = _filled(grid.length[self.roles.load_length.name].border)
        return rope, load

    def result(self) -> Result:
        """What is known now; the analyser goes on unchanged."""
        with np.errstate(all="ignore"):
            return self._fork()._finish()

    def _fork(self) -> Analyser:
        other = copy.copy(self)
        other._feeds = {name: feed.fork() for name, feed in self._feeds.items()}
        other._segments = self._segments.fork() if self._segments else None
        other._held, other._changes = list(self._held), list(self._changes)
        return other

    def _finish(self) -> Result:
        last = max((_cell(f.stream.last_s) for f in self._feeds.values()), default=-(2**62))
        if last > -(2**60):
            for feed in self._feeds.values():
                feed.stream.complete(last)
            self._use(last // RATE + 1)
        if self._segments is None and self._held:
            self._begin()
        start = self._first_s if math.isfinite(self._first_s) else 0.0
        end = max(self._now, start)
        seg = self._segments
        strokes: list[Stroke] = []
        if seg is not None:
            current = seg.current()
            strokes = [*seg.strokes, *([current] if current else [])]
        delay = self._lag(seg)
        by_rope, by_load = (
            stated(counter, self.roles.haul_force)
            for counter in (self.roles.progress, self.roles.load_length)
        )
        cells = [stated(cell, self.roles.haul_force) for cell in self.roles.forces]
        strokes, lag_share = with_lag(strokes, by_rope or delay)
        found, resets = derived(self.roles, self._feeds, seg, start, end, last)
        haul = self._feeds[self.roles.haul_force.name] if self.roles.haul_force else None
        untold = self._untold + sum(
            f.more_gaps + f.saturated.more + sum(limit.runs.more for limit in f.limits)
            for f in self._feeds.values()
        )
        if seg is not None:
            untold += seg.slips.more + seg.shocks.more
        return Result(
            self._rigs[0].roles,
            start,
            end,
            {name: self._summary(name, feed) for name, feed in self._feeds.items()},
            tuple(strokes),
            len(resets),
            found,
            tuple(sorted(self._events, key=lambda e: (e.time_s, e.id))),
            self._noise,
            self._floor,
            seg.highest_N if seg is not None and haul and haul.stream.count else None,
            seg.steady_N if seg else None,
            seg.ran_back_m if seg else 0.0,
            tuple(sorted(self._unknown)),
            untold,
            tuple(self._rigs),
            once([*self._notes, *notes(self.roles, seg, strokes, delay, by_rope)]),
            resets,
            delay.lag_s,
            delay.u_s,
            delay.why_not,
            lag_share,
            seg.lags.result(delay, by_rope, by_load, cells) if seg else (),
            seg.mean_N if seg and self.roles.haul_force else None,
        )

    def _lag(self, seg: Segments | None) -> Lag:
        """With what straight lines between readings leave open: rectangular over their interval."""
        if seg is None or self.roles.haul_force is None or self.roles.progress is None:
            return NO_LAG
        force, rope = (
            self._interval_s(c.name) for c in (self.roles.haul_force, self.roles.progress)
        )
        found = seg.lag.result((rope - force) * RATE)
        if found.u_s is None:
            return found
        return replace(
            found, u_s=math.hypot(found.u_s, force / math.sqrt(12), rope / math.sqrt(12))
        )

    def _interval_s(self, name: str) -> float:
        """Between readings, on the mean."""
        stream = self._feeds[name].stream
        if stream.count < 2:
            return 0.0
        return min((stream.last_s - stream.first_s) / (stream.count - 1), 0.5)

    def _summary(self, name: str, feed: Feed) -> Summary:
        some = feed.stream.count > 0
        return Summary(
            feed.stream.count,
            feed.stream.first_s if some else None,
            feed.stream.last_s if some else None,
            feed.highest if math.isfinite(feed.highest) else None,
            (feed.highest_cell + 0.5) / RATE if math.isfinite(feed.highest) else None,
            self._drops.get(name, 0),
            feed.stream.late,
            feed.stream.bad,
            feed.restarts,
        )


def _cell(time_s: float) -> int:
    return math.floor(time_s * RATE) if math.isfinite(time_s) else -(2**62)


def _filled(position: Floats) -> Floats:
    """A counter that has not spoken yet stands where it stood."""
    unknown = np.isnan(position)
    return np.where(unknown, 0.0, position) if unknown.any() else position
