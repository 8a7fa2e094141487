"""Whether a channel rests, so that what it reads now may be taken as nothing.

The recorder knows no rig.  It judges by what it has: how steady the channel is, what it reads
against its capacity, whether a counter turns, whether the haul cell is under tension.
"""

from __future__ import annotations

import math
import statistics
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from logger.channels.channel import Channel, Sensors

MOST_SI = 1e100  # rounding only: beyond it sums overflow
OVER_S = 1.0  # that is looked at; chosen by us: people are told of the last second
KEPT_S = 5.0  # chosen by us: a slow device is judged by its last readings, if they are no older
LEAST_READINGS = 3  # chosen by us: two do not show whether it rests
MOST_KEPT = 100_000  # memory only
# MOST_OF_CAPACITY, STEADY_OF_CAPACITY, STEADY_N, STEADY_M, NOTHING_N: common practice, no source
MOST_OF_CAPACITY = 0.05
STEADY_OF_CAPACITY = 0.002
STEADY_N, STEADY_M = 5.0, 0.01
NOTHING_N = 100.0  # without a capacity: more is no empty cell, but a hand on the rope or a load


@dataclass(frozen=True)
class RecentReadings:
    """Readings of the last second, as sent, with their times; oldest first."""

    time_s: tuple[float, ...]
    reading: tuple[float, ...]


class ReadingHistory:
    """The last readings of one channel, by chunks: (from_s, step, texts)."""

    def __init__(self) -> None:
        self._chunks: deque[tuple[float, float, list[bytes]]] = deque()

    def add(self, from_s: float, step: float, texts: list[bytes]) -> None:
        self._chunks.append((from_s, step, texts))
        chunks = self._chunks
        while chunks[0][0] < from_s - KEPT_S or (
            len(chunks) > LEAST_READINGS + 1 and chunks[1][0] < from_s - 2 * OVER_S
        ):
            chunks.popleft()

    def at(self, now: float) -> RecentReadings:
        """Readings of the last second; where there are fewer than three, the last three."""
        times: list[float] = []
        readings: list[float] = []
        for from_s, step, texts in reversed(self._chunks):
            for i in range(len(texts) - 1, -1, -1):
                moment = from_s + i * step
                old = moment < now - OVER_S and len(times) >= LEAST_READINGS
                if old or moment < now - KEPT_S or len(times) >= MOST_KEPT:
                    break
                times.append(moment)
                readings.append(float(texts[i]))
        return RecentReadings(tuple(reversed(times)), tuple(reversed(readings)))


def why_not(
    channel: Channel,
    sensors: Sensors,
    zeros: Mapping[str, float],
    lately: Mapping[str, RecentReadings],
    now: float,
) -> str:
    """Why this channel is not to be zeroed now; "" if it may be.

    zeros: those that hold, by channel; lately: what each channel read, by channel.
    """
    mine = lately[channel.name]
    if not mine.time_s or mine.time_s[-1] < now - max(OVER_S, channel.stale_after_s):
        return "there was no reading in the last second"
    if len(mine.time_s) < LEAST_READINGS:
        return f"too few readings to see whether it rests: wait for {LEAST_READINGS}"
    stroke = _stroke(channel, sensors, zeros, lately)
    if stroke:
        return stroke
    # against the file's zero, so that zero upon zero cannot creep away
    values = [channel.si(reading, channel.zero) for reading in mine.reading]
    if not all(abs(value) < MOST_SI for value in values):
        return "the readings are beyond anything that a cell or a counter tells"
    unit = "N" if channel.quantity == "force" else "m"
    level, allowed = statistics.fmean(values), _steady(channel)
    if statistics.pstdev(values) > allowed or _drift(values) > allowed:
        return (
            f"not steady: over the last {now - mine.time_s[0]:.1f} s it varied from "
            f"{min(values):.4g} to {max(values):.4g} {unit}"
        )
    most = _nothing(channel)
    if abs(level) > most:
        if channel.capacity is not None:
            return (
                f"{level:.4g} {unit} is more than 5 % of the capacity, {channel.capacity:g} {unit}: "
                "take the load off"
            )
        return (
            f"{level:.4g} {unit} is more than an empty cell reads, {most:.4g} {unit}: take the load "
            "off, or write its zero and its capacity into the sensors file"
        )
    return ""


def _stroke(
    channel: Channel, sensors: Sensors, zeros: Mapping[str, float], lately: Mapping[str, RecentReadings]
) -> str:
    """What shows that the rig is hauled or lowered just now; "" if nothing does."""
    for other in sensors.channels:
        readings = lately[other.name].reading
        if len(readings) < LEAST_READINGS:
            continue
        values = [other.si(reading, zeros[other.name]) for reading in readings]
        if other.quantity == "length":
            if _drift(values) > STEADY_M:
                way = abs(values[-1] - values[0])
                return f"a stroke runs: {other.name} moved {way:.3g} m in the last second"
        elif other.at == "haul" and other.name != channel.name and channel.quantity == "force":
            level = statistics.fmean(values)
            if abs(level) > _nothing(other):
                return f"a stroke runs: {other.name} is under tension, {level:.4g} N"
    return ""


def _steady(channel: Channel) -> float:
    """How much a resting channel may scatter or drift, SI."""
    if channel.quantity == "length":
        return STEADY_M
    of_capacity = STEADY_OF_CAPACITY * (channel.capacity or 0.0)
    return max(STEADY_N, of_capacity, 3.0 * float(channel.u_si(0.0)))


def _nothing(channel: Channel) -> float:
    """The most that a channel with nothing on may read, SI."""
    if channel.capacity is not None:
        return MOST_OF_CAPACITY * channel.capacity
    if channel.quantity == "length":
        return math.inf  # a counter may be set to nothing anywhere, if it stands
    return max(NOTHING_N, 3.0 * float(channel.u_si(0.0)))


def _drift(values: list[float]) -> float:
    """How far the later half lies from the earlier one."""
    half = len(values) // 2
    return abs(statistics.fmean(values[half:]) - statistics.fmean(values[:half])) if half else 0.0
