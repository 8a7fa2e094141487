"""The highest force on each part: by a cell, by the model, and the most that it can have carried."""

from __future__ import annotations

import numpy as np
import pytest
from support.readings import block, pull, review, sensors, three
from support.rigs import rig

from analysis.mechanics.model import model
from analysis.review.force_bounds import ForceBounds

E, IDEAL = 0.9, 3.0
BACK = 1 + 1 / E + 1 / E**2  # load force / haul force of this 3:1 with friction turned round


def peaks(found, chapter=None):
    rows = found["peaks"] if chapter is None else found["chapters"][chapter]["peaks"]
    return {row["name"]: row for row in rows}


def hauled(force=400.0, channels=("haul", "rope"), more="", **others):
    t, x, haul = pull(50, force, rope=6.0)
    data = {"haul": (t, haul), "rope": (t, x)}
    data |= {name: (t, gain * haul) for name, gain in others.items()}
    return review(three(None, more=more), sensors(*channels), block(**data))


def test_a_part_without_a_cell_has_the_models_force_and_the_most():
    row = peaks(hauled())["A1>T1"]
    assert row["how"] == "model"
    # statics of the 3:1: this strand has e T with friction, T without; turned round, 1 / e of 3 T / BACK
    assert row["force_N"] == pytest.approx(E * 400, rel=1e-3)
    assert row["at_most_N"] == pytest.approx(max(400.0, 400 * IDEAL / BACK / E), rel=1e-3)
    assert row["force_u_N"] > 0


def test_a_capture_carries_what_the_load_needed_though_no_friction_loads_it():
    row = peaks(hauled())["C1"]
    assert row["at_most_N"] == pytest.approx(400 * IDEAL)
    assert row["force_N"] == pytest.approx(400 * (1 + E + E * E), rel=1e-3)
    assert row["time_s"] == pytest.approx(14.0, abs=0.1)  # the end of the stroke


def test_a_cell_rules_its_strand_and_the_load():
    found = hauled(channels=("haul", "rope", "cell"), cell=2.2)
    for name in ("load>G1", "load"):
        row = peaks(found)[name]
        assert row["how"] == "cell"
        assert row["force_N"] == row["at_most_N"] == pytest.approx(2.2 * 400)
    # what the load needed is measured too: the capture carries no more than that
    assert peaks(found)["C1"]["at_most_N"] == pytest.approx(2.2 * 400)


def test_no_limit_is_passed_where_the_own_cell_was_below_it():
    more = "[load]\nwll_kN = 1.0\n"
    found = hauled(
        channels=("haul", "rope", "cell"), cell=2.2, more=more
    )  # 880 N; frictionless 1200 N
    assert peaks(found)["load"]["use"] == pytest.approx(0.88)
    assert not [e for e in found["events"] if e["kind"] == "over_limit"]
    without = hauled(more=more)
    assert peaks(without)["load"]["use"] == pytest.approx(1.2)
    assert [e for e in without["events"] if e["kind"] == "over_limit"]


def test_a_capture_over_its_limit_is_an_event_though_it_only_holds():
    found = hauled(more="[capture.C1]\nmbs_kN = 11.0\n")  # 1.1 kN allowed, 1.2 kN held
    assert peaks(found)["C1"]["use"] == pytest.approx(1200 / 1100)
    (event,) = (e for e in found["events"] if e["kind"] == "over_limit")
    assert (
        event["text"].startswith("C1: 1100 N allowed") and "eased, held or lowered" in event["text"]
    )
    assert event["value"] == pytest.approx(1200.0)


def test_lowering_before_any_hauling_turns_the_friction_round():
    t, x, force = pull(50, 400.0, rope=6.0)
    found = review(three(None), sensors("haul", "rope"), block(haul=(t, force), rope=(t, -x)))
    assert [s["direction"] for s in found["strokes"]] == ["lower"]
    assert peaks(found)["load"]["at_most_N"] == pytest.approx(400 * BACK, rel=1e-6)


def test_without_a_rope_counter_any_pull_may_have_lowered():
    t, _, force = pull(50, 400.0, rope=6.0)
    found = review(three(None), sensors("haul"), block(haul=(t, force)))
    assert peaks(found)["load"]["at_most_N"] == pytest.approx(400 * BACK, rel=1e-6)


def test_beyond_the_haul_cells_capacity_nothing_bounds_a_part():
    t, x, force = pull(50, 400.0, rope=6.0)
    force[(t > 6) & (t < 6.2)] = 5100.0
    found = review(
        three(None), sensors("haul", "rope", haul="capacity = 5000.0"),
        block(haul=(t, force), rope=(t, x)),
    )  # fmt: skip
    row = peaks(found)["A1"]
    assert row["at_most_N"] is None and row["force_N"] > 0
    assert any(
        "no upper bound" in w and "haul was beyond its capacity" in w for w in found["warnings"]
    )


def test_a_part_that_friction_loads_is_bounded_by_its_strands():
    """An edge of small wrap: 2 T sin 10 deg without friction; if it holds one side alone, T."""
    bounds = ForceBounds(model(rig("tie:load edge:E@20,20,0.3 pulley:A@anchor haul")))
    names = [p.name for p in bounds.pieces]
    edge = names.index("E")
    assert bounds.ideal[edge] == pytest.approx(2 * np.sin(np.radians(10)))
    assert bounds.hauling[edge] == pytest.approx(1.0)
    assert np.all(bounds.hauling >= bounds.model - 1e-9)


def test_before_any_stroke_a_capture_carries_at_most_its_share_of_what_was_pulled():
    """Statics: a load that 400 N at the haul does not move pulls at most 3 x 400 N; C1 alone holds all of it."""
    t = np.arange(0, 12, 0.02)
    force = np.where((t > 2) & (t < 8), 400.0, 0.0)  # pulled at, but no rope comes
    more = "[capture.C1]\nwll_kN = 1.0\n"
    found = review(
        three(None, more=more), sensors("haul", "rope"), block(haul=(t, force), rope=(t, 0 * t))
    )
    row = peaks(found)["C1"]
    assert found["strokes"] == []
    assert row["at_most_N"] == pytest.approx(400 * IDEAL) and row["use"] == pytest.approx(1.2)
    assert [e["text"] for e in found["events"] if e["kind"] == "over_limit"]
    assert not any("no upper bound" in w for w in found["warnings"])


def test_without_a_rope_counter_a_capture_may_hold_what_was_lowered():
    t, _, force = pull(50, 400.0, rope=6.0)
    found = review(three(None), sensors("haul"), block(haul=(t, force)))
    assert peaks(found)["C1"]["at_most_N"] == pytest.approx(400 * BACK, rel=1e-6)


@pytest.mark.parametrize(("wll_kN", "use"), [(3.0, None), (0.5, "over")])
def test_use_is_null_where_nothing_bounds_a_part_unless_it_was_over_all_the_same(wll_kN, use):
    t, x, force = pull(50, 400.0, rope=6.0)
    force[(t > 6) & (t < 6.2)] = 600.0
    found = review(
        three(None, more=f"[pulley.A1]\nwll_kN = {wll_kN}\n"),
        sensors("haul", "rope", haul="capacity = 500.0"), block(haul=(t, force), rope=(t, x)),
    )  # fmt: skip
    row = peaks(found)["A1"]
    assert row["at_most_N"] is None and any("no upper bound" in w for w in found["warnings"])
    assert (row["use"] is None) == (use is None)
    over = [e for e in found["events"] if e["kind"] == "over_limit" and e["text"][:2] == "A1"]
    assert len(over) == (use is not None)
