"""Alarms follow from the readings alone, one at a time."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from logger.recorder.alarms import LEVELS, AlarmRow, AlarmState, LatchedAlarms, joined_labels, judge

ROW = AlarmRow("haul_force", "A1", gain=2.0, offset=10.0, caution=1000.0, stop=2000.0, hold_s=0.5)


def judged(row: AlarmRow, readings: list[tuple[float, float]]) -> list[tuple[float, str, float]]:
    state, alarms = AlarmState(), []
    for time_s, value in readings:
        state, value_told = judge(row, state, time_s, value)
        if value_told is not None:
            alarms.append((time_s, LEVELS[state.level], value_told))
    return alarms


def test_a_level_counts_after_its_hold_time_and_clears_below_it() -> None:
    readings = [
        (0.0, 600.0),
        (0.4, 600.0),
        (0.5, 600.0),
        (0.6, 490.0),
        (2.0, 490.0),
        (2.1, 400.0),
        (2.7, 400.0),
    ]
    # 490 x 2 + 10 = 990 is below 1000, but not by the 5 % that would clear it
    assert judged(ROW, readings) == [(0.5, "caution", 1210.0), (2.7, "clear", 810.0)]


def test_a_short_peak_is_no_alarm() -> None:
    assert (
        judged(
            ROW, [(0.0, 0.0), (0.1, 5000.0), (0.3, 5000.0), (0.4, 0.0), (1.0, 5000.0), (1.2, 0.0)]
        )
        == []
    )


def test_a_rise_through_caution_keeps_the_moment_it_began() -> None:
    assert judged(ROW, [(0.0, 600.0), (0.4, 1200.0), (0.5, 1200.0)]) == [(0.5, "stop", 2410.0)]


@given(st.lists(st.floats(0.0, 3000.0), max_size=60))
def test_with_no_hold_time_the_level_is_never_below_what_the_reading_says(
    values: list[float],
) -> None:
    row = AlarmRow("c", "x", caution=1000.0, stop=2000.0)
    state = AlarmState()
    for i, value in enumerate(values):
        state, _ = judge(row, state, i * 0.1, value)
        assert state.level >= (value > 1000.0) + (value > 2000.0)
        assert state.level == 0 or value > 950.0


def test_noise_about_a_level_counts_as_over_it_and_fires_on_a_reading_beyond() -> None:
    row = AlarmRow("c", "x", stop=1000.0, hold_s=0.1)
    noisy = [(0.02 * k, 1010.0 if k % 2 == 0 else 980.0) for k in range(12)]
    assert judged(row, noisy) == [(0.12, "stop", 1010.0)]
    # below 95 % in between, the time starts anew
    assert judged(row, [(0.0, 1010.0), (0.06, 900.0), (0.09, 1010.0), (0.15, 1010.0)]) == []


def test_one_reading_alone_is_never_an_alarm_however_slow_the_cell() -> None:
    row = AlarmRow("c", "x", stop=1000.0, hold_s=0.1)
    assert judged(row, [(0.0, 0.0), (2.0, 9000.0), (4.0, 0.0), (6.0, 9000.0), (8.0, 0.0)]) == []
    assert judged(row, [(0.0, 0.0), (2.0, 9000.0), (4.0, 9000.0)]) == [(4.0, "stop", 9000.0)]


def test_an_alarm_stays_until_it_is_acknowledged_also_when_it_is_over() -> None:
    seen = LatchedAlarms()
    seen.alarm("haul", "stop: A1", 3.0, 1200.0)
    seen.alarm("haul", "clear: A1", 4.0, 700.0)
    (one,) = seen.open().values()
    assert (one.level, one.worst, one.time_s, one.value) == (0, 2, 3.0, 1200.0)
    seen.ack("", "A1")
    assert not seen.held


def test_acknowledged_while_on_it_is_shown_and_asks_again_only_when_it_rises() -> None:
    seen = LatchedAlarms()
    seen.alarm("haul", "caution: A1", 3.0, 950.0)
    seen.ack("haul", "A1")
    assert not seen.open() and seen.held["haul", "A1"].level == 1
    seen.alarm("haul", "stop: A1", 4.0, 1300.0)
    assert seen.open()["haul", "A1"].worst == 2
    seen.ack("", "A1")
    seen.alarm("haul", "caution: A1", 5.0, 950.0)
    assert not seen.open()
    seen.alarm("haul", "clear: A1", 6.0, 100.0)
    assert not seen.held


def test_all_at_once_are_acknowledged_by_the_recorders_own_words_and_no_namesake_with_them() -> (
    None
):
    seen = LatchedAlarms()
    for label in ("A1", "A10: WLL 3 kN", "A1, A2"):
        seen.alarm("haul", f"stop: {label}", 1.0, 1.0)
    seen.ack("", "A1")
    assert set(seen.open()) == {("haul", "A10: WLL 3 kN"), ("haul", "A1, A2")}
    seen.ack("", joined_labels(["A1, A2", "A10: WLL 3 kN"]))
    assert not seen.open()
