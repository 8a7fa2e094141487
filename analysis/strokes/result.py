"""The result of the analyser, and its assembly from feeds, rigs and segmentation."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from analysis.messages.message import Message, once
from analysis.signals.channel_feed import Feed
from analysis.signals.channel_roles import Roles
from analysis.signals.lag_from_edges import NO_LAG, Lag
from analysis.signals.lag_from_ripple import ChannelLag, stated
from analysis.signals.noise_floor import NoiseFloor
from analysis.signals.slack_readings import Slack
from analysis.signals.time_cells import MOST, RATE
from analysis.strokes.complete_seconds import last_cell
from analysis.strokes.counter_checks import counter_warnings
from analysis.strokes.derived_events import DerivedEvent, derive_events
from analysis.strokes.lag_correction import NO_WORK_LAGS, RigLags, WorkLags, rig_lags, with_lag
from analysis.strokes.rig_changes import NOTHING_READ, RigReadings, RigSpan, RigTimetable
from analysis.strokes.segmentation import Reset, Segmentation
from analysis.strokes.stroke import Stroke
from logger.session.records import ClockRow, Event

MOST_EVENTS = 200_000  # memory only


@dataclass(frozen=True)
class Summary:
    """The readings of one channel in numbers; times and values are None without a reading."""

    readings: int  # number of readings
    first_s: float | None  # time of the first reading
    last_s: float | None  # time of the last reading
    highest: float | None  # highest value, N or m
    highest_s: float | None  # time of the highest value
    dropped: int  # number of lines that the recorder dropped
    late: int  # number of readings rejected as out of order
    bad: int  # number of readings rejected as not finite
    restarts: int  # number of restarts of a counter
    step_m: float = 0.0  # smallest step of a counter, m; 0 where it never moved
    flat_top: bool = False  # whether a force cell reads no more than its highest value


@dataclass(frozen=True)
class Result:
    """The strokes, events and channels of a session so far."""

    roles: Roles  # of the first rig
    start_s: float  # earliest time of a reading, event or row of clock.csv
    end_s: float  # end of the recording so far
    channels: dict[str, Summary]  # by name
    strokes: tuple[Stroke, ...]  # in order, the growing one last
    resets: int  # number of resets
    derived_events: tuple[DerivedEvent, ...]  # in order of time
    events: tuple[Event, ...]  # rows of events.csv, in order of time
    noise_N: float | None  # standard deviation of the haul force over 1/32 s
    floor_N: float  # haul forces below it count as zero
    highest_N: float | None  # largest mean of the haul cell over 1/32 s
    steady_N: float | None  # steady haul force so far
    ran_back_m: float  # the load's travel back while nobody pulled
    unknown_channels: tuple[str, ...]  # channels with readings that the sensors file does not have
    events_not_listed: int  # number of events beyond those kept
    rigs: tuple[RigSpan, ...] = ()  # the session's rigs; Stroke.rig is an index of them
    read: tuple[RigReadings, ...] = ()  # while each of `rigs` was in use
    warnings: tuple[Message, ...] = ()  # from the counters and the rig changes
    reset_list: tuple[Reset, ...] = ()  # the resets, in order
    lag_s: float | None = None  # of the rope counter behind the haul cell; None: not determined
    lag_u_s: float | None = None  # its standard uncertainty
    lag_why_not: Message | None = None  # why there is no lag_s
    lag_share: float = 0.0  # relative standard uncertainty of mean forces by the lag
    rig_lags: tuple[RigLags, ...] = ()  # while each of `rigs` was in use
    # of the rig in use at the end; of a chapter, of its own rig
    lags: tuple[ChannelLag, ...] = ()  # of each force channel, in the order of roles.forces
    work_lags: WorkLags = NO_WORK_LAGS  # for the work of whole strokes
    lowering_lags: tuple[ChannelLag, ...] = ()  # of each force channel, for the means of lowering
    tugs: int = 0  # pulls that only stretched the rope; they are no strokes
    slack: Slack | None = None  # readings of the haul cell with the rope slack; None without one
    mean_N: float | None = None  # mean of all readings of the haul cell


class SessionLog:
    """Events, dropped lines and time span of a session.

    events: rows of events.csv, at most MOST_EVENTS.
    more_events: number of rows beyond them.
    drops: number of dropped lines by channel, from the latest row of clock.csv.
    unknown_channels: names of channels that the sensors file does not have.
    start_s: earliest time so far, inf before the first.
    end_s: end of the recording so far, -inf before the first time.
    """

    def __init__(self) -> None:
        self.events: list[Event] = []
        self.more_events = 0
        self.drops: dict[str, int] = {}
        self.unknown_channels: set[str] = set()
        self.start_s, self.end_s = math.inf, -math.inf
        self._drops_s = -math.inf

    def see(self, time_s: float) -> None:
        """Extend the session's span to a time in it."""
        if abs(time_s) < MOST:
            self.start_s = min(self.start_s, time_s)
            self.end_s = max(self.end_s, time_s)

    def reach(self, time_s: float) -> None:
        """Extend the end of the recording to this time."""
        if abs(time_s) < MOST:
            self.end_s = max(self.end_s, time_s)

    def add_event(self, event: Event) -> None:
        """Add a row of events.csv."""
        self.see(event.time_s)
        if len(self.events) < MOST_EVENTS:
            self.events.append(event)
        else:
            self.more_events += 1

    def add_clock(self, row: ClockRow) -> None:
        """Add a row of clock.csv; the latest one has the dropped lines."""
        self.see(row.time_s)
        if row.time_s >= self._drops_s:
            self._drops_s, self.drops = row.time_s, dict(row.drops)


