"""Take-up, break-away, drift, setback, creep, counters that err, spikes: hauls whose answer is set
beforehand.  The 3:1 of `support.readings`: 3 m of rope a metre of load."""

from __future__ import annotations

import numpy as np
import pytest
from support.readings import analyse, block, pull, review, sensors, three

HAND = sensors("haul", "rope", "way")


def channels(t, force, x, travel=None):
    series = {"haul": (t, force), "rope": (t, x)}
    return series if travel is None else series | {"way": (t, travel)}


def stretched(hz=50, rope=8.0, peak=520.0):
    """0.5 m of rope stretches before the load moves at the peak; then 400 N."""
    t, x, _ = pull(hz, 0.0, rope=rope)
    force = np.interp(x, [0, 0.5, 0.7, rope], [0, peak, 400, 400])
    force *= (t >= 2) & (t <= 2 + rope / 0.5)
    return t, force, x, np.clip(x - 0.5, 0, None) / 3


@pytest.mark.parametrize("counted", [True, False])
def test_take_up_and_break_away_are_told(counted):
    t, force, x, way = stretched()
    names = ("haul", "rope", "way") if counted else ("haul", "rope")
    result = analyse(
        three(), sensors(*names), block(**channels(t, force, x, way if counted else None))
    )
    [stroke] = result.strokes
    # the stroke begins where the tension is told from nothing: after 0.06 m at most
    assert stroke.details.take_up_m == pytest.approx(0.47, abs=0.07)
    assert stroke.details.break_away_N == pytest.approx(520, rel=0.02)


def test_no_break_away_is_seen_where_none_stands_out():
    t, force, x, _ = stretched(peak=400.0)
    result = analyse(three(), sensors("haul", "rope"), block(**channels(t, force, x)))
    assert result.strokes[0].details.break_away_N is None
    assert result.strokes[0].details.take_up_m == pytest.approx(0.42, abs=0.08)


def test_a_load_that_never_moves_tells_neither():
    t, force, x, way = stretched()
    result = analyse(three(), HAND, block(**channels(t, force, x, 0 * way)))
    assert result.strokes[0].details.take_up_m is None
    assert result.strokes[0].details.break_away_N is None


def test_ground_that_changes_is_a_drift_beyond_its_uncertainty():
    """10 N for each metre of rope under a ripple of the hands and noise of 4 N."""
    rng = np.random.default_rng(4)
    slopes, flat = [], []
    for k in range(20):
        for found, slope in ((slopes, 10.0), (flat, 0.0)):
            t, x, force = pull(
                50, lambda x, k=k, slope=slope: 400 + slope * x + 60 * np.sin(11 * x + k), rope=8.0
            )
            force = force + 4 * rng.standard_normal(len(t)) * (force > 0)
            result = analyse(three(), sensors("haul", "rope"), block(**channels(t, force, x)))
            facts = result.strokes[0].details
            assert facts.drift_pieces == 6
            found.append((facts.drift_N_m, facts.drift_u_N_m))
    for found, slope in ((slopes, 10.0), (flat, 0.0)):
        value, u = np.array(found).T
        assert value.mean() == pytest.approx(slope, abs=0.7)
        # Student's t for 4 degrees of freedom at 95 %: 2.776 (ISO/IEC Guide 98-3, table G.2)
        assert np.mean(np.abs(value - slope) <= 2.776 * u) >= 0.85
    assert np.mean(np.abs([v / u for v, u in slopes]) > 2.776) >= 0.9


def _with_reset(set_back):
    corner = [2, 8, 10, 11, 15, 17, 23]
    t = np.arange(0, 26, 0.02)
    x = np.interp(t, corner, [0, 3, 3, 2.8, 0.2, 0.2, 3.2])
    way = np.interp(t, corner, [0, 1, 1, 1 - set_back, 1 - set_back, 1 - set_back, 2 - set_back])
    force = np.where(((t >= 2) & (t <= 10)) | (t >= 17) & (t <= 23), 400.0, 0.0)
    return t, force, x, way


