"""Forces in every condition, with uncertainties; what stretch takes; the job stroke by stroke."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from support.rigs import EIGHTEEN, NINE, THREE, TWELVE, rig, rigs

from analysis.mechanics.load_cases import conditions
from analysis.mechanics.model import model
from analysis.mechanics.rope_stretch import elongation_m, take_up
from analysis.mechanics.tension import efficiencies, hold, load_row, tensions
from analysis.prediction.job_table import job_table
from analysis.prediction.predict import predict

WEIGHT = 1000.0
HUNG = f'[load]\nkind = "hanging"\nmass_kg = {WEIGHT / 9.80665!r}\nmass_kg_u = 2.0\n'


def by_name(condition):
    return {row.name: row for row in condition.rows}


def of(path, extra=HUNG, **more):
    known = model(rig(path, extra=extra, **more))
    return known, {one.name: one for one in conditions(known)}


OWN_ANCHOR = NINE.replace("haul", "pulley:R@P1 haul:90")
P1 = HUNG + "[further_anchor.P1]\nat_m = -1.0\noffset_m = 20.0\n"


@pytest.mark.parametrize(("path", "extra"), [(NINE, HUNG), (OWN_ANCHOR, P1)], ids=["9:1", "P1"])
def test_raising_is_what_predict_says(path, extra):
    known, every = of(path, extra=extra)
    rows = by_name(every["raising"])
    assert every["raising"].haul_N == pytest.approx(known.haul_force_N)
    for part in known.parts:
        assert rows[part.name].force_N == pytest.approx(part.model * known.haul_force_N)


def test_worked_example_raising_and_running_back():
    """3:1, e 0.9, 1000 N (derived): haul 369.004 and 298.893 N; anchor 630.996 N and, let back, 1000 - 298.893 N."""
    _, every = of(THREE)
    up, back = every["raising"], every["running back"]
    assert up.haul_N == pytest.approx(369.004, abs=5e-4)
    assert back.haul_N == pytest.approx(298.893, abs=5e-4)
    assert by_name(up)["anchor"].force_N == pytest.approx(630.996, abs=5e-4)
    assert by_name(back)["anchor"].force_N == pytest.approx(WEIGHT - 298.893, abs=5e-4)


def test_held_alone_carries_the_whole_strand_and_covers_the_resets():
    """Hands off, no friction: the 12:1 holds on half of the load, two strands bear it (statics)."""
    _, every = of(TWELVE)
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
    known, every = of(path, e=None, extra=DEFAULTS + slope + OWN)
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
    _, every = of(path, e=1.0, extra=extra)
    rows = by_name(every["raising"])
    assert rows["P1"].force_N == pytest.approx(1.4142 * WEIGHT, rel=1e-4)
    assert rows["S"].force_N == pytest.approx(1.4142 * WEIGHT, rel=1e-4)


def test_unknown_load_leaves_shares_and_no_newtons():
    _, every = of(NINE, extra="")
    for one in every.values():
        assert one.load_N is None and one.why_not
        assert all(row.force_N is None and row.use is None for row in one.rows)
    assert by_name(every["raising"])["C1"].of_load == 0.0


def test_stretch_at_the_limit_of_the_standard():
    """EN 1891: at most 5 % from 50 to 150 kg, so EA >= 19.6 kN; 30 m at 2 kN stretches up to 3.06 m (derived)."""
    assert elongation_m(30.0, 2000.0, 0.05, 980.665) == pytest.approx(3.06, abs=0.005)


def test_take_up_of_a_straight_tow_is_the_ropes_own_stretch():
    """One rope over one anchor pulley, 20 m in all, 5 % at 980.665 N, both strands at about 2 kN."""
    text = "[load]\nresistance_N = 2000\n[team]\nstand_m = 10.0\n"
    known = model(rig("tie:load pulley:A@anchor haul:180", e=1.0, length=10.0, extra=text))
    stretched = _stretching(known.rig, 0.05, 980.665)
    found = take_up(model(stretched))
    assert found.first_m == pytest.approx(elongation_m(20.0, 2000.0, 0.05, 980.665))


def test_take_up_in_a_tackle_counts_each_strand_by_its_ideal_tension():
    """Virtual work: sum k_i dL_i; a frictionless 3:1 of 100 m with the grab at 50 m."""
    r = _stretching(rig(THREE, e=1.0, extra=HUNG), 0.03, 1500.0)
    known = model(r)
    t = WEIGHT / 3
    lengths = [50.0, 50.0, 50.0, 50.0]  # load>G1, G1>A1, A1>T1, T1>team (at the anchor)
    forces = [WEIGHT, t, t, t]
    kinematic = [3.0, 1.0, 1.0, 1.0]
    expected = sum(
        k * 0.03 * f * x / 1500.0 for k, f, x in zip(kinematic, forces, lengths, strict=True)
    )
    assert take_up(known).first_m == pytest.approx(expected)


def test_take_up_is_not_known_without_the_ropes_figures():
    found = take_up(model(rig(NINE, extra=HUNG)))
    assert found.first_m is None and "stretch_percent" in found.why.text()


def _stretching(r, stretch, at_N):
    from dataclasses import replace

    return replace(r, ropes=tuple(replace(x, stretch=stretch, stretch_at_N=at_N) for x in r.ropes))


def test_job_table_tells_what_is_two_blocked_and_reset():
    known = model(rig(NINE, extra=HUNG + "pull_distance_m = 60\n"))
    rows, done = job_table(known, "each")
    assert len(rows) == done.strokes
    assert rows[0].two_blocked == ("G2", "anchor") and rows[0].reset == ("G2",)
    assert rows[-1].load_m == pytest.approx(60.0) and rows[-1].two_blocked == ()
    assert rows[-1].haul_m == pytest.approx(done.haul_m)
    assert [row.number for row in rows] == list(range(1, len(rows) + 1))


def test_haul_force_grows_as_angles_grow():
    """A 3:1 whose haul strand leads off to an anchor 4 m beside the axis: W = T (2 + cos a) (statics)."""
    extra = HUNG + "pull_distance_m = 15\n[further_anchor.P1]\nat_m = 0.0\noffset_m = 4.0\n"
    path = "tie:load grab:G1@18 pulley:A1@anchor pulley:T1@G1 pulley:R@P1 haul:90"
    known = model(rig(path, length=20.0, e=1.0, extra=extra))
    rows, done = job_table(known, "each")
    start = WEIGHT / (2 + math.cos(math.atan2(4, 18)))
    assert known.haul_force_N == pytest.approx(start)
    # 15 m on, the grab is 3 m from the anchor
    assert rows[-1].steepest_deg == pytest.approx(math.degrees(math.atan2(4, 3)))
    assert rows[-1].haul_N == pytest.approx(WEIGHT / (2 + 0.6)) and rows[-1].haul_N > start
    # rope out: two strands shorter by 15 m each, the slanting one from sqrt(18^2 + 4^2) to 5 m
    assert done.haul_m == pytest.approx(30 + math.hypot(18, 4) - 5, abs=1e-6)


def test_what_grows_on_the_way_is_warned_of():
    """As above: 1000 / (2 + cos a) from 338 N at the start to 385 N; a rope limit between is named."""
    extra = (
        HUNG
        + "pull_distance_m = 15\n[further_anchor.P1]\nat_m = 0.0\noffset_m = 4.0\nwll_kN = 0.2\n"
    )
    path = "tie:load grab:G1@18 pulley:A1@anchor pulley:T1@G1 pulley:R@P1 haul:90"
    known = predict(rig(path, length=20.0, e=1.0, extra=extra))
    assert any("grows to 385 N during the job" in text for text in known["warnings"])
    plain = predict(rig(THREE, e=1.0, extra=HUNG))
    assert not any("grows to" in text or "later in the job" in text for text in plain["warnings"])
