"""Finds the flat top of a force cell that reads no more than some force.

A cell beyond its range goes on sending one number.  So two things show that a force is cut off at exactly the
highest reading of the session.  Either it falls well below that and comes back to exactly that, again and again
within a pull: a smooth force slows down toward its peak and spends more time just below it, and a force that a
winch holds constant comes to its highest value once a pull.  Or it sends that one number for long, again and again,
while its noise shows at all other forces, the slack rope's included: there it seldom sends a number twice running.
"""

from __future__ import annotations

import copy

import numpy as np

from analysis.signals.time_cells import Bools, Cells, Floats
from logger.channels.channel import Channel

# shares of the top: readings just below it; a fall after which the force comes back; a force that is let off,
# after which it does not come back but begins.  Chosen by us: several digits of a display; more than noise; less
# than hands leave on the rope
NEAR, FELL, LET_OFF = 0.97, 0.9, 0.2
# times that the force must come back to the top, and least time at it / just below it; chosen by us.  A sine that
# is read in steps of 1 % has 1.4 for the latter (derived: the time within d of its peak grows as the root of d).
# In 1,040 undisturbed sessions of both simulators of the tests no cell had a flat top: fewer than 1 in 346 (95 %,
# rule of three)
LEAST_TIMES, LEAST_STAY = 3, 2.0
# LONG: cells running at exactly the top in a long stay; OFTEN: share of the other cells that repeat the number before.
# Chosen by us: where so many repeat themselves by steps that are coarse for the noise, 16 do so in a row 3 times
# in 10,000 (0.6 ** 16), and a sine of 0.5 Hz and 20 % stays for 2 cells in a step of 0.1 % at its peak (derived as
# above).  In 350 undisturbed sessions of the first and third simulators of the tests no cell stayed at its top for
# 8 cells.  LEAST_LONG: chosen by us: not once.  LEAST_OTHER: other cells, for a share; chosen by us: fewer say nothing
LONG, LEAST_LONG, OFTEN, LEAST_OTHER = 16, 2, 0.6, 32


class FlatTop:
    """Counts how often a force channel comes back to exactly its highest reading and stays there.

    top: largest reading so far, less the zero of the sensors file, in the channel's unit.
    times: how often the force came back to it.
    at_top, near: cells of time at the top, and just below it.
    long_stays: stays of LONG cells or more at the top.
    others, repeats: cells below the top; those of them that hold nothing but the number of the cell before.
    """

    def __init__(self, channel: Channel) -> None:
        self._turned = channel.calibration is None and channel.scale < 0
        self._zero = channel.zero
        self.top = 0.0
        self._begin()

    def _begin(self) -> None:
        """Forget all visits to a lower top."""
        self.times = self.at_top = self.near = 0
        self.long_stays = self.others = self.repeats = self._run = 0
        self._visited = self._fell = self._let_off = self._was_at_top = False
        self._before = (np.nan, np.nan)  # least and largest reading of the cell before

    def fork(self) -> FlatTop:
        """Return a copy that grows independently."""
        return copy.copy(self)

    def push(self, new: Cells) -> None:
        """Add new cells, in the channel's unit; at least one."""
        low, high = new.low - self._zero, new.high - self._zero
        if self._turned:
            low, high = -high, -low
        top = float(high.max())
        if top > self.top:
            self.top = top
            self._begin()
            first = int(high.argmax())  # what came before has nothing to do with this top
            low, high = low[first:], high[first:]
        if self.top > 0:
            self._visits(low, high)

    def _visits(self, low: Floats, high: Floats) -> None:
        """Count visits to the top; low, high: (n,) least and largest reading of each cell."""
        up = high >= self.top
        stays = up & (low >= self.top)
        stays[1:] &= up[:-1]
        stays[0] &= self._was_at_top
        self._was_at_top = bool(up[-1])
        at_top = int(np.count_nonzero(up))
        self.near += int(np.count_nonzero(high >= NEAR * self.top)) - at_top
        self._repeated(low, high, up, at_top)
        visits = np.flatnonzero(stays)
        if not len(visits):
            self._run = 0
            self._fell |= bool(np.any(low < FELL * self.top))
            self._let_off |= bool(np.any(low < LET_OFF * self.top))
            return
        self._count_long(stays)
        fell, let_off = np.cumsum(low < FELL * self.top), np.cumsum(low < LET_OFF * self.top)
        self.at_top += len(visits)
        first, last = int(visits[0]), int(visits[-1])
        back = (self._fell or fell[first] > 0) and not (self._let_off or let_off[first] > 0)
        self.times += int(self._visited and back)
        again = (np.diff(fell[visits]) > 0) & (np.diff(let_off[visits]) == 0)
        self.times += int(np.count_nonzero(again))
        self._visited = True
        self._fell, self._let_off = bool(fell[-1] > fell[last]), bool(let_off[-1] > let_off[last])

    def _repeated(self, low: Floats, high: Floats, up: Bools, at_top: int) -> None:
        """Count the cells below the top, and those that repeat the number before.

        low, high, up: (n,) least and largest reading, and whether it is the top; at_top: number of the latter.
        """
        self.others += len(up) - at_top
        # low <= high, so both equalities together hold only where all four are one number
        same = np.empty(len(low), bool)
        np.equal(high[1:], low[:-1], out=same[1:])
        same[1:] &= low[1:] == high[:-1]
        same[0] = (low[0], high[0]) == self._before[::-1]
        if at_top:
            same &= ~up
        self.repeats += int(np.count_nonzero(same))
        self._before = (low[-1], high[-1])

    def _count_long(self, stays: Bools) -> None:
        """Count the stays that come to LONG cells; stays: (n,) whether a cell is one of a stay."""
        here = np.arange(len(stays))
        left = np.maximum.accumulate(np.where(stays, -1 - self._run, here))
        length = here - left
        self.long_stays += int(np.count_nonzero(length == LONG))
        self._run = int(length[-1])

    @property
    def seen(self) -> bool:
        """Whether the channel has a flat top."""
        if self.times >= LEAST_TIMES and self.at_top >= LEAST_STAY * self.near:
            return True
        noise_shows = self.others >= LEAST_OTHER and self.repeats <= OFTEN * self.others
        return noise_shows and self.long_stays >= LEAST_LONG
