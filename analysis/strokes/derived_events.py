"""Events that follow from the readings, as interface section 6 names them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.messages.message import Message, message
from analysis.signals.channel_feed import Feed
from analysis.signals.channel_roles import Roles
from analysis.signals.intervals import Run
from analysis.signals.time_cells import RATE
from analysis.strokes.segmentation import Reset, Segments


@dataclass(frozen=True)
class Found:
    """Something that follows from the readings; end_s None: it goes on."""

    time_s: float
    end_s: float | None
    kind: str
    channel: str
    value: float | None
    message: Message

    @property
    def text(self) -> str:
        """In SI."""
        return self.message.text()


def derived(
    known: Roles, feeds: dict[str, Feed], seg: Segments | None, start: float, end: float, last: int
) -> tuple[tuple[Found, ...], tuple[Reset, ...]]:
    """Derived events in order of time, and the resets among them."""
    found: list[Found] = []
    name = known.haul_force.name if known.haul_force else ""
    resets: tuple[Reset, ...] = ()
    if seg is not None:
        for run in seg.slips.all():
            said = message("slip", rope_m=run.value)
            found.append(_event(run.first, run.last, "slip", name, run.value, said))
        for run in seg.shocks.all():
            said = message("shock", force_N=run.value)
            found.append(_event(run.first, run.last, "shock", name, run.value, said))
        going = seg.reset()
        resets = (*seg.resets, *([going] if going else []))
        for k, reset in enumerate(resets):
            ends = None if k == len(seg.resets) and reset.end_s * RATE > last - 2 else reset.end_s
            said = message("reset", rope_m=reset.rope_m)
            if reset.setback_m is not None and reset.setback_m >= 0.005:
                said = message("reset_with_setback", reset=said, setback_m=reset.setback_m)
            length = known.progress.name if known.progress else ""
            found.append(
                Found(
                    time_s=reset.start_s,
                    end_s=ends,
                    kind="reset",
                    channel=length,
                    value=reset.rope_m,
                    message=said,
                )
            )
    blind = {channel: _blind(channel, feed, start, end) for channel, feed in feeds.items()}
    for channel, feed in feeds.items():
        for run in feed.saturated.all():
            said = message("saturated")
            found.append(_run(run.first, run.last, "saturated", channel, run.value, said, last))
        for limit in feed.limits:
            for run in limit.runs.all():
                if not all(_meets(run, blind.get(name, [])) for name in limit.of.unless):
                    continue  # a cell of its own measured the part all the while
                value = run.value * limit.gain
                found.append(
                    _run(run.first, run.last, "over_limit", channel, value, limit.of.message, last)
                )
        found += _stale(channel, feed, start, end)
    return tuple(sorted(found, key=_order)), resets


def _order(one: Found) -> tuple[float, str, str, str]:
    """By time; only several limits of one channel can be passed at once."""
    return one.time_s, one.kind, one.channel, one.text if one.kind == "over_limit" else ""


def _blind(channel: str, feed: Feed, start: float, end: float) -> list[tuple[float, float]]:
    """Spans, s, in which a channel does not tell the value: silent, or beyond its capacity."""
    silent = [(f.time_s, math.inf if f.end_s is None else f.end_s)
              for f in _stale(channel, feed, start, end)]  # fmt: skip
    return silent + [(r.first / RATE, (r.last + 1) / RATE) for r in feed.saturated.all()]


def _meets(run: Run, spans: list[tuple[float, float]]) -> bool:
    return any(a < (run.last + 1) / RATE and run.first / RATE < b for a, b in spans)


def _event(first: int, last: int, kind: str, channel: str, value: float, said: Message) -> Found:
    return Found(
        time_s=first / RATE,
        end_s=(last + 1) / RATE,
        kind=kind,
        channel=channel,
        value=value,
        message=said,
    )


def _run(
    first: int, last: int, kind: str, channel: str, value: float, said: Message, end: int
) -> Found:
    """end_s is None while the last cell of the session is part of it."""
    ends = None if last >= end else (last + 1) / RATE
    return Found(
        time_s=first / RATE, end_s=ends, kind=kind, channel=channel, value=value, message=said
    )


def _stale(channel: str, feed: Feed, start: float, end: float) -> list[Found]:
    after = feed.channel.stale_after_s
    if feed.stream.count == 0:
        if end - start <= after:
            return []
        return [
            Found(
                time_s=start + after,
                end_s=None,
                kind="stale",
                channel=channel,
                value=None,
                message=message("silent_all_along"),
            )
        ]
    gaps = list(feed.gaps)
    if feed.stream.first_s - start > after:
        gaps.insert(0, (start, feed.stream.first_s))
    found = [
        Found(
            time_s=a + after,
            end_s=b,
            kind="stale",
            channel=channel,
            value=b - a,
            message=message("silent_for", quiet_s=b - a),
        )
        for a, b in gaps
    ]
    quiet = end - feed.stream.last_s
    if quiet > after:
        said = message("silent_lately", quiet_s=quiet)
        found.append(
            Found(
                time_s=feed.stream.last_s + after,
                end_s=None,
                kind="stale",
                channel=channel,
                value=quiet,
                message=said,
            )
        )
    return found
