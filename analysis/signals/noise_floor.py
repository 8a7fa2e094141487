"""Estimates the noise of a force cell and the force below which its readings count as zero."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.signals.channel_feed import LEAST_N
from analysis.signals.time_cells import Floats
from logger.channels.channel import Channel

# noises of a cell of 1/32 s, and standard uncertainties of the zero, below which a force counts as zero; chosen by us: neither
# comes by chance in a session
NOISES, ZEROS = 6.0, 4.0


@dataclass(frozen=True)
class NoiseFloor:
    """Noise and floor of the haul cell, estimated from its first seconds and then kept."""

    noise_N: float | None = None  # standard deviation over 1/32 s; None before the estimate
    floor_N: float = LEAST_N  # forces below it count as zero


def noise_floor(force_N: Floats, channel: Channel) -> NoiseFloor:
    """Estimate noise and floor from the first seconds of a force cell.

    force_N: means over cells of 1/32 s, (n,), NaN where not measured.  The second difference of white
    noise has 6 times its variance, and that of a slowly changing force is about zero.  The lower
    quintile (0.2533 sigma) ignores the jerks of a pull that has begun already.
    """
    bend = np.abs(np.diff(force_N, 2))
    bend = bend[np.isfinite(bend)]
    lowest = np.sort(bend)[max(0, math.ceil(0.2 * len(bend)) - 1)] if len(bend) else 0.0
    noise = float(lowest) / 0.2533 / math.sqrt(6)
    doubt, capacity = float(channel.u_si(0.0)), channel.capacity or 0.0
    return NoiseFloor(noise, max(LEAST_N, NOISES * noise, ZEROS * doubt, 0.002 * capacity))
