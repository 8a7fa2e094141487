"""Keeps what the live page shows of each channel: the last seconds, the highest value, a counter's travel.

Takes readings block by block; keeps the last few seconds, and the lowest and highest value of each
eighth of a second.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.live.minmax_pyramid import Pyramid
from analysis.signals.channel_roles import Roles
from analysis.signals.counter_modulus import CounterTurns
from analysis.signals.time_cells import Cells
from analysis.signals.time_grid import unjumped
from analysis.strokes.rig_changes import RigSpan
from logger.channels.channel import Channel
from logger.session.records import ChannelReadings

KEPT_S = 3.0  # of readings kept for means and peaks; memory only: no caller asks for more
Floats = NDArray[np.float64]


class Track:
    """One channel's readings so far, in N or m.

    channel: of the sensors file.
    zero: reading with nothing on the cell, in the channel's unit.
    count: number of readings so far.
    last_s, value: time, s, and value of the last reading; None before the first.
    highest, highest_s: the highest value and its time, s; None before the first reading.
    saturated: whether the last reading is beyond the channel's or the device's capacity.
    time_s, values: readings of the last KEPT_S, (n,) each.
    pyramid: lowest and highest value of every bin of time since the session began.
    """

    def __init__(self, channel: Channel) -> None:
        self.channel = channel
        self.zero = channel.zero
        self.count = 0
        self.last_s: float | None = None
        self.value: float | None = None
        self.highest: float | None = None
        self.highest_s: float | None = None
        self.saturated = False
        self._overload_s = -math.inf  # time of the last overload that the device told, s
        self.time_s: Floats = np.empty(0)
        self.values: Floats = np.empty(0)
        self.pyramid = Pyramid()
        self._turns = CounterTurns(channel)
        self._shift: float | None = None  # m to add to the counter's reading, because of restarts
        # time and value of the counter's last reading, not shifted, (0,) or (1,)
        self._last: tuple[Floats, Floats] = np.empty(0), np.empty(0)

    def push(self, readings: ChannelReadings) -> None:
        """Add readings, in the channel's unit, in order of time."""
        time_s = np.asarray(readings.time_s, float)
        with np.errstate(all="ignore"):
            followed = self._turns.followed(time_s, readings.reading)
            values = np.asarray(self.channel.si(followed, self.zero), float)
        good = np.isfinite(values)
        if not good.all():
            time_s, values = time_s[good], values[good]
        if not len(time_s):
            return
        beyond = bool(np.any(self.channel.saturated(readings.reading[-1:])))
        self.saturated = beyond or float(time_s[-1]) <= self._overload_s
        if self.channel.quantity == "length":
            values = self._unjumped(time_s, values) + 0.0  # turns -0 into 0
        self.pyramid.push(time_s, values)
        self.count += len(time_s)
        self.last_s, self.value = float(time_s[-1]), float(values[-1])
        top = int(np.argmax(values))
        if self.highest is None or values[top] > self.highest:
            self.highest, self.highest_s = float(values[top]), float(time_s[top])
        after = self.last_s - KEPT_S
        both = np.concatenate((self.time_s, time_s)), np.concatenate((self.values, values))
        cut = int(np.searchsorted(both[0], after))
        self.time_s, self.values = both[0][cut:], both[1][cut:]

    def overload(self, time_s: float) -> None:
        """Note that the device told a reading beyond its capacity in place of a number, at time_s, s."""
        self._overload_s, self.saturated = time_s, True

    def _unjumped(self, time_s: Floats, values: Floats) -> Floats:
        """The counter's travel since its first reading, m, (n,), without the jumps of its restarts."""
        fresh = len(self._last[0])
        time_s = np.concatenate((self._last[0], time_s))
        values = np.concatenate((self._last[1], values))
        moved, shift, _ = unjumped(_each(time_s, values), self._shift, 0, 0)
        self._last, self._shift = (time_s[-1:], values[-1:]), float(shift[-1])
        return moved.first[fresh:]

    def age_s(self, now_s: float) -> float | None:
        """Seconds from the last reading to now_s; None before the first."""
        return None if self.last_s is None else max(0.0, now_s - self.last_s)

    def stale(self, now_s: float, began_s: float = 0.0) -> bool:
        """Whether a reading is overdue at now_s; began_s: start of the recording."""
        last = began_s if self.last_s is None else self.last_s
        return now_s - last > self.channel.stale_after_s

    def rate(self, now_s: float, over_s: float = 2.0) -> float:
        """Readings per second over the over_s before now_s."""
        return float(len(self.time_s) - np.searchsorted(self.time_s, now_s - over_s)) / over_s

    def recent(self, over_s: float) -> Floats:
        """The values of the over_s before the last reading, (n,)."""
        if self.last_s is None:
            return self.values
        return self.values[int(np.searchsorted(self.time_s, self.last_s - over_s)) :]

    def moved(self, over_s: float, now_s: float) -> float | None:
        """Travel of a counter in the over_s before now_s, m; None without a reading in that time."""
        if self.last_s is None or self.value is None or now_s - self.last_s > over_s:
            return None
        at = min(int(np.searchsorted(self.time_s, now_s - over_s)), len(self.values) - 1)
        return self.value - float(self.values[at])

    def at(self, time_s: float) -> float | None:
        """Position of a counter at a past time, m, to an eighth of a second; None before any reading."""
        extremes = self.pyramid.before(time_s)
        if extremes is None:
            return 0.0 if self.count else None
        return (extremes[0] + extremes[1]) / 2