def test_the_load_set_back_at_a_reset():
    t, force, x, way = _with_reset(0.06)
    result = analyse(three(), HAND, block(**channels(t, force, x, way)))
    [reset] = result.reset_list
    assert reset.setback_m == pytest.approx(0.06, abs=0.002)
    assert "lost 0.06 m (setback)" in next(
        f.text for f in result.derived_events if f.kind == "reset"
    )
    bare = analyse(three(), sensors("haul", "rope"), block(**channels(t, force, x)))
    assert bare.reset_list[0].setback_m is None


def _strokes(shares):
    """One haul of 4 m of rope a share, with resets; the load makes share x 4/3 m."""
    t = np.arange(0, 16.0 * len(shares), 0.02)
    x, way, force = np.zeros(len(t)), np.zeros(len(t)), np.zeros(len(t))
    at = 0.0
    for k, share in enumerate(shares):
        u = t - 16.0 * k
        here = (u >= 0) & (u < 16)
        x[here] = np.interp(u[here], [2, 10, 11, 15], [0, 4, 4, 0])
        way[here] = at + np.interp(u[here], [2, 10], [0, 4 / 3 * share])
        force[here] = np.where((u[here] >= 2) & (u[here] < 10.5), 400.0, 0.0)
        at += 4 / 3 * share
    return channels(t, force, x, way)


def warned(shares, word):
    found = review(three(), HAND, block(**_strokes(shares)))
    return [w for w in found["warnings"] if word in w]


def test_a_grab_that_creeps_in_one_stroke_is_told_with_its_stroke():
    assert not warned([1, 1, 1, 1], "crept")
    [line] = warned([1, 1, 0.7, 1], "crept")
    assert line.startswith("stroke 3: 1.2")


def test_rope_and_load_that_always_disagree_blame_no_grab_alone():
    [line] = warned([0.8, 0.8, 0.8], "less load travel than rope")
    assert "the rig is not the one in the file" in line
    assert not warned([0.8, 0.8, 0.8], "crept")
    assert warned([1.3, 1.3], "more load travel than rope")


def test_a_rope_counter_that_slips_in_one_stroke():
    [line] = warned([1, 1.4, 1], "slipped")
    assert line.startswith("stroke 2")


def test_counters_that_run_opposite_ways():
    t, x, force = pull(50, 400.0, rope=6.0)
    found = review(three(), HAND, block(haul=(t, force), rope=(t, -x), way=(t, x / 3)))
    assert any("opposite directions" in w for w in found["warnings"])


def test_creep_is_not_visible_without_a_load_counter():
    t, x, force = pull(50, 400.0)
    found = review(three(), sensors("haul", "rope"), block(haul=(t, force), rope=(t, x)))
    assert any("a creeping grab cannot be seen" in w for w in found["warnings"])


@pytest.mark.parametrize("hz", [10, 25, 80, 500])
@pytest.mark.parametrize("size", [4000.0, -4000.0])
def test_one_wild_reading_stays_out_of_the_mean_but_not_out_of_the_peaks(hz, size):
    t, x, force = pull(hz, lambda x: 400 + 80 * np.sin(10 * x), rope=6.0)
    force = force + np.random.default_rng(1).normal(0, 2, len(t))
    names = sensors("haul", "rope", haul="stop_at = 3000.0")
    clean = review(three(), names, block(haul=(t, force), rope=(t, x)))
    at = int(8.3 * hz)
    force[at] += size
    found = review(three(), names, block(haul=(t, force), rope=(t, x)))
    [stroke], [without] = found["strokes"], clean["strokes"]
    assert stroke["mean_force_N"] == pytest.approx(without["mean_force_N"], rel=0.002)
    assert found["measured"]["efficiency"]["U95"] == pytest.approx(
        clean["measured"]["efficiency"]["U95"], rel=0.15
    )
    if size > 0:
        assert stroke["peak_force_N"] > 4000
        assert {e["kind"] for e in found["events"]} >= {"over_limit", "shock"}


def test_a_jerk_that_lasts_is_no_spike():
    """0.1 s at 900 N: 50 N s more."""
    t, x, force = pull(100, 400.0, rope=6.0)
    force = force + np.where((t >= 8) & (t < 8.1), 500.0, 0.0)
    result = analyse(three(), sensors("haul", "rope"), block(haul=(t, force), rope=(t, x)))
    assert result.strokes[0].work_J == pytest.approx(400 * 6 + 500 * 0.05, rel=0.003)
