"""Estimates how much rope the hands gave back between the rope's furthest place and the load's rest.

Rope at the hands is travel ratio x load travel + stretch.  Where the load resists more the faster it goes, the force
and with it the stretch fall as the load slows down, so the rope is furthest before the load comes to rest.  Half of
the resistance proportional to speed, and rope that stretches 0.2 m, give 0.1 m back: 2 % of a stroke of 5 m.  From rest
to rest the rope counts where it is when the load comes to rest, which its counter shows up to the lag L between
both counters:

    given back (L) = furthest rope - rope at (the load's last advance - L).

Behind the load's rest the tension is let off, so a wrong lag takes the whole stretch for rope given back.  Each lag is
therefore weighted by two probabilities: that two devices have it, and that the rope stands there, as hands that
bring a load to rest stand before they let off: 1 / (1 + (v / STANDS_M_S)^2) with the rope's speed v, the mean of all
strokes.  The first is normal where the sensors file states both delays.  Else it is T(L), the triangle of two delays from 0 to
MOST, each rectangular (JCGM 100, 4.3.7), times what the session shows: the haul cell's lags behind both counters have
probabilities p(l) and q(l), of which T(l) was known before, and L = l - l' is the difference of two such lags, so by Bayes
T(L) (p * q)(L) / (T * T)(L), with * the correlation of two distributions.  An error of the cell's delay is in both, and
taken for independent makes L less certain than it is.  One lag holds for all strokes.  The mean and the standard deviation
under these weights are estimate and standard uncertainty.  Where the load rests with the rope furthest, both are nearly
zero.

Limits: a load that creeps on by less than a step of its counter comes to rest later than it is seen; hands that let
off while the load still moves never stand.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.signals.lag_from_edges import Lag
from analysis.signals.lag_from_ripple import LIKELY, STATED
from analysis.signals.time_cells import RATE, Floats
from analysis.strokes.lag_correction import WorkLags
from analysis.strokes.stroke import Stroke
from analysis.strokes.stroke_accumulator import REST_LAGS

# speed of the rope up to which hands stand, m/s; chosen by us: a seventh of the speed of hauling, and above the steps of a
# counter of 2 mm that is read 32 times a second; held by the coverage tests
STANDS_M_S = 0.06
# least standard uncertainty of a stated lag, cells; derived: half a cell
LEAST_CELLS = 0.5


def given_back_m(
    strokes: Sequence[Stroke], stated: Lag | None, lags: WorkLags
) -> tuple[Floats, float]:
    """Rope given back in each stroke before the load came to rest, (n,), m, and the standard uncertainty of the sum, m.

    strokes: haul strokes, n; stated: lag of the load's counter behind the rope's by the sensors file; lags: of the haul cell
    behind both counters, by the session.
    """
    none = (0.0,) * len(REST_LAGS)
    table = np.array([s.sunk_m or none for s in strokes])
    speed = np.abs(np.gradient(table, axis=1)).mean(axis=0) * RATE
    likely = _likely(stated, lags) / (1 + (speed / STANDS_M_S) ** 2)
    likely /= likely.sum()
    total = table.sum(axis=0)
    u = float(np.sqrt(likely @ (total - likely @ total) ** 2))
    return table @ likely, u


def _likely(stated: Lag | None, lags: WorkLags) -> Floats:
    """Relative probability of each of REST_LAGS by the devices and the session's lags, (lags,)."""
    if stated is None or stated.lag_s is None:
        if not lags.rope or not lags.load:
            return LIKELY
        before = np.zeros(len(STATED))
        before[(len(STATED) - len(LIKELY)) // 2 :][: len(LIKELY)] = LIKELY
        middle = len(STATED) - 1
        here = slice(middle + int(REST_LAGS[0]), middle + int(REST_LAGS[-1]) + 1)
        by_session = np.correlate(np.array(lags.rope), np.array(lags.load), "full")[here]
        likely: Floats = LIKELY * by_session / np.correlate(before, before, "full")[here]
        return likely if likely.sum() > 0 else LIKELY
    u = max((stated.u_s or 0.0) * RATE, LEAST_CELLS)
    away = np.clip(stated.lag_s * RATE, REST_LAGS[0], REST_LAGS[-1]) - REST_LAGS
    return np.asarray(np.exp(-0.5 * (away / u) ** 2))