def assemble_result(
    log: SessionLog,
    feeds: dict[str, Feed],
    rigs: RigTimetable,
    noise: NoiseFloor,
    seg: Segmentation | None,
) -> Result:
    """Assemble the result after all seconds were processed; seg: None without readings of a haul cell."""
    roles = rigs.roles
    start = log.start_s if math.isfinite(log.start_s) else 0.0
    end = max(log.end_s, start)
    strokes: list[Stroke] = []
    if seg is not None:
        current = seg.current()
        strokes = [*seg.strokes, *([current] if current else [])]
    delay = _rope_lag(feeds, roles, seg)
    by_rope = stated(roles.progress, roles.haul_force)
    strokes, lag_share = with_lag(strokes, by_rope or delay)
    events, resets = derive_events(roles, feeds, seg, start, end, last_cell(feeds.values()))
    haul = feeds[roles.haul_force.name] if roles.haul_force else None
    lags = _lags(rigs, seg, delay, strokes)
    last = lags[rigs.index] if lags else RigLags()
    not_listed = log.more_events + sum(
        f.more_gaps
        + f.saturated.not_listed
        + sum(watch.intervals.not_listed for watch in f.level_watches)
        for f in feeds.values()
    )
    if seg is not None:
        not_listed += seg.slips.not_listed + seg.shocks.not_listed
    return Result(
        roles=rigs.spans[0].roles,
        start_s=start,
        end_s=end,
        channels={name: _summary(feed, log.drops.get(name, 0)) for name, feed in feeds.items()},
        strokes=tuple(strokes),
        resets=len(resets),
        derived_events=events,
        events=tuple(sorted(log.events, key=lambda e: (e.time_s, e.id))),
        noise_N=noise.noise_N,
        floor_N=noise.floor_N,
        highest_N=seg.highest_N if seg is not None and haul and haul.stream.count else None,
        steady_N=seg.steady_N if seg else None,
        ran_back_m=seg.ran_back_m if seg else 0.0,
        unknown_channels=tuple(sorted(log.unknown_channels)),
        events_not_listed=not_listed,
        rigs=tuple(rigs.spans),
        read=tuple(rigs.readings.get(k, NOTHING_READ) for k in range(len(rigs.spans))),
        warnings=once(
            [
                *rigs.warnings,
                *counter_warnings(
                    roles,
                    seg,
                    strokes,
                    _counters(feeds, roles),
                    delay,
                    by_rope,
                    noise.noise_N or 0.0,
                ),
            ]
        ),
        reset_list=resets,
        lag_s=delay.lag_s,
        lag_u_s=delay.u_s,
        lag_why_not=delay.why_not,
        lag_share=lag_share,
        rig_lags=lags,
        lags=last.lags,
        work_lags=last.work,
        lowering_lags=last.lowering_lags,
        tugs=seg.tugs if seg else 0,
        slack=seg.slack.result() if seg else None,
        mean_N=seg.mean_N if seg else None,
    )


def _lags(
    rigs: RigTimetable, seg: Segmentation | None, delay: Lag, strokes: list[Stroke]
) -> tuple[RigLags, ...]:
    """The lags while each rig was in use; none without a segmentation, empty ones for a rig without readings."""
    if seg is None:
        return ()
    sums = {**seg.lags_before, seg.rig: seg.lag_sums}
    return tuple(
        rig_lags(sums[k], span.roles, delay, [s for s in strokes if s.rig == k])
        if k in sums
        else RigLags()
        for k, span in enumerate(rigs.spans)
    )


def _counters(feeds: dict[str, Feed], roles: Roles) -> float:
    """Standard uncertainty of rope - ratio x load travel by the ends of two counters, m.

    Each end has the counter's own uncertainty, or that of its steps where it is larger (rectangular).
    """
    ends = []
    for channel, gain in ((roles.progress, roles.progress_gain), (roles.load_length, roles.ratio)):
        if channel is not None:
            step_m = feeds[channel.name].step_m
            by_step = step_m / math.sqrt(12) if math.isfinite(step_m) else 0.0
            ends.append(math.sqrt(2) * gain * max(float(channel.u_si(0.0)), by_step))
    return math.hypot(*ends)


def _rope_lag(feeds: dict[str, Feed], roles: Roles, seg: Segmentation | None) -> Lag:
    """The lag of the rope counter, its u widened by the time between readings (rectangular)."""
    if seg is None or roles.haul_force is None or roles.progress is None:
        return NO_LAG
    force, rope = (_interval_s(feeds[c.name]) for c in (roles.haul_force, roles.progress))
    lag = seg.lag.result((rope - force) * RATE)
    if lag.u_s is None:
        return lag
    return replace(lag, u_s=math.hypot(lag.u_s, force / math.sqrt(12), rope / math.sqrt(12)))


def _interval_s(feed: Feed) -> float:
    """Mean time between readings, s, at most 0.5; 0 before the second reading."""
    stream = feed.stream
    if stream.count < 2:
        return 0.0
    return min((stream.last_s - stream.first_s) / (stream.count - 1), 0.5)


def _summary(feed: Feed, dropped: int) -> Summary:
    some, high = feed.stream.count > 0, math.isfinite(feed.highest)
    return Summary(
        readings=feed.stream.count,
        first_s=feed.stream.first_s if some else None,
        last_s=feed.stream.last_s if some else None,
        highest=feed.highest if high else None,
        highest_s=(feed.highest_cell + 0.5) / RATE if high else None,
        dropped=dropped,
        late=feed.stream.late,
        bad=feed.stream.bad,
        restarts=feed.restarts + feed.turns.breaks,
        step_m=feed.step_m if math.isfinite(feed.step_m) else 0.0,
        flat_top=feed.flat_top is not None and feed.flat_top.seen,
    )
