"""What strands and parts are said to carry: their own cell's force, else never below what the rig
can make of a reading."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.rigs import rig

from analysis.live.inferred_loads import RigLoadInference
from analysis.mechanics.load_cases import conditions
from analysis.mechanics.model import force_gain, model
from analysis.mechanics.tension import tensions

# 3:1 on 3:1 with a capture at the anchor: 9, 3, 3, 1, 1 of the haul, by hand
NINE = ("tie:load grab:G1@50 capture:C1@anchor pulley:A1@anchor pulley:T1@G1 grab:G2@40 "
        "pulley:A2@anchor pulley:T2@G2 haul")  # fmt: skip
RATED = "[load]\nwll_kN = 10\nkind = 'hanging'\nmass_kg = 300\n[grab.G2]\nslips_at_kN = 4.0\n[capture.C1]\nwll_kN = 6.0\n"


def carrying(extra=RATED, e=0.9):
    return RigLoadInference(model(rig(NINE, e=e, extra=extra)))


def strands(loads, rig_model):
    return dict(zip([s.name for s in rig_model.rig.strands], loads.strand_N, strict=True))


def test_hauling_a_haul_cell_gives_every_strand_its_frictionless_share():
    inference = carrying()
    found = inference.hauling([("haul", 100.0)])
    got = strands(found, inference.rig_model)
    assert got["load>G1"] == pytest.approx(900) and got["T2>team"] == pytest.approx(100)
    assert found.uses[0].name == "load"
    assert found.uses[0].share == pytest.approx(900 / 10_000)


@settings(max_examples=40, deadline=None)
@given(
    st.floats(0.5, 0.999), st.floats(1.0, 5000.0), st.sampled_from(["haul", "load", "A1>T1", "G2"])
)
def test_hauling_nothing_is_below_frictionless_nor_below_the_model(e, force, at):
    inference = carrying(e=e)
    found = inference.hauling([(at, force)])
    ideal, real = force_gain(inference.rig_model.rig, at)
    for tension in (inference.rig_model.ideal_tension / ideal, inference.rig_model.tension / real):
        assert np.all(found.strand_N >= tension * force - 1e-6)


def test_a_cell_at_the_load_tells_the_haul_side_with_friction():
    inference = carrying(e=0.8)
    found = strands(inference.hauling([("load", 900.0)]), inference.rig_model)
    assert found["T2>team"] == pytest.approx(900 / inference.rig_model.model_ma)
    assert found["T2>team"] > 100 and found["load>G1"] == pytest.approx(900)


def test_held_the_capture_carries_what_the_load_last_needed_and_the_rope_behind_nothing():
    inference = carrying()
    found = inference.needed(2700.0, "held", None)
    got = strands(found, inference.rig_model)
    # one strand to the load and one capture in it: all of it, without friction, by hand
    assert got["load>G1"] == pytest.approx(2700) and got["T2>team"] == pytest.approx(0, abs=1e-6)
    assert next(u for u in found.uses if u.name == "C1").share == pytest.approx(2700 / 6000)


@pytest.mark.parametrize("code", ["hold", "ease", "lower", "nodata", "loose", "rest"])
def test_eased_or_silent_nothing_falls_below_what_the_load_last_needed(code):
    inference = carrying()
    for haul in (None, 5.0, 290.0, 400.0):
        found = strands(inference.needed(2700.0, code, haul), inference.rig_model)
        assert found["load>G1"] >= 2700 - 1e-6
        assert found["T2>team"] >= max(300.0, haul or 0.0) - 1e-6


def test_while_lowering_the_real_tensions_never_pass_what_is_shown():
    """Friction turned round: the haul reads little while the load still pulls in full."""
    inference = carrying(e=0.7)
    known = inference.rig_model
    back = tensions(known.system, np.array([1 / 0.7 if known.rig.stations[s].kind == "pulley" else 1.0
                                            for s in known.rig.turns]))  # fmt: skip
    load = 2700.0
    haul = load / float(back @ _load_row(known))
    assert haul < 300.0
    found = inference.needed(load, "lower", haul)
    assert np.all(found.strand_N >= back * haul - 1e-6)


def _load_row(rig_model):
    from analysis.mechanics.tension import load_row

    return load_row(rig_model.rig, rig_model.system.toward)


def test_the_page_shares_a_load_among_the_parts_as_the_table_of_conditions_does():
    inference = carrying(e=0.8)
    table = {
        c.name: np.array([abs(row.of_load) for row in c.rows])
        for c in conditions(inference.rig_model)
    }
    assert inference.bounds.held[0] == pytest.approx(table["held on C1"], abs=1e-12)
    assert inference.bounds.back == pytest.approx(table["running back"], abs=1e-12)
    assert inference.bounds.model / inference.rig_model.model_ma == pytest.approx(
        table["raising"], abs=1e-12
    )


def test_nothing_known_is_nothing_told():
    inference = carrying()
    assert inference.hauling([]) is None and inference.hauling([("haul", -3.0)]) is None
    assert inference.needed(None, "held", None) is None
    assert inference.needed(None, "tension", 100.0).strand_N[0] == pytest.approx(900)


def test_an_anchor_is_judged_by_the_whole_force_on_it():
    # the haul leaves off the anchor's pulley at a right angle: the anchor carries both strands' vector sum
    found = RigLoadInference(
        model(rig("tie:load pulley:A1@anchor haul:90", extra="[anchor]\nwll_kN = 5\n"))
    )
    use = next(u for u in found.hauling([("haul", 1000.0)]).uses if u.name == "anchor")
    assert use.force_N == pytest.approx(1000 * np.sqrt(2), rel=1e-6)


def measured(own, inference):
    """Indices of parts by name -> N."""
    return {k: own[p.name] for k, p in enumerate(inference.pieces) if p.name in own}


def test_hauling_a_part_with_its_own_cell_carries_what_the_cell_reads():
    inference = carrying(e=0.8)
    cells = [("haul", 1000.0), ("load", 7130.0)]
    found = inference.hauling(cells, measured({"load": 7130.0, "load>G1": 7130.0}, inference))
    got = strands(found, inference.rig_model)
    assert got["load>G1"] == pytest.approx(7130) and got["G1>C1"] == pytest.approx(3000)
    uses = {u.name: u for u in found.uses}
    assert uses["load"].share == pytest.approx(0.713) and uses["load"].by == "cell"
    assert uses["G2"].by == "most" and uses["C1"].by == ""  # friction alone loads the capture
    assert found.how.text().startswith(
        "load>G1, load measured by their own cell; others: at most this"
    )


@pytest.mark.parametrize("code", ["hold", "ease", "lower", "held", "nodata", "rest"])
def test_eased_or_held_a_part_with_its_own_cell_carries_what_the_cell_reads(code):
    inference = carrying()
    found = inference.needed(2700.0, code, 290.0, measured({"load>G1": 1234.0}, inference))
    assert strands(found, inference.rig_model)["load>G1"] == pytest.approx(1234)
    assert "the force that the load last needed" in found.how.text()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.4, 1.0), min_size=5, max_size=5), st.floats(10, 3000))
def test_hauling_at_most_is_never_below_the_true_force_whatever_the_friction(e, haul):
    inference = carrying(e=0.9)
    true = tensions(inference.rig_model.system, np.array(e)) * haul
    load = float(_load_row(inference.rig_model) @ true)
    found = inference.hauling(
        [("haul", haul), ("load", load)], measured({"load": load, "load>G1": load}, inference)
    )
    assert np.all(found.strand_N >= true - 1e-6)
    assert found.strand_N[0] == pytest.approx(load)
    for piece in inference.pieces:
        use = next((u for u in found.uses if u.name == piece.name), None)
        if use is not None and use.by == "most":
            assert use.force_N >= abs(piece.force(true)) - 1e-6


def test_another_cell_alone_gives_no_upper_bound():
    found = carrying().hauling([("load", 900.0)])
    assert "at most" not in found.how.text() and not [u for u in found.uses if u.by == "most"]
