"""Loads that stand at every change of hands, with both counters and no stated delay: U95 holds, and is narrow.

Sessions of simulator C whose motion is set here: hysteresis, and resistance that depends on speed and place, a row each.
Before the stretch of the rope showed the lags, 60 seeds had a median U95 of the haul force of 5.2 %.  Where half of the
resistance is proportional to speed, the force falls so far at each stand that the sums of the lags hold little or nothing of
the haul; that is an uncertainty of its own, without which the efficiency held in 50 to 75 %.  The rope is furthest there before
the load comes to rest: with the furthest rope in place of the rope at the load's rest, the travel efficiency held in 55 %.
Each stop there leaves an area between force and stretch that a lag alone makes; with the lags of the steady motion in place of
those of whole strokes, the work efficiency held in 85 to 90 %, with U95 of 23 to 27 %.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from support.simulator_c.judge import Judged, judge
from support.simulator_c.rows import _motion
from support.simulator_c.sessions import Disturbance, make

SEEDS = 60
HOW = {
    "even": lambda rng: {},
    "hysteresis": lambda rng: {"loss": float(rng.uniform(0.25, 0.5))},
    "by speed": lambda rng: {"speed": 0.15},
    "by place": lambda rng: {"place": 0.2},
    "half by speed": lambda rng: {"speed": 0.5},
}
ALL_WAYS = pytest.mark.parametrize("way", ["cell", "known"])
pytestmark = pytest.mark.many


@cache
def stopping(name: str, way: str) -> tuple[Judged, ...]:
    def stands(motion, rng):
        stands_s = float(rng.uniform(0.2, 0.6))
        return replace(motion, stands_s=stands_s, pauses=0, **HOW[name](rng))

    what = Disturbance(
        name=f"stops {name}", ways=("cell", "known"), needs=("way",), plan=_motion(stands)
    )
    return tuple(judge(make(seed, what, way)) for seed in range(SEEDS))


@ALL_WAYS
@pytest.mark.parametrize("quantity", ["haul_force_N", "efficiency"])
@pytest.mark.parametrize("name", HOW)
def test_haul_force_and_efficiency_hold(name, quantity, way):
    """At 95 %, fewer than 53 of 60 within happens once in 125 times."""
    off = [j.off[quantity] for j in stopping(name, way) if j.off[quantity] is not None]
    assert len(off) >= 0.9 * SEEDS
    assert np.mean(np.abs(off) <= 1) >= 53 / 60


@ALL_WAYS
@pytest.mark.parametrize("name", HOW)
def test_travel_from_rest_to_rest_holds(name, way):
    """At 95 %, fewer than 53 of 60 within happens once in 125 times; U95 is half again that of the counters at most.

    Can catch: rope that counts where it was furthest, or after it was let off; a lag between both counters left out.
    """
    rows = stopping(name, way)
    off = [j.off["travel_efficiency"] for j in rows if j.off["travel_efficiency"] is not None]
    assert len(off) >= 0.9 * SEEDS
    assert np.mean(np.abs(off) <= 1) >= 53 / 60
    assert np.median([j.width["travel_efficiency"] for j in rows]) <= 0.015


@ALL_WAYS
@pytest.mark.parametrize("name", HOW)
def test_work_from_rest_to_rest_holds(name, way):
    """At 95 %, fewer than 53 of 60 within happens once in 125 times; U95 is 18 % at most where half goes by speed.

    Can catch: lags that correct the steady motion only, work up to where the load's late counter was when the rope stood.
    """
    rows = stopping(name, way)
    off = [j.off["work_efficiency"] for j in rows if j.off["work_efficiency"] is not None]
    assert len(off) >= 0.9 * SEEDS
    assert np.mean(np.abs(off) <= 1) >= 53 / 60
    assert (
        np.median([j.width["work_efficiency"] for j in rows if "work_efficiency" in j.width])
        <= 0.18
    )


@ALL_WAYS
def test_intervals_are_narrow_where_the_stretch_shows(way):
    rows = stopping("even", way)
    width, error = (
        [
            abs(values["haul_force_N"])
            for j in rows
            if "haul_force_N" in (values := getattr(j, name))
        ]
        for name in ("width", "error")
    )
    assert np.median(width) <= 0.04
    assert np.median(error) <= 0.01
