"""Forces in every condition, with uncertainties; what stretch takes; the job stroke by stroke."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from support.rigs import EIGHTEEN, HUNG, NINE, THREE, TWELVE, WEIGHT, rig, rigs

from analysis.mechanics.load_cases import conditions
from analysis.mechanics.model import model
from analysis.mechanics.tension import efficiencies, hold, load_row, tensions


def by_name(condition):
    return {row.name: row for row in condition.rows}


def model_and_conditions(path, extra=HUNG, **more):
    known = model(rig(path, extra=extra, **more))
    return known, {one.name: one for one in conditions(known)}


OWN_ANCHOR = NINE.replace("haul", "pulley:R@P1 haul:90")
P1 = HUNG + "[further_anchor.P1]\nat_m = -1.0\noffset_m = 20.0\n"


@pytest.mark.parametrize(("path", "extra"), [(NINE, HUNG), (OWN_ANCHOR, P1)], ids=["9:1", "P1"])
def test_raising_is_what_predict_says(path, extra):
    known, every = model_and_conditions(path, extra=extra)
    rows = by_name(every["raising"])
    assert every["raising"].haul_N == pytest.approx(known.haul_force_N)
    for part in known.parts:
        assert rows[part.name].force_N == pytest.approx(part.model * known.haul_force_N)


def test_worked_example_raising_and_running_back():
    """3:1, e 0.9, 1000 N (derived): haul 369.004 and 298.893 N; anchor 630.996 N and, let back, 1000 - 298.893 N."""
    _, every = model_and_conditions(THREE)
    up, back = every["raising"], every["running back"]
    assert up.haul_N == pytest.approx(369.004, abs=5e-4)
    assert back.haul_N == pytest.approx(298.893, abs=5e-4)
    assert by_name(up)["anchor"].force_N == pytest.approx(630.996, abs=5e-4)
    assert by_name(back)["anchor"].force_N == pytest.approx(WEIGHT - 298.893, abs=5e-4)


def test_held_alone_carries_the_whole_strand_and_covers_the_resets():
    """Hands off, no friction: the 12:1 holds on half of the load, two strands bear it (statics)."""
    _, every = model_and_conditions(TWELVE)
    held = every["held on C1"]
    assert {one.held_on for one in every.values()} == {None, "C1"} and held.held_on == "C1"
    rows = by_name(held)
    assert rows["C1"].force_N == pytest.approx(WEIGHT / 2)
    assert held.haul_N == 0.0 and held.covers == ("G2",)
    assert rows["anchor"].force_N == pytest.approx(WEIGHT)


@settings(max_examples=60, deadline=None)
@given(rigs())
def test_every_condition_balances_every_body_and_the_load(r):
    """Sum of strand pulls on each travelling body is nothing, on the load its own force (statics), to 1e-9."""
    from analysis.mechanics.kinematics import LOAD
    from analysis.mechanics.tension import pull_on

    known = model(r)
    row = load_row(r, known.system.toward)
    solved = {
        "raising": known.tension,
        "running back": tensions(known.system, efficiencies(r, False)),
    }
    for held in known.held:
        still = hold(r, known.motion, known.system.toward, held.station, 1.0)
        if still is not None:
            solved[f"held on {held.name}"] = still
    for one in conditions(known):
        if not one.rows:
            continue
        shares = np.array([part.of_load for part in one.rows[: len(r.strands)]])
        assert row @ shares == pytest.approx(1.0, abs=1e-9)
        for body in r.movers:
            if body != LOAD:
                pull = pull_on(r, known.system.toward, body)[:, 0]
                assert abs(pull @ shares) < 1e-9 * max(1.0, float(np.max(np.abs(shares))))
        if one.name in solved:
            tension = solved[one.name]
            assert np.allclose(shares, tension / (row @ tension), atol=1e-9)


@settings(max_examples=60, deadline=None)
@given(rigs())
def test_hauling_and_running_back_bracket_the_frictionless_force(r):
    known = model(r)
    every = {one.name: one for one in conditions(known)}
    up = every["raising"].rows[r.haul_strand].of_load
    back = every["running back"].rows[r.haul_strand].of_load
    ideal = 1.0 / known.ideal_ma
    assert up >= ideal * (1 - 1e-9)
    assert back <= ideal * (1 + 1e-9)


DEFAULTS = "[defaults]\npulley_efficiency = 0.9\npulley_efficiency_u = 0.02\n"
OWN = "[pulley.A1]\nefficiency = 0.85\nefficiency_u = 0.02\n[pulley.T2]\nefficiency = 0.93\nefficiency_u = 0.01\n"


@pytest.mark.parametrize("path", [NINE, EIGHTEEN], ids=["9:1", "18:1"])
def test_every_predicted_uncertainty_against_monte_carlo(path):
    """JCGM 101: 20,000 draws of load and efficiencies through the same equations; linear within 4 %."""
    slope = (
        '[load]\nkind = "slope"\nmass_kg = 900\nmass_kg_u = 20\nslope_deg = 12\n'
        "resistance_coefficient = 0.08\nresistance_coefficient_u = 0.01\nbreakaway = 1.4\nbreakaway_u = 0.1\n"
    )
    # a common u of 0.02: with 0.05 an 18:1 is no longer linear
    known, every = model_and_conditions(path, e=None, extra=DEFAULTS + slope + OWN)
    r = known.rig
    rng = np.random.default_rng(11)
    n = 20_000
    common = rng.normal(0, 0.02, n)
    e = np.empty((n, len(r.turns)))
    for k, s in enumerate(r.turns):
        st = r.stations[s]
        own = rng.normal(0, 1, n) * st.efficiency_u
        e[:, k] = st.efficiency + (common if st.shared else own)
    mass = 9.80665 * rng.normal(900, 20, n)
    c, b = rng.normal(0.08, 0.01, n), rng.normal(1.4, 0.1, n)
    sine, cosine = math.sin(math.radians(12)), math.cos(math.radians(12))
    row = load_row(r, known.system.toward)
    captures = np.array([r.stations[s].kind == "capture" for s in r.turns])
    for name, load, values in (
        ("raising", mass * (sine + c * cosine), e),
        ("breaking away", mass * (sine + b * c * cosine), e),
        ("running back", mass * (sine - c * cosine), np.where(captures, 1.0, 1 / e)),
    ):
        stacked = tensions(known.system, values)
        whole = stacked @ row
        rows = by_name(every[name])
        assert every[name].haul_u_N == pytest.approx(np.std(load / whole), rel=0.04)
        for piece in known.pieces:
            if piece.kind in ("strand", "pulley", "grab"):
                force = (
                    np.array([piece.force(t) for t in stacked[:2500]]) / whole[:2500] * load[:2500]
                )
                assert rows[piece.name].force_u_N == pytest.approx(np.std(force), rel=0.08), (
                    piece.name
                )
    assert known.efficiency_u == pytest.approx(
        np.std(tensions(known.system, e) @ row) / known.ideal_ma, rel=0.04
    )


def test_an_anchor_beside_the_axis_carries_its_whole_force():
    """A 90 degree redirect on an anchor beside the axis: 2 T cos 45 = 1.414 T (three industry tables)."""
    path = "tie:load pulley:A1@anchor pulley:S@P1 haul:0"
    extra = HUNG + "[further_anchor.P1]\nat_m = 0.0\noffset_m = 5.0\n"
    _, every = model_and_conditions(path, e=1.0, extra=extra)
    rows = by_name(every["raising"])
    assert rows["P1"].force_N == pytest.approx(1.4142 * WEIGHT, rel=1e-4)
    assert rows["S"].force_N == pytest.approx(1.4142 * WEIGHT, rel=1e-4)


def test_unknown_load_leaves_shares_and_no_newtons():
    _, every = model_and_conditions(NINE, extra="")
    for one in every.values():
        assert one.load_N is None and one.why_not
        assert all(row.force_N is None and row.use is None for row in one.rows)
    assert by_name(every["raising"])["C1"].of_load == 0.0
