"""Thinning a series for a plot loses no peak."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from analysis.review.si_series import thinned


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=400), st.integers(1, 40))
def test_each_column_keeps_its_least_and_largest(values, columns):
    value = np.array(values)
    time_s = np.linspace(0, 10, len(value))
    pick = thinned(time_s, value, columns)
    assert np.all(np.diff(pick) > 0) and len(pick) <= max(2 * columns + 2, 1)
    assert value[pick].max() == value.max() and value[pick].min() == value.min()
    assert pick[0] == 0 and pick[-1] == len(value) - 1
