"""Strokes and events from readings whose answer is known beforehand."""

from __future__ import annotations

import numpy as np
import pytest
from support.readings import analyse, block, info, pull, review, sensors, three

from analysis.review.review import review_all
from logger.session.records import Event

HAND = sensors("haul", "rope", "way")


@pytest.mark.parametrize("hz", [5, 10, 33, 80, 1000])
@pytest.mark.parametrize("counted", [True, False])
def test_constant_force_over_three_metres(hz, counted):
    """3:1, e 0.9, W 1000 N, 3 m of rope, 1 m of load: S 369.004 N, work in 1107.011 J, out 1000 J,
    efficiency 0.903333 (derived from 1 + e + e^2 = 2.71)."""
    t, x, force = pull(hz, 1000 / 2.71)
    channels = {"haul": (t, force), "rope": (t, x)} | ({"way": (t, x / 3)} if counted else {})
    found = review(three(1000, 1), sensors(*channels), block(**channels))
    [stroke] = found["strokes"]
    measured = found["measured"]
    assert stroke["direction"] == "haul"
    assert stroke["mean_force_N"] == pytest.approx(369.004, abs=0.001)
    assert stroke["haul_travel_m"] == pytest.approx(3.0)
    assert measured["work_in_J"] == pytest.approx(1107.011, abs=0.001)
    assert measured["work_out_J"] == pytest.approx(1000.0, abs=1e-6)
    assert measured["efficiency"]["value"] == pytest.approx(0.903333, abs=1e-6)
    assert measured["pulley_efficiency"]["value"] == pytest.approx(0.9, abs=1e-6)
    assert measured["load_travel_method"] == ("counter" if counted else "model")
    assert (measured["travel_efficiency"] is not None) == counted
    if counted:
        assert measured["travel_efficiency"]["value"] == pytest.approx(1.0)
        # no delay is stated, so the rope may have begun before the force: the mean over that is a little less work
        work = measured["work_efficiency"]
        assert work["value"] == pytest.approx(0.903333, abs=min(0.01, work["U95"]))
    assert not [e for e in found["events"] if e["kind"] != "stale"]


@pytest.mark.parametrize("hz", [10, 100, 1000])
def test_the_trapezoid_rule_is_exact_for_a_force_that_climbs_along_the_rope(hz):
    """300 to 420 N over 3.0 m is 1080 J, mean 360 N (derived)."""
    t = np.arange(0, 6 + 1e-9, 1 / hz)
    x = t / 2
    found = review(three(), HAND, block(haul=(t, 300 + 40 * x), rope=(t, x), way=(t, x / 3)))
    [stroke] = found["strokes"]
    assert stroke["work_J"] == pytest.approx(1080, rel=1e-9)
    assert stroke["mean_force_N"] == pytest.approx(360, rel=1e-9)


@pytest.mark.parametrize("hz", [10, 50, 500])
@pytest.mark.parametrize("counted", [True, False])
def test_hands_that_let_the_force_fall_near_zero_are_one_stroke(hz, counted):
    """The mean of S (1 + 0.95 sin) over whole turns at constant speed is S."""
    t, x, force = pull(hz, lambda x: 400 * (1 + 0.95 * np.sin(2 * np.pi * x / 0.6)), rope=12.0)
    channels = {"haul": (t, force), "rope": (t, x)} | ({"way": (t, x / 3)} if counted else {})
    found = review(three(), sensors(*channels), block(**channels))
    [stroke] = found["strokes"]
    assert stroke["mean_force_N"] == pytest.approx(400, rel=0.02)
    assert found["resets"] == 0
    assert not {e["kind"] for e in found["events"]} & {"slip", "shock", "reset"}


def test_a_pause_with_tension_kept_neither_ends_a_stroke_nor_enters_its_mean():
    t = np.arange(0, 40, 0.02)
    x = np.interp(t, [2, 8, 28, 34], [0, 3, 3, 6])
    force = np.where((t >= 2) & (t <= 34), np.where((t > 8.5) & (t < 27.5), 250.0, 400.0), 0.0)
    found = review(three(), HAND, block(haul=(t, force), rope=(t, x), way=(t, x / 3)))
    [stroke] = found["strokes"]
    assert stroke["haul_travel_m"] == pytest.approx(6.0)
    assert stroke["mean_force_N"] == pytest.approx(400, rel=1e-3)


