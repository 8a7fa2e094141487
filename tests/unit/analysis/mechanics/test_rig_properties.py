"""What holds for every rig: virtual work, friction only costs, balance, names that mean nothing."""

import math
import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.rigs import EIGHTEEN, NINE, rig, rigs

from analysis.mechanics.kinematics import LOAD, solve_motion
from analysis.mechanics.model import force_gain, load_from_cell, model, travel_gain
from analysis.mechanics.tension import efficiencies, load_row, pull_on, system, tensions
from analysis.prediction.predict import predict
from analysis.rig_file.load import parse_rig

several = settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@several
@given(rigs())
def test_ideal_advantage_is_the_travel_ratio(r):
    """Principle of virtual work, for any rig: force and travel are solved apart and must agree."""
    known = model(r)
    assert known.ideal_ma == pytest.approx(known.travel_ratio, rel=1e-9)


@several
@given(rigs())
def test_friction_only_costs(r):
    """Model MA is at most the ideal, strictly less where rope runs over a turn that takes something."""
    known = model(r)
    takes = any(
        r.stations[s].efficiency < 1 - 1e-6 and abs(known.motion.flow[s]) > 1e-6 for s in r.turns
    )
    assert (
        known.model_ma < known.ideal_ma
        if takes
        else known.model_ma == pytest.approx(known.ideal_ma)
    )


@several
@given(rigs())
def test_hauling_and_running_back_bracket_the_frictionless_force(r):
    sys = system(r, solve_motion(r))
    row = load_row(r, sys.toward)
    up = row @ tensions(sys, efficiencies(r))
    back = row @ tensions(sys, efficiencies(r, hauling=False))
    ideal = row @ tensions(sys, np.ones(len(r.turns)))
    assert up <= ideal * (1 + 1e-12) and back >= ideal * (1 - 1e-12)


@several
@given(rigs(), st.data())
def test_never_rises_as_an_efficiency_falls(r, data):
    sys = system(r, solve_motion(r))
    row, e = load_row(r, sys.toward), efficiencies(r)
    k = data.draw(st.integers(0, len(e) - 1))
    worse = e.copy()
    worse[k] *= data.draw(st.floats(0.2, 1.0))
    assert row @ tensions(sys, worse) <= row @ tensions(sys, e) * (1 + 1e-12)


@several
@given(rigs())
def test_every_body_is_in_balance(r):
    """All forces on each travelling body close to 1e-9, and so do all forces on the rig as a whole."""
    known = model(r)
    toward = known.system.toward
    for body in r.movers:
        if body != LOAD:
            assert (
                abs(float(pull_on(r, toward, body)[:, 0] @ known.tension)) < 1e-9 * known.ideal_ma
            )
    fixed = sum(
        float(pull_on(r, toward, k)[:, 0] @ known.tension)
        for k, b in enumerate(r.bodies)
        if not b.moves
    )
    haul = r.stations[r.haul]
    own = 0.0 if haul.body is not None else math.cos(math.radians(haul.toward_deg))
    assert fixed + own == pytest.approx(known.model_ma, abs=1e-9 * known.ideal_ma)


@several
@given(rigs())
def test_linear_sensitivities_equal_differences(r):
    """The uncertainty of the MA against central differences of the solved model (general numerics)."""
    known = model(r)
    sys, row, e = known.system, load_row(r, known.system.toward), efficiencies(r)
    common = square = 0.0
    for k, s in enumerate(r.turns):
        step = np.zeros_like(e)
        step[k] = 1e-6
        slope = float(row @ (tensions(sys, e + step) - tensions(sys, e - step))) / 2e-6
        if r.stations[s].shared:
            common += slope
        else:
            square += (slope * r.stations[s].efficiency_u) ** 2
    expected = math.sqrt((common * r.default_u) ** 2 + square)
    assert known.model_ma_u == pytest.approx(expected, rel=1e-4, abs=1e-9)


def test_renaming_changes_nothing():
    text = """anchor_to_load_m = 12.0
[[rope]]
name = "main"
path = [ { tie = "load" }, { grab = "G1", at_m = 9 }, { capture = "C1", on = "anchor" },
  { pulley = "A1", on = "anchor" }, { pulley = "T1", on = "G1" }, { haul = "team" } ]
"""
    renamed = re.sub(r'"(G1|C1|A1|T1|team|main)"', lambda m: f'"new {m[1]} name"', text)
    a, b = predict(parse_rig(text, "a")), predict(parse_rig(renamed, "b"))
    numbers = [re.sub(r"'[^']*'", "", str(x)) for x in (a, b)]
    assert numbers[0] == numbers[1]


