"""Devices that fall silent within a stroke, loads that never move, counters that count one way: hauls whose
answer is set beforehand.  The 3:1 of `support.readings`: 3 m of rope a metre of load."""

from __future__ import annotations

import numpy as np
import pytest
from support.readings import analyse, block, pull, review, sensors, three

from analysis.efficiency.estimate import estimate
from analysis.mechanics.model import model

HAND = sensors("haul", "rope", "way")


def without(series, start, stop):
    """The series (time, reading) without what was read from start to stop, s."""
    t, values = series
    keep = (t < start) | (t > stop)
    return t[keep], values[keep]


def hauled(**silent):
    """8 m at 0.5 m/s under 400 N; silent: (start s, stop s) by channel."""
    t, x, force = pull(20, 400.0, rope=8.0)
    series = {"haul": (t, force), "rope": (t, x), "way": (t, x / 3)}
    for name, span in silent.items():
        series[name] = without(series[name], *span)
    return block(**series)


@pytest.mark.parametrize("name", ["rope", "way"])
@pytest.mark.parametrize("quiet_s", [1.6, 3.0])
def test_a_silent_counter_slips_nowhere_and_its_counts_bridge_the_travel(name, quiet_s):
    found = review(three(), HAND, hauled(**{name: (8.0, 8.0 + quiet_s)}))
    codes = {m["code"] for m in found["messages"]}
    assert not codes & {"counter_slipped", "load_moved_more", "load_moved_less", "grab_crept",
                        "travel_of_another_rig", "counters_opposite"}  # fmt: skip
    [stroke] = found["strokes"]
    assert stroke["haul_travel_m"] == pytest.approx(8.0, abs=0.05)
    assert stroke["load_travel_m"] == pytest.approx(8.0 / 3, abs=0.02)
    assert stroke["work_J"] == pytest.approx(3200, rel=0.01)
    assert not [e for e in found["events"] if e["kind"] == "slip"]


def test_a_silence_beyond_the_bridge_stays_out_of_the_means():
    """7 s of 16 s without the rope counter: the counts still give the travel."""
    found = review(three(), HAND, hauled(rope=(6.0, 13.0)))
    assert "counter_slipped" not in {m["code"] for m in found["messages"]}
    [stroke] = found["strokes"]
    assert stroke["haul_travel_m"] == pytest.approx(8.0, abs=0.05)
    assert stroke["mean_force_N"] == pytest.approx(400, rel=1e-6)


@pytest.mark.parametrize("quiet_s", [1.6, 3.0, 7.0])
def test_a_silent_haul_cell_ends_no_stroke_while_rope_comes_out(quiet_s):
    result = analyse(three(), HAND, hauled(haul=(7.0, 7.0 + quiet_s)))
    [stroke] = result.strokes
    assert stroke.haul_travel_m == pytest.approx(8.0, abs=0.1)
    assert result.resets == 0


@pytest.mark.parametrize(("name", "quiet_s"), [("haul", 1.6), ("haul", 3.0), ("cell", 3.0)])
def test_work_goes_on_while_a_cell_is_silent(name, quiet_s):
    """400 N over 8 m of rope are 3200 J, 1000 N over 8 m / 3 are 2667 J, whoever is silent for a while; the budget says so."""
    t, x, force = pull(20, 400.0, rope=8.0)
    series = {"haul": (t, force), "cell": (t, 2.5 * force), "rope": (t, x), "way": (t, x / 3)}
    series[name] = without(series[name], 8.0, 8.0 + quiet_s)
    rig, result = three(None), analyse(three(None), sensors(*series), block(**series))
    [stroke] = result.strokes
    assert stroke.work_J == pytest.approx(3200, rel=0.01)
    assert stroke.out_J[1] == pytest.approx(8000 / 3, rel=0.01)
    found = estimate(rig, model(rig), result).work_efficiency
    assert found.value == pytest.approx(8000 / 3 / 3200, rel=0.01)
    silent_s = quiet_s / 16  # share of the stroke
    parts = [c.u for c in found.budget if c.name == "work while a cell was silent"]
    assert parts == [pytest.approx(0.3 * silent_s * found.value, rel=0.3)]


