"""Follows a counter that starts again at its modulus, block by block."""

from __future__ import annotations

import numpy as np

from analysis.signals.time_cells import MOST, Floats
from logger.channels.channel import Channel
from logger.channels.counter_modulus import nearest_step


class CounterTurns:
    """Readings of one channel as if its counter never started again.

    breaks: number of gaps across which the counter showed another reading, whose step is left out.
    """

    def __init__(self, channel: Channel) -> None:
        self._modulus, self._gap_s = channel.modulus, channel.stale_after_s
        self._last: tuple[float, float, float] | None = None  # time s, as sent, followed
        self.breaks = 0

    def followed(self, time_s: Floats, reading: Floats) -> Floats:
        """The readings (n,), in the device's numbers, without the counter's turns.

        time_s: (n,), s.  The same for any cut into blocks.  Without a modulus the readings themselves.
        A reading that no counter sends (not finite, or beyond MOST) stays and changes nothing.
        """
        if self._modulus is None or not len(reading):
            return reading
        out = np.array(reading, np.float64)
        good = np.flatnonzero(
            (np.abs(out) < MOST) & (np.abs(np.asarray(time_s, np.float64)) < MOST)
        )
        if not len(good):
            return out
        times, sent = np.asarray(time_s, np.float64)[good], out[good]
        before_s, before, start = self._last or (times[0], sent[0], sent[0])
        steps = nearest_step(np.diff(sent, prepend=before), self._modulus)
        gaps = np.diff(times, prepend=before_s) > self._gap_s
        self.breaks += int(np.count_nonzero(gaps & (steps != 0.0)))
        steps[gaps] = 0.0
        out[good] = np.cumsum(np.concatenate(([start], steps)))[1:]
        self._last = (float(times[-1]), float(sent[-1]), float(out[good[-1]]))
        return out
