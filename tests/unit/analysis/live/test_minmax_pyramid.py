"""The pyramid of bins, whatever is put into it and however it is cut."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.live.minmax_pyramid import BASE_S, MOST_BINS, Pyramid

VALUES = st.floats(-1e6, 1e6) | st.sampled_from([float("nan"), float("inf"), 0.0])


FINITE = st.floats(allow_nan=False, allow_infinity=False)
STEPS = st.floats(0, 3) | st.floats(0, 1e5) | st.sampled_from([0.0, 1e9])


def filled(time_s, values, cuts):
    pyramid = Pyramid()
    for part in np.split(np.arange(len(time_s)), sorted(cuts)):
        pyramid.push(time_s[part], values[part])
    return pyramid


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_cut_gives_the_bins_of_one_push_and_hides_no_peak(data):
    rows = data.draw(st.lists(st.tuples(STEPS, VALUES), min_size=1, max_size=300))
    time_s = np.cumsum([step for step, _ in rows])
    values = np.array([value for _, value in rows])
    cuts = data.draw(st.lists(st.integers(0, len(rows)), max_size=8))
    pyramid, whole = filled(time_s, values, cuts), filled(time_s, values, [])
    good = np.isfinite(values) & (time_s < 1e11)
    if not good.any():
        assert pyramid.first is None
        return
    for span in (None, 60.0, 600.0):
        level = pyramid.level_for(span)
        assert level == whole.level_for(span)
        bins, low, high = pyramid.bins(level)
        assert all(
            np.array_equal(a, b) for a, b in zip((bins, low, high), whole.bins(level), strict=True)
        )
        assert high.max() == values[good].max() and low.min() == values[good].min()
        # against the plain definition, bin by bin
        index = np.floor(time_s[good] / BASE_S).astype(int) >> level
        assert bins.tolist() == sorted(set(index.tolist()))
        for k, lo, hi in zip(bins, low, high, strict=True):
            mine = values[good][index == k]
            assert (lo, hi) == (mine.min(), mine.max())
    bins, _, _ = pyramid.bins(pyramid.level_for(None))
    assert bins[-1] - bins[0] < MOST_BINS


def test_a_shock_of_one_reading_stays_visible_after_ten_hours():
    time_s = np.arange(0, 36_000, 0.1)
    values = np.full(len(time_s), 300.0)
    values[123_457] = 2500.0
    pyramid = filled(time_s, values, range(0, len(time_s), 10_000))
    bins, _, high = pyramid.bins(pyramid.level_for(None))
    assert len(bins) <= MOST_BINS and high.max() == 2500.0


def test_the_mean_of_a_bin_is_that_of_its_readings():
    time_s = np.sort(np.random.default_rng(4).uniform(0, 900, 5000))
    values = np.random.default_rng(5).normal(300, 90, 5000)
    pyramid = filled(time_s, values, range(0, 5000, 137))
    level = pyramid.level_for(None)
    bins, _, _ = pyramid.bins(level)
    for k, mean in zip(bins, pyramid.means(level), strict=True):
        mine = values[np.floor(time_s / BASE_S).astype(int) >> level == k]
        assert mean == pytest.approx(mine.mean())


def test_the_largest_readings_of_one_time_do_not_overflow():
    pyramid = Pyramid()
    for value in (9e307, 9e307, 1.7976931348623157e308):  # the last: the largest double, IEEE 754
        pyramid.push(np.array([0.0]), np.array([value]))
    pyramid.push(np.array([BASE_S, BASE_S]), np.array([-1.7976931348623157e308] * 2))
    _, low, high = pyramid.bins(0)
    assert low.tolist() == [9e307, -1.7976931348623157e308]
    assert high.tolist() == [1.7976931348623157e308, -1.7976931348623157e308]
    # by hand: (9 + 9 + 17.976931348623157) / 3
    assert pyramid.means(0).tolist() == pytest.approx([1.1992310449541052e308, high[1]], rel=1e-15)


def test_the_mean_of_ordinary_readings_is_numpys_to_the_bit():
    value = np.random.default_rng(3).normal(900.0, 300.0, 64)
    pyramid = Pyramid()
    pyramid.push(np.zeros(64), value)
    assert pyramid.means(0).tolist() == [float(np.add.reduceat(value, [0])[0] / 64)]


@given(st.lists(FINITE, min_size=1, max_size=40))
def test_a_mean_lies_between_the_lowest_and_the_highest(values):
    pyramid = Pyramid()
    for k, value in enumerate(values):
        pyramid.push(np.array([k * BASE_S / 2]), np.array([value]))
    _, low, high = pyramid.bins(0)
    mean = pyramid.means(0)
    assert np.isfinite(mean).all()
    tiny = 1e-280  # in units of 2**64 the smallest doubles lose digits
    assert (mean >= low - tiny).all() and (mean <= high + tiny).all()
