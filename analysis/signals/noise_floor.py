"""The noise of a force cell, and the floor below which its force is taken for none."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.signals.channel_feed import LEAST_N
from analysis.signals.time_cells import Floats
from logger.channels.channel import Channel


@dataclass(frozen=True)
class NoiseFloor:
    """Of the haul cell, learnt from its first seconds and then kept."""

    noise_N: float | None = None  # standard deviation over a cell of 1/32 s; None: not yet learnt
    floor_N: float = LEAST_N  # forces below it are taken for none


def noise_floor(force_N: Floats, channel: Channel) -> NoiseFloor:
    """From the first seconds (n,) of a cell, NaN where unknown.

    The second difference of white noise has 6 times its variance, that of a slow force is nothing;
    the lowest fifth (0.2533 sigma) leaves out jerks of a pull that has begun.
    """
    bend = np.abs(np.diff(force_N, 2))
    bend = bend[np.isfinite(bend)]
    lowest = np.sort(bend)[max(0, math.ceil(0.2 * len(bend)) - 1)] if len(bend) else 0.0
    noise = float(lowest) / 0.2533 / math.sqrt(6)
    doubt, capacity = float(channel.u_si(0.0)), channel.capacity or 0.0
    return NoiseFloor(noise, max(LEAST_N, 6.0 * noise, 4.0 * doubt, 0.002 * capacity))
