"""Bisection brackets roots that are known in closed form, at its stated rate, and refuses no interval; the mean of
two correlated estimates is that of generalised least squares."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.numeric import bisect, weighted_mean


@pytest.mark.parametrize(
    "below, low, high, root",
    [
        (lambda x: x * x < 2, 0.0, 2.0, math.sqrt(2)),
        (lambda x: math.cos(x) > x, 0.0, 1.0, 0.7390851332151607),  # Dottie number
        (lambda x: x**3 - 2 * x - 5 < 0, 2.0, 3.0, 2.0945514815423265),  # Wallis, 1685
        (lambda x: math.exp(x) < 10, -5.0, 5.0, math.log(10)),
    ],
)
def test_known_roots_are_bracketed_to_the_last_bit(below, low, high, root):
    a, b = bisect(below, low, high)
    assert a <= root <= b
    assert b - a <= 2 * math.ulp(root)


def test_each_step_halves_the_interval():
    for steps in (0, 1, 5, 30):
        low, high = bisect(lambda x: x < 0.3, 0.0, 1.0, steps=steps)
        assert high - low == 2.0**-steps
        assert low <= 0.3 <= high


def test_it_stops_at_the_first_interval_within_tolerance():
    low, high = bisect(lambda x: x < 0.3, 0.0, 1.0, tolerance=1e-3)
    assert high - low == 2.0**-10  # 2^-9 is wider than 1e-3
    assert bisect(lambda x: x < 0.3, 0.0, 1.0, tolerance=1.0) == (0.0, 1.0)


def test_condition_is_asked_only_inside_and_once_a_step():
    asked = []
    bisect(lambda x: asked.append(x) or x < 0.3, 0.0, 1.0, steps=8)
    assert len(asked) == 8
    assert all(0.0 < x < 1.0 for x in asked)


def test_a_root_outside_leaves_the_end_that_is_nearest():
    low, high = bisect(lambda _: True, 0.0, 1.0, steps=20)
    assert (low, high) == (1.0 - 2.0**-20, 1.0)
    low, high = bisect(lambda _: False, 0.0, 1.0, steps=20)
    assert (low, high) == (0.0, 2.0**-20)


@pytest.mark.parametrize("low, high", [(1.0, 0.0), (math.nan, 1.0), (0.0, math.nan)])
def test_no_interval_is_an_error(low, high):
    with pytest.raises(ValueError, match="no interval"):
        bisect(lambda x: x < 0.3, low, high)


@given(
    st.floats(-10, 10),
    st.floats(0.01, 5),
    st.floats(-10, 10),
    st.floats(0.01, 5),
    st.floats(-0.95, 0.95),
)
def test_two_estimates_combine_as_generalised_least_squares_does(one, one_u, other, other_u, r):
    """Against (1' C^-1 x) / (1' C^-1 1), solved by numpy.linalg, where its weights are not negative."""
    cov = np.array([[one_u**2, r * one_u * other_u], [r * one_u * other_u, other_u**2]])
    weights = np.linalg.solve(cov, np.ones(2))
    weights /= weights.sum()
    value, u, weight = weighted_mean(one, one_u, other, other_u, r)
    if (weights < 0).any():
        assert u == pytest.approx(min(one_u, other_u)) and weight in (0.0, 1.0)
        return
    assert weight == pytest.approx(weights[1], abs=1e-9)
    assert value == pytest.approx(float(weights @ [one, other]), abs=1e-9)
    assert u == pytest.approx(math.sqrt(float(weights @ cov @ weights)), rel=1e-6)


def test_the_inverse_variances_weigh_two_independent_estimates():
    """By hand: weights 1 and 1/4, so 10 with u 1 and 13 with u 2 give 53/5 with u = 1 / sqrt(5/4)."""
    assert weighted_mean(10.0, 1.0, 13.0, 2.0) == pytest.approx((10.6, math.sqrt(0.8), 0.2))


def test_an_estimate_that_is_exact_is_kept():
    assert weighted_mean(10.0, 0.0, 13.0, 2.0) == (10.0, 0.0, 0.0)
