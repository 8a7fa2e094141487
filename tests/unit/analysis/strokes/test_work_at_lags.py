"""Work of a stroke at each lag, against the integral of force over travel written out cell by cell, and against hauls
whose work is known by hand."""

from __future__ import annotations

import numpy as np
import pytest
from support.readings import block, review, sensors, three

from analysis.strokes.stroke_sums import MOST_LAG, WORK_LAGS, lagged_cells, work_at_lags

N = 80


def _cells(seed=0):
    """80 cells with those before them: rope that goes and comes, whose force follows it."""
    rng = np.random.default_rng(seed)
    rope = np.cumsum(rng.uniform(-0.004, 0.02, MOST_LAG + 1 + N))
    load = np.cumsum(np.maximum(rng.uniform(-0.004, 0.007, MOST_LAG + 1 + N), 0))
    forces = rng.uniform(100, 500, (2, MOST_LAG + N))
    return lagged_cells(forces, rope, load), forces, rope


def test_each_lag_pairs_the_force_with_the_travel_of_another_time():
    """By the definition, in a loop: a force later than the rope meets the rope of before, and stands at the end."""
    cells, forces, rope = _cells()
    step = np.diff(rope)
    _, best = work_at_lags(cells.forces_N, cells.rope_m, 10, 70, 49)
    for k, lag in enumerate(WORK_LAGS.tolist()):
        by_hand = np.zeros(2)
        for i in range(10, 60):
            here = MOST_LAG + i
            by_hand += forces[:, here + min(lag, 0)] * step[here - max(lag, 0)]
        end = MOST_LAG + 59
        by_hand += forces[:, end] * sum(step[end - j] for j in range(max(lag, 0)))
        assert best[:, k] == pytest.approx(by_hand, rel=1e-4)


@pytest.mark.parametrize("cut", [11, 30, 59, 60, 69])
def test_where_the_cells_are_cut_changes_no_bit(cut):
    cells, _, _ = _cells(3)
    whole, best = work_at_lags(cells.forces_N, cells.rope_m, 10, 70, 49)
    one, one_best = work_at_lags(cells.forces_N, cells.rope_m, 10, cut, min(cut - 11, 49))
    two, two_best = work_at_lags(
        cells.forces_N, cells.rope_m, cut, 70, 59 - cut if cut <= 59 else -1
    )
    assert (one + two == whole).all()
    assert ((one_best if two_best is None else one + two_best) == best).all()


def test_a_force_of_a_silent_channel_counts_for_nothing():
    forces = np.full((1, MOST_LAG + N), 100.0)
    forces[0, 40:50] = np.nan
    rope = np.arange(MOST_LAG + 1 + N) * 0.01
    cells = lagged_cells(forces, rope, rope)
    whole, _ = work_at_lags(cells.forces_N, cells.rope_m, 0, N, -1)
    assert whole[0, MOST_LAG // 2] == pytest.approx(100 * 0.01 * (N - 10), rel=1e-4)


def _springs(late_s: float, hz: float = 50.0):
    """Ten pulls of 0.6 m at 400 N, after each of which the force falls to 250 N and 0.15 m of rope springs back, and
    comes in again as the force rises: both straight lines, so the work of each spring-back is undone by the next."""
    t, rope, force = [0.0, 3.0, 3.6], [0.0, 0.0, 0.4], [0.0, 0.0, 400.0]
    for _ in range(10):
        at, x = t[-1], rope[-1]
        t += [at + 1.2, at + 1.6, at + 2.0]
        rope += [x + 0.6, x + 0.45, x + 0.6]
        force += [400.0, 250.0, 400.0]
    t, rope, force = (
        [*t, t[-1] + 0.6, t[-1] + 4],
        [*rope, rope[-1], rope[-1] - 0.4],
        [*force, 400.0, 0.0],
    )
    time = np.arange(0, t[-1], 1 / hz)
    load = np.interp(time, t, np.maximum.accumulate(np.array(rope) - np.array(force) * 1e-3) / 3)
    return {
        "haul": (
            time,
            np.interp(time, t, force) + np.random.default_rng(5).normal(0, 2, len(time)),
        ),
        "rope": (time + late_s, np.interp(time, t, rope)),
        "way": (time + late_s, load),
    }


@pytest.mark.parametrize("late_s", [0.0, 0.1, 0.25])
def test_rope_that_springs_back_does_no_work_however_late_its_counter_is(late_s):
    """400 N over 6 m and 80 J of stretch go in, 1000 N x 2 m come out; a counter 0.1 s late adds an area at each stop, 0.25 s
    doubles it.  With the delays stated, the work is right; without them the interval holds it.

    Can catch: the lag left out of the work, a lag of the wrong sign, spring-back that counts forward only.
    """
    made = block(**_springs(late_s))
    true = 2000 / (400 * 6 + 80)
    cell, counter = (
        "u = 0.5\ndelay_s = 0.0\ndelay_u_s = 0.005",
        f"u = 0.001\ndelay_s = {late_s}\ndelay_u_s = 0.005",
    )
    stated = sensors("haul", "rope", "way", haul=cell, rope=counter, way=counter)
    found = review(three(), stated, made)["measured"]["work_efficiency"]
    assert found["value"] == pytest.approx(true, rel=0.002)
    open_ = sensors("haul", "rope", "way", haul="u = 0.5", rope="u = 0.001", way="u = 0.001")
    found = review(three(), open_, made)["measured"]["work_efficiency"]
    assert abs(found["value"] - true) <= found["U95"]