def test_a_cell_that_is_heard_all_along_has_no_doubt_by_silence():
    t, x, force = pull(20, 400.0, rope=8.0)
    series = {"haul": (t, force), "rope": (t, x), "way": (t, x / 3)}
    result = analyse(three(), HAND, block(**series))
    found = estimate(three(), model(three()), result).work_efficiency
    assert "work while a cell was silent" not in {c.name for c in found.budget}
    assert result.strokes[0].filled_J == 0


def test_a_silent_haul_cell_splits_no_lowering():
    """6 m out, then 6 m back under 250 N, 3 s of it unheard."""
    t = np.arange(0, 40, 0.05)
    x = np.interp(t, [2, 14, 16, 28], [0, 6, 6, 0])
    force = np.where((t >= 2) & (t < 16), 400.0, np.where((t >= 16) & (t <= 28), 250.0, 0.0))
    series = {"haul": without((t, force), 20, 23), "rope": (t, x), "way": (t, x / 3)}
    result = analyse(three(), HAND, block(**series))
    assert [s.direction for s in result.strokes] == ["haul", "lower"]


def test_a_cell_silent_at_the_end_of_a_stroke_hides_no_reset():
    """The tension goes off within the silence, and rope is fed back after it."""
    t = np.arange(0, 40, 0.05)
    x = np.interp(t, [2, 12, 15, 22, 25, 35], [0, 5, 5, 0, 0, 5])
    force = np.where(((t >= 2) & (t < 12.5)) | ((t >= 25) & (t <= 35)), 400.0, 0.0)
    way = np.interp(t, [2, 12, 25, 35], [0, 5 / 3, 5 / 3, 10 / 3])
    result = analyse(
        three(), HAND, block(haul=without((t, force), 11, 13), rope=(t, x), way=(t, way))
    )
    assert len(result.strokes) == 2
    assert result.resets == 1


@pytest.mark.parametrize("counted", [True, False])
def test_a_load_that_is_tugged_at_and_never_moves_has_no_stroke(counted):
    """Six pulls to 600 N take up 0.6 m of stretch, which springs back with the force."""
    t = np.arange(0, 60, 0.05)
    x = sum(np.interp(t, [k, k + 2, k + 4, k + 6], [0, 0.6, 0.6, 0]) for k in range(3, 57, 9))
    series = {"haul": (t, 1000 * x), "rope": (t, x)} | ({"way": (t, 0 * t)} if counted else {})
    found = review(three(), sensors(*series), block(**series))
    assert found["strokes"] == []
    assert found["resets"] == 0
    assert "did not move" in found["measured"]["why_not"]


def test_a_load_counter_that_only_counts_up_is_named_and_no_rig_is_blamed():
    """6 m out and 5 m back under tension; the load's counter adds up both ways."""
    t = np.arange(0, 40, 0.05)
    x = np.interp(t, [2, 14, 16, 26], [0, 6, 6, 1])
    force = np.where((t >= 2) & (t < 26), np.where(t < 15, 400.0, 250.0), 0.0)
    way = np.cumsum(np.abs(np.diff(x, prepend=0.0))) / 3
    found = review(three(), HAND, block(haul=(t, force), rope=(t, x), way=(t, way)))
    codes = {m["code"] for m in found["messages"]}
    assert "load_counter_only_up" in codes
    assert not codes & {"counters_opposite", "travel_of_another_rig", "counter_slipped"}


def test_steps_of_a_tenth_of_a_metre_on_both_counters_blame_nobody():
    t, x, force = pull(20, lambda x: 400 + 80 * np.sin(9 * x), rope=8.0)
    rope, way = np.round(x, 1), np.round(x / 3, 1)
    found = review(three(), HAND, block(haul=(t, force), rope=(t, rope), way=(t, way)))
    codes = {m["code"] for m in found["messages"]}
    assert not codes & {"counter_slipped", "grab_crept", "load_moved_more", "load_moved_less",
                        "counters_opposite", "load_stood", "travel_of_another_rig"}  # fmt: skip
    assert len(found["strokes"]) == 1
    assert found["resets"] == 0
