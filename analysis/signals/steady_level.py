"""Tracks the steady haul force: at each half second, from the half seconds before it."""

from __future__ import annotations

import copy

import numpy as np

from analysis.signals.time_cells import RATE, Floats

HALF = RATE // 2  # cells in half a second; chosen by us, no reason is on record
# moving half seconds that a level needs, and how many enter it; chosen by us: the middle 7 of 13 leave
# out take-up and jerks and average the pulls of the hands
LEAST, MOST = 3, 13
# rope in half a second that counts as moving; chosen by us: above a counter's steps
LEAST_TRAVEL_M = 0.02
SHOCK_TIMES = 2.0  # interface section 6
OVER_PEAKS = 1.2  # a shock / the usual peaks of the hands; chosen by us: hands alone reach twice the steady force


class Levels:
    """The steady force and the shock threshold, from the last moving half seconds.

    floor_N: forces below it count as zero.
    """

    def __init__(self, floor_N: float) -> None:
        self.floor_N = floor_N
        self._levels: Floats = np.empty(0)
        self._tops: Floats = np.empty(0)
        self._now = (np.nan, np.nan)

    def fork(self) -> Levels:
        """Return a copy that grows independently."""
        return copy.copy(self)  # arrays are never written to

    @property
    def steady_N(self) -> float | None:
        """The latest steady force, N; None before LEAST half seconds of motion."""
        return None if np.isnan(self._now[0]) else self._now[0]

    def push(self, force: Floats, step: Floats, high: Floats) -> tuple[Floats, Floats]:
        """Add whole seconds of cells; return (steady force, shock threshold), N, per half second.

        force: mean haul force of each cell, N, (n,), -inf where not measured; step: rope hauled in each
        cell, m, (n,); high: highest force in each cell, N, (n,).  Both results, (n / HALF,), come from
        the half seconds before, NaN while there are too few.

        The steady force is the mean of the middle 7 of the last 13 moving half seconds: take-up and
        jerks drop out, the pulls of the hands average.  Hands that let the force fall to zero reach
        twice the steady force at every pull, so a shock must also exceed the usual peaks.
        """
        ahead = np.maximum(step, 0.0)
        measured = np.isfinite(force)
        if not measured.all():
            ahead = np.where(measured, ahead, 0.0)
            force = np.where(measured, force, 0.0)
        travel = ahead.reshape(-1, HALF).sum(axis=1)
        total = (ahead * force).reshape(-1, HALF).sum(axis=1)
        moving = (travel >= LEAST_TRAVEL_M) & (total > travel * self.floor_N)
        new = np.flatnonzero(moving)
        if len(new) == 0:
            return np.full(len(travel), self._now[0]), np.full(len(travel), self._now[1])
        top = _highest(high.reshape(-1, HALF)[new])
        levels = np.concatenate((self._levels, total[new] / travel[new]))
        tops = np.concatenate((self._tops, top))
        steady, shock = self._table(levels, tops)
        after = np.cumsum(moving) - moving  # how many of the new ones lie before
        self._levels, self._tops = levels[-MOST:], tops[-MOST:]
        self._now = (float(steady[-1]), float(shock[-1]))
        return steady[after], shock[after]

    def _table(self, levels: Floats, tops: Floats) -> tuple[Floats, Floats]:
        """Steady force and shock threshold now and after each new half second, (new + 1,) each, N.

        levels, tops: mean and highest force of the old half seconds, then of the new ones.
        """
        old = len(self._levels)
        steady, shock = np.full((2, len(levels) - old + 1), np.nan)
        steady[0], shock[0] = self._now
        whole = max(MOST, old + 1)  # from this length on the window is full
        for n in range(old + 1, min(whole, len(levels) + 1)):
            at = slice(n - old, n - old + 1)
            steady[at], shock[at] = _reference(levels[None, :n], tops[None, :n])
        if len(levels) >= whole:
            windows = np.lib.stride_tricks.sliding_window_view
            first = whole - MOST
            steady[whole - old :], shock[whole - old :] = _reference(
                windows(levels[first:], MOST), windows(tops[first:], MOST)
            )
        return steady, shock


def _reference(levels: Floats, tops: Floats) -> tuple[Floats, Floats]:
    """Steady force and shock threshold, (m,) each, from windows of n half seconds, (m, n)."""
    m, n = levels.shape
    if n < LEAST:
        return np.full(m, np.nan), np.full(m, np.nan)
    cut = (n - 1) // 4
    middle = np.sort(levels, axis=1)[:, cut : n - cut]
    total = middle[:, 0].copy()
    for k in range(1, middle.shape[1]):  # one after the other: the cut leaves no mark
        total += middle[:, k]
    steady = total / middle.shape[1]
    usual = np.partition(tops, 3 * (n - 1) // 4, axis=1)[:, 3 * (n - 1) // 4]
    return steady, np.maximum(SHOCK_TIMES * steady, OVER_PEAKS * usual)


def _highest(values: Floats) -> Floats:
    """Highest of each row, (m,) from (m, HALF), NaN left out.  Halving is quicker than a reduction."""
    while values.shape[1] > 1:
        half = values.shape[1] // 2
        values = np.fmax(values[:, :half], values[:, half:])
    return values[:, 0]
