"""Alarms follow from the readings alone, one at a time."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from logger.alarms import LEVELS, AlarmRow, AlarmState, judge

ROW = AlarmRow("haul_force", "A1", gain=2.0, offset=10.0, caution=1000.0, stop=2000.0, hold_s=0.5)


def told(row: AlarmRow, readings: list[tuple[float, float]]) -> list[tuple[float, str, float]]:
    state, found = AlarmState(), []
    for time_s, value in readings:
        state, value_told = judge(row, state, time_s, value)
        if value_told is not None:
            found.append((time_s, LEVELS[state.level], value_told))
    return found


def test_a_level_counts_after_its_hold_time_and_clears_below_it() -> None:
    readings = [(0.0, 600.0), (0.4, 600.0), (0.5, 600.0), (0.6, 490.0), (2.0, 490.0), (2.1, 400.0),
                (2.7, 400.0)]
    # 490 x 2 + 10 = 990 is below 1000, but not by the 5 % that would clear it
    assert told(ROW, readings) == [(0.5, "caution", 1210.0), (2.7, "clear", 810.0)]


def test_a_short_peak_is_no_alarm() -> None:
    assert told(ROW, [(0.0, 0.0), (0.1, 5000.0), (0.3, 5000.0), (0.4, 0.0), (1.0, 5000.0), (1.2, 0.0)]) == []


def test_a_rise_through_caution_keeps_the_moment_it_began() -> None:
    assert told(ROW, [(0.0, 600.0), (0.4, 1200.0), (0.5, 1200.0)]) == [(0.5, "stop", 2410.0)]


@given(st.lists(st.floats(0.0, 3000.0), max_size=60))
def test_with_no_hold_time_the_level_is_never_below_what_the_reading_says(values: list[float]) -> None:
    row = AlarmRow("c", "x", caution=1000.0, stop=2000.0)
    state = AlarmState()
    for i, value in enumerate(values):
        state, _ = judge(row, state, i * 0.1, value)
        assert state.level >= (value > 1000.0) + (value > 2000.0)
        assert state.level == 0 or value > 950.0