@pytest.mark.parametrize("counted", [True, False])
def test_a_pause_with_tension_kept_at_either_end_belongs_to_no_stroke(counted):
    """0.2 m stretches the rope, 5 s pass, the load goes 1 m, 5 s pass (interface section 6)."""
    t = np.arange(0, 30, 0.02)
    x = np.interp(t, [2, 3, 8, 14], [0, 0.2, 0.2, 3.2])
    force = np.interp(t, [2, 3, 7.9, 8, 14, 19, 19.5], [0, 330, 330, 400, 400, 400, 0])
    channels = {"haul": (t, force), "rope": (t, x)}
    if counted:
        channels["way"] = (t, np.interp(t, [8, 14], [0, 1]))
    [stroke] = review(three(), sensors(*channels), block(**channels))["strokes"]
    assert (stroke["start_s"], stroke["end_s"]) == pytest.approx((8, 14), abs=0.1)
    assert stroke["haul_travel_m"] == pytest.approx(3.1, abs=0.11)


@pytest.mark.parametrize("counted", [True, False])
def test_a_pull_before_a_pause_is_in_the_stroke(counted):
    """0.9 m move the load 0.3 m; the pause behind them is within the stroke."""
    t = np.arange(0, 30, 0.02)
    x = np.interp(t, [2, 5, 10, 16], [0, 0.9, 0.9, 3.9])
    force = np.where((t >= 2) & (t <= 16), 400.0, 0.0)
    channels = {"haul": (t, force), "rope": (t, x)} | ({"way": (t, x / 3)} if counted else {})
    [stroke] = review(three(), sensors(*channels), block(**channels))["strokes"]
    assert stroke["start_s"] == pytest.approx(2, abs=0.1)


def test_a_pause_between_hauling_and_lowering_belongs_to_neither():
    t = np.arange(0, 36, 0.02)
    x = np.interp(t, [2, 8, 20, 26], [0, 3, 3, 0.5])
    force = np.where((t >= 2) & (t <= 26), np.where(t < 20, 400.0, 300.0), 0.0)
    channels = {"haul": (t, force), "rope": (t, x), "way": (t, x / 3)}
    up, down = review(three(), sensors(*channels), block(**channels))["strokes"]
    assert (up["direction"], down["direction"]) == ("haul", "lower")
    assert (up["end_s"], down["start_s"]) == pytest.approx((8, 20), abs=0.1)


@pytest.mark.parametrize("counted", [True, False])
def test_take_up_and_break_away_stay_out_of_the_mean(counted):
    """0.5 m of rope stretches before the load moves; it then breaks away at 1.3 times the force."""
    t, x, _ = pull(50, 0.0, rope=8.0)
    force = np.interp(x, [0, 0.5, 0.7, 8], [0, 520, 400, 400]) * ((t >= 2) & (t <= 18))
    way = np.clip(x - 0.5, 0, None) / 3
    channels = {"haul": (t, force), "rope": (t, x)} | ({"way": (t, way)} if counted else {})
    result = analyse(three(), sensors(*channels), block(**channels))
    [stroke] = result.strokes
    assert stroke.mean_force_N == pytest.approx(400, rel=0.004)
    assert stroke.steady.start_m >= 0.45
    assert stroke.peak_force_N == pytest.approx(520, abs=5)


@pytest.mark.parametrize("counted", [True, False])
def test_haul_reset_haul_lower(counted):
    """Lowering is rope given back under tension; a reset is rope fed back without; both told by
    travel and tension alone (interface section 6)."""
    corner = [2, 8, 10, 14, 16, 22, 24, 30]
    t = np.arange(0, 33, 0.02)
    x = np.interp(t, corner, [0, 3, 3, 0.2, 0.2, 3.2, 3.2, 0.2])
    way = np.interp(t, corner, [0, 1, 1, 0.97, 0.97, 1.97, 1.97, 0.97])
    pulled = ((t >= 2) & (t <= 8)) | ((t >= 16) & (t <= 24))
    force = np.where(pulled, 400.0, 0.0) + np.where((t > 24) & (t <= 30), 300.0, 0.0)
    channels = {"haul": (t, force), "rope": (t, x)} | ({"way": (t, way)} if counted else {})
    found = review(three(), sensors(*channels), block(**channels))
    assert [s["direction"] for s in found["strokes"]] == ["haul", "haul", "lower"]
    assert [s["haul_travel_m"] for s in found["strokes"]] == pytest.approx(
        [3.0, 3.0, 3.0], abs=0.02
    )
    assert found["strokes"][2]["mean_force_N"] == pytest.approx(300, rel=0.01)
    assert found["resets"] == 1
    [reset] = [e for e in found["events"] if e["kind"] == "reset"]
    assert reset["value"] == pytest.approx(2.8, abs=0.01)
    assert (reset["time_s"], reset["end_s"]) == pytest.approx((10, 14), abs=0.2)


