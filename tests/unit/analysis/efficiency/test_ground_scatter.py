"""The doubt by ground that differs from place to place, against the variance of the mean of an autoregressive
series in closed form (any text on time series)."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from support.readings import analyse, block, pull, review, sensors, three

from analysis.efficiency.ground_scatter import ground_scatter


def _strokes(pieces: np.ndarray):
    """Six pieces of 1 m a stroke, with these mean forces, N."""
    t, x, force = pull(50, 400.0, rope=6.0)
    model = analyse(three(), sensors("haul", "rope"), block(haul=(t, force), rope=(t, x))).strokes[
        0
    ]
    assert model.steady is not None
    return [
        replace(model, steady=replace(model.steady, batches=np.column_stack((np.ones(6), row))))
        for row in pieces.reshape(-1, 6)
    ]


@pytest.mark.parametrize(
    "alike",
    [pytest.param(0.0, marks=pytest.mark.many), pytest.param(0.5, marks=pytest.mark.many), 0.8],
)
def test_neighbours_that_are_alike_count_as_fewer(alike):
    """var(mean) = s^2 / n (1 + 2 sum (1 - k / n) r^k); root mean square of the estimate over 400 series."""
    n, s, rng = 36, 0.05, np.random.default_rng(2)
    k = np.arange(1, n)
    true = s * math.sqrt((1 + 2 * float(np.sum((1 - k / n) * alike**k))) / n)
    squares = []
    for _ in range(400):
        z = np.zeros(n)
        z[0] = rng.standard_normal()
        for i in range(1, n):
            z[i] = alike * z[i - 1] + math.sqrt(1 - alike**2) * rng.standard_normal()
        squares.append(ground_scatter(_strokes(400 * (1 + s * z))).u ** 2)
    assert math.sqrt(np.mean(squares)) == pytest.approx(true, rel=0.35)


def test_too_few_pieces_show_nothing():
    assert ground_scatter([]).u == 0.0


def test_a_stated_load_carries_the_ground_and_a_cell_does_not():
    """Force that rises and falls along the way by 10 %: the load force that the file states is that unsure."""
    t, x, force = pull(50, lambda rope: 400 + 40 * np.sin(2 * np.pi * rope / 5), rope=12.0)
    rig = three(1000, 0)
    estimates = [
        review(rig, sensors(*channels), block(**channels))["measured"]
        for channels in (
            {"haul": (t, force), "rope": (t, x)},
            {"haul": (t, force), "rope": (t, x), "cell": (t, 2.5 * force)},
        )
    ]
    assert estimates[0]["load_force_method"] == "known"
    assert 0.01 < estimates[0]["load_force_N"]["u"] / 1000 < 0.1
    assert estimates[1]["efficiency"]["u"] < 0.1 * estimates[0]["efficiency"]["u"]
