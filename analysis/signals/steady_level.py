"""The steady force so far, known at every half second from the half seconds before it."""

from __future__ import annotations

import copy

import numpy as np

from analysis.signals.time_cells import RATE, Floats

HALF = RATE // 2  # cells in half a second; chosen by us, no reason is on record
# moving half seconds: from how many on it is known, how many are looked at; chosen by us: the middle 7 of
# 13 leave out take-up and jerks and even out hands
LEAST, MOST = 3, 13
LEAST_WAY_M = 0.02  # rope in half a second that counts as moving; chosen by us: above a counter's steps
SHOCK_TIMES = 2.0  # interface section 6
OVER_PEAKS = 1.2  # a shock / the usual peaks of the hands; chosen by us: hands alone reach twice the steady force


class Levels:
    """Mean force (over distance) and highest force of the last moving half seconds."""

    def __init__(self, floor_N: float) -> None:
        self.floor_N = floor_N
        self._levels: Floats = np.empty(0)
        self._tops: Floats = np.empty(0)
        self._now = (np.nan, np.nan)

    def fork(self) -> Levels:
        return copy.copy(self)  # arrays are never written to

    @property
    def steady_N(self) -> float | None:
        """None before there is one."""
        return None if np.isnan(self._now[0]) else self._now[0]

    def push(self, force: Floats, step: Floats, high: Floats) -> tuple[Floats, Floats]:
        """For whole seconds of cells: the steady force known before each half second, and the
        force that a shock passes, NaN while there is none.

        force (n,), of no weight where it is -inf; step: rope hauled in each cell, m; high:
        highest force.  Take-up and jerks drop out of the steady force, hands even out in it:
        the mean of the middle 7 of 13.  Hands that let the force fall to nothing reach twice the
        steady force at every pull, so a shock must also stand out of the usual peaks.
        """
        ahead = np.maximum(step, 0.0)
        known = np.isfinite(force)
        if not known.all():
            ahead = np.where(known, ahead, 0.0)
            force = np.where(known, force, 0.0)
        way = ahead.reshape(-1, HALF).sum(axis=1)
        total = (ahead * force).reshape(-1, HALF).sum(axis=1)
        moving = (way >= LEAST_WAY_M) & (total > way * self.floor_N)
        new = np.flatnonzero(moving)
        if len(new) == 0:
            return np.full(len(way), self._now[0]), np.full(len(way), self._now[1])
        top = _highest(high.reshape(-1, HALF)[new])
        levels = np.concatenate((self._levels, total[new] / way[new]))
        tops = np.concatenate((self._tops, top))
        steady, shock = self._table(levels, tops)
        after = np.cumsum(moving) - moving  # how many of the new ones lie before
        self._levels, self._tops = levels[-MOST:], tops[-MOST:]
        self._now = (float(steady[-1]), float(shock[-1]))
        return steady[after], shock[after]

    def _table(self, levels: Floats, tops: Floats) -> tuple[Floats, Floats]:
        """What is known now and after each new one; levels, tops: the old ones, then the new."""
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
    """(m,) each from windows (m, n)."""
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
    """(m,) from (m, HALF), NaN left out: half against half is quicker than row by row."""
    while values.shape[1] > 1:
        half = values.shape[1] // 2
        values = np.fmax(values[:, :half], values[:, half:])
    return values[:, 0]
