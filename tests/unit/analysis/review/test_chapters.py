"""A rig event begins a chapter: its strokes, resets, peaks and prediction; the load's progress runs through."""

from __future__ import annotations

import math

import pytest
from support.chapter_sessions import RigPlan, SessionPlan, actual, recorded

from analysis.review.reviewed_session import whole_session


def reviewed(tmp_path, *rigs, **more):
    return whole_session(recorded(tmp_path / "s", SessionPlan(rigs=rigs, **more))).review


def test_a_session_whose_rig_never_changes_has_one_chapter(tmp_path):
    review = reviewed(tmp_path, RigPlan("3:1", (3.0, 3.0)))
    (only,) = review["chapters"]
    assert (only["rig"], only["from_s"], only["to_s"]) == ("rig.toml", 0.0, review["duration_s"])
    for key in ("ideal_ma", "predicted", "measured", "agreement", "peaks", "resets"):
        assert only[key] == review[key]
    assert only["strokes"] == [0, 1]


def test_each_chapter_has_its_own_strokes_prediction_and_totals(tmp_path):
    review = reviewed(tmp_path, RigPlan("3:1", (3.0, 3.0), 2.0), RigPlan("5:1", (2.0, 1.5, 1.5)))
    one, two = review["chapters"]
    assert (one["strokes"], two["strokes"]) == ([0, 1], [2, 3, 4])
    assert (one["ideal_ma"], two["ideal_ma"]) == pytest.approx((3.0, 5.0))
    for chapter, name in ((one, "3:1"), (two, "5:1")):
        assert chapter["measured"]["actual_ma"]["value"] == pytest.approx(
            actual(name, 0.9), rel=0.01
        )
    assert one["measured"]["haul_travel_m"] == pytest.approx(6.0, abs=0.05)
    assert two["measured"]["haul_travel_m"] == pytest.approx(5.0, abs=0.05)
    assert review["measured"]["haul_travel_m"] == pytest.approx(11.0, abs=0.1)
    assert review["measured"]["work_out_J"] == pytest.approx(
        one["measured"]["work_out_J"] + two["measured"]["work_out_J"]
    )
    # outside, the first chapter with an efficiency
    assert review["ideal_ma"] == one["ideal_ma"] and review["agreement"] == one["agreement"]


def test_where_the_first_has_no_efficiency_the_first_that_has_one_is_shown(tmp_path):
    review = reviewed(
        tmp_path, RigPlan("3:1", ()), RigPlan("5:1", (2.0, 1.5)), RigPlan("2:1", (2.0,))
    )
    assert len(review["chapters"]) == 3 and review["chapters"][0]["strokes"] == []
    assert review["ideal_ma"] == pytest.approx(5.0)


def test_rope_fed_back_before_a_rig_event_is_no_reset(tmp_path):
    review = reviewed(
        tmp_path, RigPlan("3:1", (3.0, 3.0), conversion_m=3.0), RigPlan("5:1", (2.0,))
    )
    assert [c["resets"] for c in review["chapters"]] == [1, 0]
    assert review["resets"] == 1
    assert len([e for e in review["events"] if e["kind"] == "reset"]) == 1


@pytest.mark.parametrize("counter", [False, True])
def test_the_loads_progress_runs_through_all_chapters(tmp_path, counter):
    rigs = (RigPlan("3:1", (3.0, 3.0), 2.0), RigPlan("2:1", ()), RigPlan("5:1", (2.0,)))
    chapters = reviewed(tmp_path, *rigs, load_counter=counter)["chapters"]
    ways = [(c["load_from_m"], c["load_to_m"]) for c in chapters]
    assert ways[0] == (0.0, pytest.approx(2.0, abs=0.02))
    assert ways[1] == (ways[0][1], ways[0][1]) and ways[2][0] == ways[1][1]
    assert ways[2][1] == pytest.approx(2.4, abs=0.03)


def test_a_part_has_a_peak_only_while_its_rig_was_in_use(tmp_path):
    review = reviewed(tmp_path, RigPlan("2:1", (3.0,)), RigPlan("3:1", (2.0,)))
    one, two = review["chapters"]
    assert "G1" not in {p["name"] for p in one["peaks"]}
    assert all(p["time_s"] >= math.floor(two["from_s"]) for p in two["peaks"])
    haul = {p["name"]: p["force_N"] for p in two["peaks"]}["T1>team"]
    assert haul == pytest.approx(1200 / actual("3:1", 0.9), rel=0.01)  # not 1200 / 1.9 of the first
    outside = {p["name"]: p for p in review["peaks"]}
    assert outside["G1"]["chapter"] == 1 and outside["L1"]["chapter"] == 0


def test_when_a_chapter_begins_its_captures_hold_what_the_load_last_needed(tmp_path):
    review = reviewed(tmp_path, RigPlan("2:1", (3.0,)), RigPlan("3:1", ()))
    (capture,) = (p for p in review["chapters"][1]["peaks"] if p["name"] == "C1")
    assert capture["at_most_N"] == pytest.approx(2 * 1200 / actual("2:1", 0.9), rel=0.01)
    assert capture["time_s"] == review["chapters"][1]["from_s"]
    (event,) = (
        e for e in review["events"] if e["kind"] == "over_limit" and e["text"].startswith("C1")
    )
    assert event["value"] == capture["at_most_N"]  # 1263 N on 1.2 kN


def test_a_warning_of_another_chapter_names_it(tmp_path):
    review = reviewed(tmp_path, RigPlan("3:1", (3.0, 3.0)), RigPlan("5:1", (2.0,)))
    codes = [m["code"] for m in review["messages"]]
    assert "rig_changed" in codes
    named = [m for m in review["messages"] if m["code"] in ("chapter_caution", "chapter_info")]
    assert named and all(m["text"].startswith("chapter 2: ") for m in named)