@dataclass(frozen=True)
class CounterTravel:
    """The travel at one place of the rig, by a counter at another place."""

    track: Track  # of the counter
    gain: float  # metres at the place per metre of the counter
    offset_m: float = 0.0  # travel at the place at the counter's zero; it changes with the gain

    @property
    def value(self) -> float | None:
        """The travel now, m; None before the first reading."""
        return self._placed(self.track.value)

    def moved(self, over_s: float, now_s: float) -> float | None:
        """The travel in the over_s before now_s, m; None without a reading in that time."""
        moved = self.track.moved(over_s, now_s)
        return None if moved is None else moved * self.gain

    def at(self, time_s: float) -> float | None:
        """The travel at a past time, m; None before any reading."""
        return self._placed(self.track.at(time_s))

    def with_gain(self, gain: float, from_s: float) -> CounterTravel:
        """The same travel up to from_s, and with another gain (metres per metre) from then on."""
        at = self.track.at(from_s) or 0.0
        return CounterTravel(self.track, gain, self.offset_m + at * (self.gain - gain))

    def _placed(self, counter_m: float | None) -> float | None:
        return None if counter_m is None else self.offset_m + counter_m * self.gain


class Counters:
    """Travel of the load and of the rope at the haul, by the counters of one session.

    load: None where no counter is at the load.
    rope: by the counter at the haul, else by another one in the rig; None where there is none.
    """

    def __init__(self, roles: Roles, tracks: Mapping[str, Track]) -> None:
        load, rope = roles.load_length, roles.progress
        self.load = None if load is None else CounterTravel(tracks[load.name], 1.0)
        rope = None if rope is load else rope
        gain = roles.progress_gain
        self.rope = None if rope is None else CounterTravel(tracks[rope.name], gain)
        self._rigs = 1  # number of rigs whose gains are in `rope`

    def follow(self, rigs: Sequence[RigSpan]) -> None:
        """Apply the gains of rigs that were built since the last call."""
        for span in rigs[self._rigs :]:
            if self.rope is not None:
                self.rope = self.rope.with_gain(span.roles.progress_gain, span.time_s)
        self._rigs = max(self._rigs, len(rigs))


def _each(time_s: Floats, values: Floats) -> Cells:
    """Return each reading (n,) as a cell of its own."""
    ones, none = np.ones(len(values), np.int64), np.zeros(len(values))
    return Cells(
        cell=np.arange(len(values)), count=ones, first_s=time_s, last_s=time_s, first=values,
        last=values, inner=none, low=values, high=values,
    )  # fmt: skip