def test_rope_that_springs_back_when_let_go_is_no_lowering():
    t = np.arange(0, 14, 0.02)
    x = np.interp(t, [2, 8, 8.3], [0, 4, 3.4])
    force = np.interp(t, [2, 2.01, 8, 8.3], [0, 400, 400, 0])
    for channels in ({}, {"way": (t, np.interp(t, [2, 8], [0, 4 / 3]))}):
        channels = {"haul": (t, force), "rope": (t, x)} | channels
        found = review(three(), sensors(*channels), block(**channels))
        assert [s["direction"] for s in found["strokes"]] == ["haul"]


def _slip(stands: bool):
    """At 10 s the force falls from 400 to 60 N in 0.1 s, 0.5 m of rope comes out in 0.3 s."""
    t = np.arange(0, 20, 0.01)
    x = np.interp(t, [2, 10, 10.3, 18.3], [0, 4, 4.5, 8.5])
    way = np.interp(t, [2, 10, 10.3, 18.3], [0, 4 / 3, (4 if stands else 4.5) / 3, 8 / 3])
    force = np.interp(
        t, [2, 2.01, 10, 10.1, 10.4, 10.6, 18.3, 18.31], [0, 400, 400, 60, 60, 400, 400, 0]
    )
    return {"haul": (t, force), "rope": (t, x), "way": (t, way)}


def test_a_slip_is_rope_out_with_the_force_gone_and_the_load_standing():
    found = review(three(), HAND, block(**_slip(True)))
    [slip] = [e for e in found["events"] if e["kind"] == "slip"]
    assert slip["time_s"] == pytest.approx(10.05, abs=0.07)
    assert slip["channel"] == "haul"
    assert 0.4 < slip["value"] < 0.75
    assert found["strokes"][0]["mean_force_N"] == pytest.approx(400, rel=0.005)


def test_no_slip_where_the_load_moved_or_nobody_counts_it():
    found = review(three(), HAND, block(**_slip(False)))
    assert not [e for e in found["events"] if e["kind"] == "slip"]
    channels = _slip(True)
    del channels["way"]
    found = review(three(), sensors(*channels), block(**channels))
    assert not [e for e in found["events"] if e["kind"] == "slip"]
    assert any("slip" in w for w in found["warnings"])


@pytest.mark.parametrize(("rise_s", "shock"), [(0.1, True), (0.25, True), (2.0, False)])
def test_a_shock_is_twice_the_steady_force_within_0_3_s(rise_s, shock):
    t = np.arange(0, 20, 0.01)
    force = np.interp(
        t, [2, 2.01, 12, 12 + rise_s, 12.1 + 2 * rise_s, 18, 18.01], [0, 400, 400, 900, 400, 400, 0]
    )
    x = np.interp(t, [2, 18], [0, 8])
    found = review(three(), HAND, block(haul=(t, force), rope=(t, x), way=(t, x / 3)))
    shocks = [e for e in found["events"] if e["kind"] == "shock"]
    assert len(shocks) == shock
    if shock:
        assert shocks[0]["time_s"] == pytest.approx(12 + rise_s, abs=0.15)
        assert shocks[0]["value"] == pytest.approx(900, rel=0.03)


def test_limits_of_channels_and_of_elements_once_per_excursion():
    more = "[pulley.T1]\nwll_kN = 1.0\n[limits]\ndesign_factor = 10.0\n"
    t = np.arange(0, 24, 0.01)
    force = np.interp(t, [2, 2.01, 8, 8.1, 8.6, 8.7, 14, 14.1, 14.5, 14.6, 20, 20.01],
                      [0, 300, 300, 550, 550, 300, 300, 480, 480, 300, 300, 0])  # fmt: skip
    force = force + 3 * (np.arange(len(t)) % 2) * (force > 0)  # crosses any level many times
    x = np.interp(t, [2, 20], [0, 9])
    found = review(
        three(more=more), sensors("haul", "rope", haul="warn_at = 450.0\nstop_at = 540.0\n"),
        block(haul=(t, force), rope=(t, x)),
    )  # fmt: skip
    over = [e for e in found["events"] if e["kind"] == "over_limit"]
    texts = [e["text"] for e in over]
    assert sum("warn_at" in x for x in texts) == 2
    assert sum("stop_at" in x for x in texts) == 1
    # T1 turns the rope by 180 degrees: it carries twice the tension, 1000 N from 500 N on
    [of_t1] = [e for e in over if e["text"].startswith("T1")]
    assert of_t1["value"] == pytest.approx(2 * 553)
    assert of_t1["time_s"] == pytest.approx(8.08, abs=0.04)
    [row] = [row for row in found["peaks"] if row["name"] == "T1"]
    assert row["at_most_N"] == pytest.approx(2 * 553)
    assert row["use"] == pytest.approx(1.106)
    assert row["time_s"] == pytest.approx(8.3, abs=0.3)


