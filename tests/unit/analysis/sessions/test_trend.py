"""A line through values with uncertainties, against certified and published results."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.nist import NORRIS

from analysis.sessions.trend import day, trend, weighted_line


def test_certified_line_and_standard_deviations_where_the_scatter_rules():
    """NIST StRD, dataset Norris, and its certified values."""
    y, x = zip(*NORRIS, strict=True)
    line = weighted_line(x, y, [1e-3] * len(x))  # far below the scatter: the residuals decide
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.slope_u == pytest.approx(0.429796848199937e-3, rel=1e-9)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.intercept_u == pytest.approx(0.232818234301152, rel=1e-9)


def test_published_thermometer_line():
    # JCGM 100:2008, H.3 (Table H.6): y1 = -0.1712, s = 0.0029; y2 = 0.00218, s = 0.00067; t0 = 20
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    line = weighted_line([x - 20 for x in t], b, [1e-6] * len(t))
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert line.intercept_u == pytest.approx(0.0029, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.slope_u == pytest.approx(0.00067, abs=5e-6)


@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(0.5, 2.0)), min_size=4, max_size=20))
def test_stated_uncertainties_rule_where_the_scatter_is_small(rows):
    # against numpy.polyfit with weights 1/u and the unscaled covariance
    x = np.arange(len(rows), dtype=float)
    u = np.array([b for _, b in rows])
    y = 3.0 - 0.2 * x + 0.01 * np.array([a for a, _ in rows]) * u
    line = weighted_line(x, y, u)
    (slope, intercept), cov = np.polyfit(x, y, 1, w=1 / u, cov="unscaled")
    assert line.scale == 1.0
    assert (line.slope, line.intercept) == pytest.approx((slope, intercept), rel=1e-6, abs=1e-9)
    assert (line.slope_u, line.intercept_u) == pytest.approx(
        tuple(np.sqrt(np.diag(cov))[:2]), rel=1e-6
    )


def _sessions(slope_a_year: float, n: int = 12, u: float = 0.005):
    rng = np.random.default_rng(7)
    return [
        (f"2026-{1 + k % 12:02d}-05T08:00:00Z", 0.85 + slope_a_year * k / 12 + rng.normal(0, u), u)
        for k in range(n)
    ]


def test_a_pulley_that_wears_out_is_seen_and_steady_gear_is_not_blamed():
    worn = trend(_sessions(-0.10))
    assert worn.per_year == pytest.approx(-0.10, abs=worn.U95) and worn.per_year + worn.U95 < 0
    assert "falls" in worn.verdict.text() and "person" in worn.verdict.text()
    steady = trend(_sessions(0.0))
    assert abs(steady.per_year) < steady.U95 and "no change" in steady.verdict.text()


def test_too_little_is_said_to_be_too_little():
    assert trend([]).per_year is None and "3 are needed" in trend([]).verdict.text()
    same = [("2026-05-04T10:00:00Z", 0.8, 0.01)] * 5
    assert trend(same).per_year is None and "one day" in trend(same).verdict.text()
    odd = [("yesterday", 0.8, 0.01), ("", 0.8, 0.01), ("2026-05-04T10:00:00Z", 0.8, 0.0)]
    assert trend(odd).n == 0
    assert day("1970-01-02T00:00:00Z") == 1.0 and day("1970-01-02T00:00:00") == 1.0
