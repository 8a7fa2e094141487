"""The caution that the zero of the haul cell is too low: for an error of the zero, not for its noise."""

from __future__ import annotations

import numpy as np
import pytest
from support.readings import analyse, block, sensors, three

HZ = 40.0
U_N = 2.0  # standard uncertainty of the zero, as stated


def accused(zero_N: float, noise_N: float, seed: int = 1) -> bool:
    """Whether a session of three strokes with rests is said to have a zero that is too low."""
    rng = np.random.default_rng(seed)
    t = np.arange(0, 60, 1 / HZ)
    at = [0, 6, 14, 15, 17, 20]
    rope = np.interp(t % 20, at, [0, 0, 4, 4, 0, 0])
    force = np.interp(t % 20, [0, 6, 6.1, 15, 15.1, 20], [0, 0, 400, 400, 0, 0])
    channels = {"haul": (t, force + zero_N + noise_N * rng.normal(size=len(t))), "rope": (t, rope)}
    found = analyse(three(1000, 10), sensors(*channels, haul=f"u = {U_N}"), block(**channels))
    return "zero_too_low" in {m.code for m in found.warnings}


@pytest.mark.parametrize(
    ("zeros", "noise", "says"),
    [(3.5, 0.1, True), (2.7, 0.1, False), (3.3, 2.0, False), (6.0, 2.0, True)],
)
def test_the_zero_must_be_off_by_more_than_its_uncertainty_and_the_noise(zeros, noise, says):
    """Zero and noise in standard uncertainties of the zero.  Can catch: a threshold of the zero alone, or of the greater of both;
    noise that hides a zero that is far off."""
    assert accused(-zeros * U_N, noise * U_N) is says


@pytest.mark.many
def test_zeros_within_their_uncertainty_are_accused_once_in_two_hundred_at_most():
    """1,200 zeros drawn normally from what is stated, with noise from a tenth to twice of it: P(z < -3) = 0.00135 gives 1.6.

    At that rate more than 6 come once in 750 times, at 1 in 200 in three of eight cases, at 1 in 100 in 95 of 100.
    """
    rng = np.random.default_rng(20261201)
    drawn = [
        accused(U_N * float(rng.normal()), U_N * float(rng.uniform(0.1, 2.0)), seed)
        for seed in range(1200)
    ]
    assert sum(drawn) <= 6