def test_reading_a_rope_from_its_other_end_changes_nothing():
    forward = predict(rig("tie:load grab:G1@50 pulley:A1@anchor pulley:T1@G1 haul"))
    backward = predict(rig("haul pulley:T1@G1 pulley:A1@anchor grab:G1@50 tie:load"))
    for key in ("ideal_ma", "model_ma", "model_ma_u", "travel_ratio"):
        assert forward[key] == pytest.approx(backward[key])
    assert forward["stroke"].pop("stopped_by") == backward["stroke"].pop("stopped_by")
    assert forward["stroke"] == pytest.approx(backward["stroke"])
    assert [s["model"] for s in backward["strands"]] == pytest.approx(
        [s["model"] for s in forward["strands"]][::-1]
    )


def test_a_pulley_that_the_rope_does_not_run_over_loses_nothing():
    """An equalised tie: a rope from load to load over a pulley on the grabbed plate only stands still."""
    known = rig(
        "tie:load pulley:B@P tie:load | tie:P grab:G@50 pulley:A@anchor pulley:T@G haul",
        e=0.9,
        extra="[plate.P]\nat_m = 70\n",
    )
    assert model(known).model_ma == pytest.approx(2.71)
    assert solve_motion(known).flow[1] == 0.0


def test_travel_gain_at_a_fixed_pulley_counts_its_own_rope():
    r = rig(NINE)
    assert travel_gain(r, "A1") == pytest.approx(1.0)
    assert travel_gain(r, "A2") == pytest.approx(3.0)
    assert travel_gain(r, "haul") == pytest.approx(9.0)


def test_load_from_cell_is_exact_where_equilibrium_makes_it_so():
    r = rig(NINE)
    assert load_from_cell(r, "load") == (1.0, 0.0)
    assert load_from_cell(r, "load>G1") == pytest.approx((1.0, 0.0))
    assert load_from_cell(r, "anchor") == pytest.approx((1.0, 1.0))
    assert load_from_cell(r, "A1>T1") is None
    assert load_from_cell(r, "T2>team") is None
    assert load_from_cell(r, "C1") is None


@several
@given(rigs(), st.floats(0.3, 1.0))
def test_load_from_cell_holds_for_other_efficiencies(r, e):
    pair = load_from_cell(r, "anchor")
    if pair is None:
        return
    sys = system(r, solve_motion(r))
    t = tensions(sys, np.full(len(r.turns), e))
    cell = float(pull_on(r, sys.toward, 0)[:, 0] @ t)
    assert pair[0] * cell + pair[1] == pytest.approx(float(load_row(r, sys.toward) @ t), rel=1e-7)


def test_force_gain_names_places():
    r = rig(NINE)
    assert force_gain(r, "haul") == (1.0, 1.0)
    assert force_gain(r, "load")[0] == pytest.approx(9.0)
    assert force_gain(r, "A1>T1")[1] == pytest.approx(2.439)
    assert force_gain(r, "T1")[0] == pytest.approx(6.0)


BESIDE = "[further_anchor.P1]\nat_m = -1.0\noffset_m = 10.0\n"


def test_a_cell_at_an_anchor_beside_the_axis_reads_the_force_along_the_axis():
    """Load at (100, 0), P1 at (-1, 10): T x 101 / hypot(101, 10) along the axis, the haul at a right
    angle adds nothing to it; the load is pulled with the same, whatever the pulley loses (statics)."""
    r = rig("tie:load pulley:S@P1 haul:90", extra=BESIDE)
    cosine = 101 / math.hypot(101, 10)
    assert force_gain(r, "P1") == pytest.approx((cosine, 0.9 * cosine))
    assert load_from_cell(r, "P1") == pytest.approx((1.0, 0.0))
    (part,) = (p for p in model(r).parts if p.name == "P1")
    assert part.ideal > 1.3 > force_gain(r, "P1")[0]


def test_the_haul_off_an_anchor_counts_in_its_cell_with_its_share_along_the_axis():
    r = rig("tie:load pulley:S@P1 haul:60", extra=BESIDE)
    cosine = 101 / math.hypot(101, 10)
    assert force_gain(r, "P1") == pytest.approx((cosine - 0.5, 0.9 * cosine - 0.5))


def test_eighteen_held_by_its_capture_frees_both_grabs():
    (row,) = predict(rig(EIGHTEEN))["hold"]
    assert row["covers_resets"] == ["G1", "G2"]
