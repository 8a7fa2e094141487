"""Decides whether a channel may be zeroed: whether it is at rest and unloaded.

The recorder has no model of the rig.  It judges by how steady the channel is, by its value against
its capacity, by whether a counter turns, and by whether the haul cell is under tension.
"""

from __future__ import annotations

import math
import statistics
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from logger.channels.channel import Channel, Sensors
from logger.channels.counter_modulus import CounterReading

MOST_SI = 1e100  # N or m; rounding only: beyond it sums overflow
OVER_S = 1.0  # time that is judged; chosen by us: messages speak of the last second
KEPT_S = 5.0  # greatest age of a slow device's last readings; chosen by us
LEAST_READINGS = 3  # chosen by us: two readings do not show whether the channel is at rest
MOST_KEPT = 100_000  # readings; memory only
# MOST_OF_CAPACITY, STEADY_OF_CAPACITY, STEADY_N, STEADY_M, NOTHING_N: common practice, no source
MOST_OF_CAPACITY = 0.05
STEADY_OF_CAPACITY = 0.002
STEADY_N, STEADY_M = 5.0, 0.01
NOTHING_N = 100.0  # greatest force of an unloaded cell without a stated capacity


@dataclass(frozen=True)
class RecentReadings:
    """The last readings of one channel, oldest first."""

    time_s: tuple[float, ...]  # (n) s since the recording started
    reading: tuple[float, ...]  # (n) as sent, in the channel's unit


class ReadingHistory:
    """Keeps the chunks of one channel that its last readings are in."""

    def __init__(self) -> None:
        self._chunks: deque[tuple[float, float, list[bytes]]] = deque()

    def add(self, from_s: float, step_s: float, texts: list[bytes]) -> None:
        """Add a chunk, and remove those that are too old.

        from_s: time of its first reading, s since the recording started; step_s: time between two
        readings, s; texts: readings as sent.
        """
        self._chunks.append((from_s, step_s, texts))
        chunks = self._chunks
        while chunks[0][0] < from_s - KEPT_S or (
            len(chunks) > LEAST_READINGS + 1 and chunks[1][0] < from_s - 2 * OVER_S
        ):
            chunks.popleft()

    def at(self, now_s: float) -> RecentReadings:
        """The readings of the last second, or the last three of KEPT_S if there are fewer.

        now_s: s since the recording started.
        """
        times: list[float] = []
        readings: list[float] = []
        for from_s, step_s, texts in reversed(self._chunks):
            for i in range(len(texts) - 1, -1, -1):
                moment = from_s + i * step_s
                old = moment < now_s - OVER_S and len(times) >= LEAST_READINGS
                if old or moment < now_s - KEPT_S or len(times) >= MOST_KEPT:
                    break
                times.append(moment)
                readings.append(float(texts[i]))
        return RecentReadings(tuple(reversed(times)), tuple(reversed(readings)))


def zero_refusal(
    channel: Channel,
    sensors: Sensors,
    zeros: Mapping[str, float],
    recent: Mapping[str, RecentReadings],
    now_s: float,
) -> str:
    """Why this channel may not be zeroed now, as a sentence; "" if it may.

    sensors: all channels
    zeros: the zeros that hold, by channel, in the channel's unit
    recent: last readings, by channel
    now_s: s since the recording started
    """
    mine = recent[channel.name]
    if not mine.time_s or mine.time_s[-1] < now_s - max(OVER_S, channel.stale_after_s):
        return "there was no reading in the last second"
    if len(mine.time_s) < LEAST_READINGS:
        return f"too few readings to see whether it is at rest: wait for {LEAST_READINGS} readings"
    moving = _motion(channel, sensors, zeros, recent)
    if moving:
        return moving
    # relative to the sensors file's zero, so that repeated zeroing cannot drift away
    values = [channel.si(reading, channel.zero) for reading in mine.reading]
    if not all(abs(value) < MOST_SI for value in values):
        return "the readings are larger than any cell or counter sends"
    unit = "N" if channel.quantity == "force" else "m"
    level, allowed = statistics.fmean(values), _steady_within(channel)
    if statistics.pstdev(values) > allowed or _drift(values) > allowed:
        return (
            f"not steady: over the last {now_s - mine.time_s[0]:.1f} s it varied from "
            f"{min(values):.4g} to {max(values):.4g} {unit}"
        )
    most = _most_unloaded(channel)
    if abs(level) > most:
        if channel.capacity is not None:
            return (
                f"{level:.4g} {unit} is more than 5 % of the capacity, {channel.capacity:g} {unit}: "
                "take the load off"
            )
        return (
            f"{level:.4g} {unit} is more than an unloaded cell reads, {most:.4g} {unit}: take the load "
            "off, or write zero and capacity of the cell into the sensors file"
        )
    return ""


def _motion(
    channel: Channel,
    sensors: Sensors,
    zeros: Mapping[str, float],
    recent: Mapping[str, RecentReadings],
) -> str:
    """A sentence if the rig is being hauled or lowered now; else ""."""
    for other in sensors.channels:
        readings = recent[other.name].reading
        if len(readings) < LEAST_READINGS:
            continue
        if other.modulus is not None:
            counter = CounterReading(other.modulus, other.stale_after_s)
            readings = tuple(map(counter.follow, recent[other.name].time_s, readings))
        values = [other.si(reading, zeros[other.name]) for reading in readings]
        if other.quantity == "length":
            if _drift(values) > STEADY_M:
                travel = abs(values[-1] - values[0])
                return (
                    f"a stroke is under way: {other.name} moved {travel:.3g} m in the last second"
                )
        elif other.at == "haul" and other.name != channel.name and channel.quantity == "force":
            level = statistics.fmean(values)
            if abs(level) > _most_unloaded(other):
                return f"a stroke is under way: {other.name} is under tension, {level:.4g} N"
    return ""


def _steady_within(channel: Channel) -> float:
    """Greatest scatter or drift of a channel at rest, N or m."""
    if channel.quantity == "length":
        return STEADY_M
    of_capacity = STEADY_OF_CAPACITY * (channel.capacity or 0.0)
    return max(STEADY_N, of_capacity, 3.0 * float(channel.u_si(0.0)))


def _most_unloaded(channel: Channel) -> float:
    """Greatest value of an unloaded channel, N or m."""
    if channel.capacity is not None:
        return MOST_OF_CAPACITY * channel.capacity
    if channel.quantity == "length":
        return math.inf  # a counter at rest may be zeroed anywhere
    return max(NOTHING_N, 3.0 * float(channel.u_si(0.0)))


def _drift(values: list[float]) -> float:
    """Difference between the means of the later and the earlier half of the values, same unit."""
    half = len(values) // 2
    return abs(statistics.fmean(values[half:]) - statistics.fmean(values[:half])) if half else 0.0
