"""The noise of a haul cell is that of white noise, whatever slow force it lies on."""

import numpy as np
import pytest
from support.readings import sensors

from analysis.signals.noise_floor import noise_floor

CELL = sensors("haul").channels[0]
N = 40_000


def white(sigma_N):
    return np.random.default_rng(3).normal(0, sigma_N, N)


@pytest.mark.parametrize("sigma_N", [0.5, 3.0, 40.0])
def test_it_is_the_standard_deviation_of_white_noise(sigma_N):
    assert noise_floor(white(sigma_N), CELL).noise_N == pytest.approx(sigma_N, rel=0.05)


def test_a_slow_pull_adds_nothing_to_it():
    pull = 400 * np.sin(np.linspace(0, 40, N))
    assert noise_floor(white(3.0) + pull, CELL).noise_N == pytest.approx(3.0, rel=0.05)


def test_unknown_cells_are_left_out():
    force = white(3.0)
    force[::10] = np.nan
    assert noise_floor(force, CELL).noise_N == pytest.approx(3.0, rel=0.05)


def test_floor_is_six_times_the_noise_and_never_below_the_least():
    loud, still = noise_floor(white(40.0), CELL), noise_floor(np.zeros(96), CELL)
    assert loud.floor_N == pytest.approx(6 * loud.noise_N)
    assert still.noise_N == 0.0
    assert still.floor_N >= 2.0


def test_no_readings_give_no_noise():
    assert noise_floor(np.full(96, np.nan), CELL).noise_N == 0.0