def test_stale_and_saturated_name_their_channel():
    t = np.concatenate((np.arange(0, 5, 0.02), np.arange(8, 12, 0.02)))
    force = np.where((t > 2) & (t < 3), 6000.0, 10.0)
    found = review(
        three(), sensors("haul", "rope", haul="capacity = 5000.0\nzero = 2000.0"),
        block(haul=(t, force), rope=(np.arange(0, 12, 0.1), np.zeros(120))), now=15.0,
    )  # fmt: skip
    kinds = {(e["kind"], e["channel"]): e for e in found["events"] if e["kind"] == "saturated"}
    # judged before any zero: 6000 is beyond 5000 though 6000 - 2000 is not
    assert kinds["saturated", "haul"]["time_s"] == pytest.approx(2.02, abs=0.04)
    stale = [e for e in found["events"] if e["kind"] == "stale" and e["channel"] == "haul"]
    assert [e["time_s"] for e in stale] == pytest.approx([5.98, 12.98])
    assert stale[0]["end_s"] == pytest.approx(8.0)
    assert stale[1]["end_s"] is None
    assert found["duration_s"] == 15.0


def test_a_zero_holds_from_its_time_on():
    """The cell reads 50 N with nothing on it from the beginning; at 1 s someone zeroes it."""
    t, x, force = pull(50, 400.0, rope=6.0)
    zero = Event(1.0, "r000002", "zero", "haul", 50.0, "")
    data = block([zero], haul=(t, force + 50), rope=(t, x))
    found = review(three(), sensors("haul", "rope"), data)
    assert found["strokes"][0]["mean_force_N"] == pytest.approx(400)
    assert next(e for e in found["events"] if e["kind"] == "zero")["end_s"] == 1.0


def test_a_zero_or_a_restart_of_the_counter_moves_no_rope():
    t, x, force = pull(50, 400.0, rope=6.0)
    jump = np.where(t > 6.0, x - 1000.0, x)
    zero = Event(7.0, "r000002", "zero", "rope", 2.5, "")
    found = review(three(), sensors("haul", "rope"), block([zero], haul=(t, force), rope=(t, jump)))
    assert found["measured"]["haul_travel_m"] == pytest.approx(6.0, abs=0.02)
    assert any("jumped 1 time" in w for w in found["warnings"])


def test_rows_of_events_and_what_follows_from_readings_stand_in_order_of_time():
    t, x, force = pull(50, 400.0)
    events = [Event(float(k), f"r{k}", "mark", "", None, "here") for k in (9, 1, 4)]
    found = review(three(), sensors("haul", "rope"), block(events, haul=(t, force), rope=(t, x)))
    times = [e["time_s"] for e in found["events"]]
    assert times == sorted(times)
    assert sum(e["kind"] == "mark" for e in found["events"]) == 3


def test_a_growing_session_shows_the_stroke_that_goes_on():
    t, x, force = pull(50, 400.0, rope=6.0)
    now = t <= 9.0
    result = analyse(
        three(),
        HAND,
        block(haul=(t[now], force[now]), rope=(t[now], x[now]), way=(t[now], x[now] / 3)),
    )
    assert result.strokes[-1].growing
    assert result.strokes[-1].haul_travel_m == pytest.approx(3.5, abs=0.02)
    found = review_all(info(HAND, "growing"), three(), result).json
    assert found["state"] == "growing"
    assert found["measured"]["efficiency"] is not None


def test_rope_travel_from_another_counter():
    """The rope over A1 runs as the load does: 3 m of haul for each of its metres."""
    t, x, force = pull(50, 400.0, rope=6.0)
    for name in ("a1", "way"):
        channels = {"haul": (t, force), name: (t, x / 3)}
        if name == "a1":
            from analysis.mechanics.model import travel_gain

            channels[name] = (t, x / 3 * travel_gain(three(), "A1"))
        found = review(three(), sensors(*channels), block(**channels))
        assert found["measured"]["haul_travel_m"] == pytest.approx(6.0, abs=0.02)
        assert any("no rope counter" in w for w in found["warnings"])
