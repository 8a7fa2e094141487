"""Ticks of an axis."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from dashboard.figures.spec import ticks


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6), st.integers(2, 12))
def test_ticks_are_round_few_and_inside(low, span, about):
    high = low + span
    found = ticks(low, high, about)
    assert len(found) <= about + 1
    assert all(
        low - 1e-6 * span - 1e-9 * abs(low) <= t <= high + 1e-6 * span + 1e-9 * abs(high)
        for t in found
    )
