"""Collects what the haul cell reads while the rope hangs slack, over the whole session: its zero, and its drift."""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass

import numpy as np

MOST_RESTS = 2000  # memory only
# t of a slope that counts as drift; chosen by us: a normal scatter exceeds it once in 370
SURE = 3.0


@dataclass(frozen=True)
class Slack:
    """Readings of the haul cell with the rope slack."""

    rests: int  # times between strokes in which it was read
    offset_N: float  # median of the lowest whole second of each rest
    drift_N: float  # change from the first to the last rest by a straight line; 0 where scatter explains it


class SlackReadings:
    """The lowest whole second of each time in which the tension is off."""

    def __init__(self) -> None:
        self._rests: list[tuple[float, float]] = []  # (second, mean force N)
        self._now: tuple[float, float] | None = None

    def fork(self) -> SlackReadings:
        """Return a copy that grows independently."""
        other = copy.copy(self)
        other._rests = list(self._rests)
        return other

    def add(self, second: float, force_N: float) -> None:
        """Add a whole second with the tension off; second: its time, s; force_N: mean force."""
        if self._now is None or force_N < self._now[1]:
            self._now = (second, force_N)

    def end(self) -> None:
        """End the time with the tension off."""
        if self._now is not None and len(self._rests) < MOST_RESTS:
            self._rests.append(self._now)
        self._now = None

    def result(self) -> Slack | None:
        """The offset and its drift; None without a rest."""
        rests = [*self._rests, *([self._now] if self._now is not None else [])]
        if not rests:
            return None
        time_s, level = np.array(rests).T
        return Slack(len(rests), float(np.median(level)), _drift(time_s, level))


def _drift(time_s: np.ndarray, level: np.ndarray) -> float:
    """Change of level (n,) N over time_s (n,) by a straight line (JCGM 100, H.3); 0 where scatter explains it."""
    n = len(level)
    if n < 3:
        return 0.0
    x = time_s - time_s.mean()
    sxx = float(x @ x)
    if sxx <= 0:
        return 0.0
    slope = float(x @ level) / sxx
    rest = level - level.mean() - slope * x
    u = math.sqrt(float(rest @ rest) / (n - 2) / sxx)
    return slope * float(np.ptp(time_s)) if abs(slope) > SURE * u else 0.0
