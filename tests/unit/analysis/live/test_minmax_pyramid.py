"""Bins of time hold the lowest, highest and mean reading, whatever the readings are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.live.minmax_pyramid import BASE_S, Pyramid

FINITE = st.floats(allow_nan=False, allow_infinity=False)


def test_the_largest_readings_of_one_time_do_not_overflow():
    made = Pyramid()
    for value in (9e307, 9e307, 1.7976931348623157e308):  # the last: the largest double, IEEE 754
        made.push(np.array([0.0]), np.array([value]))
    made.push(np.array([BASE_S, BASE_S]), np.array([-1.7976931348623157e308] * 2))
    _, low, high = made.bins(0)
    assert low.tolist() == [9e307, -1.7976931348623157e308]
    assert high.tolist() == [1.7976931348623157e308, -1.7976931348623157e308]
    # by hand: (9 + 9 + 17.976931348623157) / 3
    assert made.means(0).tolist() == pytest.approx([1.1992310449541052e308, high[1]], rel=1e-15)


def test_the_mean_of_ordinary_readings_is_numpys_to_the_bit():
    value = np.random.default_rng(3).normal(900.0, 300.0, 64)
    made = Pyramid()
    made.push(np.zeros(64), value)
    assert made.means(0).tolist() == [float(np.add.reduceat(value, [0])[0] / 64)]


@given(st.lists(FINITE, min_size=1, max_size=40))
def test_a_mean_lies_between_the_lowest_and_the_highest(values):
    made = Pyramid()
    for k, value in enumerate(values):
        made.push(np.array([k * BASE_S / 2]), np.array([value]))
    _, low, high = made.bins(0)
    mean = made.means(0)
    assert np.isfinite(mean).all()
    tiny = 1e-280  # in units of 2**64 the smallest doubles lose digits
    assert (mean >= low - tiny).all() and (mean <= high + tiny).all()
