"""Quantiles of t and combined uncertainty against standard tables and the worked examples of the GUM."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.efficiency.uncertainty import Component, Quantity, t_quantile, type_a

# Student's t, two-sided 95 %: standard t tables, from memory
T_TABLE = {1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 10: 2.228, 20: 2.086, 30: 2.042,
           60: 2.000, 120: 1.980, 1000: 1.962, math.inf: 1.960}  # fmt: skip


@pytest.mark.parametrize(("degrees", "t"), T_TABLE.items())
def test_t_quantile_against_standard_tables(degrees, t):
    assert t_quantile(degrees) == pytest.approx(t, abs=0.0005)


def test_t_quantile_in_closed_form():
    """One degree of freedom is the Cauchy distribution, t = tan(pi p / 2); two have
    t = sqrt(2) p / sqrt(1 - p^2) (textbook)."""
    for p in (0.5, 0.9, 0.95, 0.99):
        assert t_quantile(1, p) == pytest.approx(math.tan(math.pi * p / 2), rel=1e-9)
        assert t_quantile(2, p) == pytest.approx(math.sqrt(2) * p / math.sqrt(1 - p * p), rel=1e-9)


def test_t_quantile_is_smooth_where_the_method_changes_and_falls_with_the_degrees():
    assert t_quantile(200.0) == pytest.approx(t_quantile(200.0001), rel=1e-6)
    values = [t_quantile(x) for x in (0.7, 1, 1.5, 2.5, 7.3, 40, 199, 201, 1e4, 1e9, math.inf)]
    assert values == sorted(values, reverse=True)


def test_gum_h1_end_gauge_combined_uncertainty_and_degrees_of_freedom():
    """JCGM 100:2008 H.1: parts 25 (18 d.o.f.), 9.7 (25.6), 2.9 (50), 16.6 (2) nm; u 32 nm, 16 d.o.f.

    The difference d's 9.7 nm is 5.8 (24), 3.9 (5) and 6.7 (8) in quadrature.  Parts and u read in the tests of
    an open metrology library that quote H.1; the 16 degrees of freedom are from memory (16.75, truncated)."""
    parts = (
        Component("standard", 25, 18),
        Component("repeated", 5.8, 24),
        Component("comparator random", 3.9, 5),
        Component("comparator systematic", 6.7, 8),
        Component("difference in expansion", 2.887, 50),
        Component("difference in temperature", 16.599, 2),
    )
    length = Quantity(50_000_838.0, parts, 1)
    assert length.u == pytest.approx(31.664, abs=0.01)
    assert length.degrees == pytest.approx(16.75, abs=0.05)


def test_scatter_of_equal_weights_is_the_standard_deviation_of_the_mean():
    """GUM 4.2.3: s / sqrt(n)."""
    values = np.array([9.0, 10.0, 11.0, 14.0])
    mean, part = type_a(values, np.full(4, 3.0))
    assert mean == 11.0
    assert part.u == pytest.approx(values.std(ddof=1) / 2)
    assert part.degrees == 3
