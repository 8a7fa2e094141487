"""Derives events from the readings: slip, shock, reset, saturated, over_limit, stale (interface section 6)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.messages.message import Message, message
from analysis.signals.channel_feed import Feed
from analysis.signals.channel_roles import Roles
from analysis.signals.intervals import Interval
from analysis.signals.time_cells import RATE
from analysis.strokes.segmentation import Reset, Segmentation


@dataclass(frozen=True)
class DerivedEvent:
    """An event that follows from the readings."""

    time_s: float  # its beginning
    end_s: float | None  # its end; None while it goes on
    kind: str  # slip, shock, reset, saturated, over_limit or stale
    channel: str  # name of the channel, "" where there is none
    value: float | None  # rope m, force N or silence s, as interface section 6 has it for the kind
    message: Message  # the event in words

    @property
    def text(self) -> str:
        """The message with quantities in SI."""
        return self.message.text()


def derive_events(
    roles: Roles,
    feeds: dict[str, Feed],
    seg: Segmentation | None,
    start_s: float,
    end_s: float,
    last_cell: int,
) -> tuple[tuple[DerivedEvent, ...], tuple[Reset, ...]]:
    """The derived events of a session in order of time, and the resets among them.

    start_s, end_s: first and last time of the session; last_cell: the cell with its last reading.
    """
    events: list[DerivedEvent] = []
    name = roles.haul_force.name if roles.haul_force else ""
    resets: tuple[Reset, ...] = ()
    if seg is not None:
        for slip in seg.slips.all():
            said = message("slip", rope_m=slip.value)
            events.append(_event(slip.first, slip.last, "slip", name, slip.value, said))
        for shock in seg.shocks.all():
            said = message("shock", force_N=shock.value)
            events.append(_event(shock.first, shock.last, "shock", name, shock.value, said))
        current = seg.reset()
        resets = (*seg.resets, *([current] if current else []))
        for k, reset in enumerate(resets):
            goes_on = k == len(seg.resets) and reset.end_s * RATE > last_cell - 2
            ends = None if goes_on else reset.end_s
            said = message("reset", rope_m=reset.rope_m)
            if reset.setback_m is not None and reset.setback_m >= 0.005:
                said = message("reset_with_setback", reset=said, setback_m=reset.setback_m)
            length = roles.progress.name if roles.progress else ""
            events.append(
                DerivedEvent(
                    time_s=reset.start_s,
                    end_s=ends,
                    kind="reset",
                    channel=length,
                    value=reset.rope_m,
                    message=said,
                )
            )
    blind = {channel: _blind(channel, feed, start_s, end_s) for channel, feed in feeds.items()}
    for channel, feed in feeds.items():
        for beyond in feed.saturated.all():
            said = message("saturated")
            events.append(_spell(beyond, "saturated", channel, beyond.value, said, last_cell))
        for watch in feed.level_watches:
            said = watch.level.message
            for over in watch.intervals.all():
                if not all(_overlaps(over, blind.get(name, [])) for name in watch.level.unless):
                    continue  # the part's own cell measured it all the while
                value = over.value * watch.gain
                events.append(_spell(over, "over_limit", channel, value, said, last_cell))
        events += _stale(channel, feed, start_s, end_s)
    return tuple(sorted(events, key=_order)), resets


def _order(one: DerivedEvent) -> tuple[float, str, str, str]:
    """Sort key: time; the text decides among limits of one channel that are exceeded at once."""
    return one.time_s, one.kind, one.channel, one.text if one.kind == "over_limit" else ""


def _blind(channel: str, feed: Feed, start_s: float, end_s: float) -> list[tuple[float, float]]:
    """(start s, end s) of times in which a channel is silent or beyond its capacity."""
    silent = [(f.time_s, math.inf if f.end_s is None else f.end_s)
              for f in _stale(channel, feed, start_s, end_s)]  # fmt: skip
    return silent + [(r.first / RATE, (r.last + 1) / RATE) for r in feed.saturated.all()]


def _overlaps(interval: Interval, spans: list[tuple[float, float]]) -> bool:
    """Whether an interval overlaps one of the spans (start s, end s)."""
    return any(a < (interval.last + 1) / RATE and interval.first / RATE < b for a, b in spans)


def _event(
    first: int, last: int, kind: str, channel: str, value: float, said: Message
) -> DerivedEvent:
    return DerivedEvent(
        time_s=first / RATE,
        end_s=(last + 1) / RATE,
        kind=kind,
        channel=channel,
        value=value,
        message=said,
    )


def _spell(
    interval: Interval, kind: str, channel: str, value: float, said: Message, last_cell: int
) -> DerivedEvent:
    """The event of an interval; it goes on (end_s None) where it reaches the session's last cell."""
    ends = None if interval.last >= last_cell else (interval.last + 1) / RATE
    return DerivedEvent(
        time_s=interval.first / RATE,
        end_s=ends,
        kind=kind,
        channel=channel,
        value=value,
        message=said,
    )


def _stale(channel: str, feed: Feed, start_s: float, end_s: float) -> list[DerivedEvent]:
    """The times in which a channel of a session from start_s to end_s is silent for too long."""
    after = feed.channel.stale_after_s
    if feed.stream.count == 0:
        if end_s - start_s <= after:
            return []
        return [
            DerivedEvent(
                time_s=start_s + after,
                end_s=None,
                kind="stale",
                channel=channel,
                value=None,
                message=message("silent_all_along"),
            )
        ]
    gaps = list(feed.gaps)
    if feed.stream.first_s - start_s > after:
        gaps.insert(0, (start_s, feed.stream.first_s))
    events = [
        DerivedEvent(
            time_s=a + after,
            end_s=b,
            kind="stale",
            channel=channel,
            value=b - a,
            message=message("silent_for", quiet_s=b - a),
        )
        for a, b in gaps
    ]
    quiet = end_s - feed.stream.last_s
    if quiet > after:
        said = message("silent_lately", quiet_s=quiet)
        events.append(
            DerivedEvent(
                time_s=feed.stream.last_s + after,
                end_s=None,
                kind="stale",
                channel=channel,
                value=quiet,
                message=said,
            )
        )
    return events
