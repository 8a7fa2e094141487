"""Tackles, purchases, posts and redirects against published tables and worked examples."""

import math

import numpy as np
import pytest
from support.rigs import (
    BURTON,
    BURTON_PLATE,
    EIGHTEEN,
    FIVE_COMPLEX,
    NINE,
    THREE,
    TWELVE,
    rig,
    simple,
)

from analysis.mechanics.model import common_efficiency, model
from analysis.prediction.predict import predict

# Load / single-line pull by parts of line, from a rigger's handbook reprint (wire-rope users' ratio
# table); printed to 0.01 up to 11 parts, to 0.1 above.
BUSHED = [.96, 1.87, 2.75, 3.59, 4.39, 5.16, 5.90, 6.60, 7.27, 7.91, 8.52, 9.11,
          9.68, 10.2, 10.7, 11.2, 11.7, 12.2, 12.6, 13.0, 13.4, 13.8, 14.2, 14.5]  # fmt: skip
ROLLER = [.98, 1.94, 2.88, 3.81, 4.71, 5.60, 6.47, 7.32, 8.16, 8.98, 9.79, 10.6,
          11.4, 12.1, 12.9, 13.6, 14.3, 15.0, 15.7, 16.4, 17.0, 17.7, 18.3, 18.9]  # fmt: skip


@pytest.mark.parametrize("parts", range(1, 25))
@pytest.mark.parametrize(("table", "k"), [(BUSHED, 1.045), (ROLLER, 1.02)])
def test_wire_rope_ratio_table(parts, table, k):
    """n parts and n sheaves, the lead off a fixed one: the handbook's 24 rows for both bearings.

    Can catch: a sheave too many or too few, a strand left out, losses that add instead of multiply.  Cannot catch:
    what a pulley really loses, as 1.045 and 1.02 are the table's own; rigs that are no simple tackle.
    """
    known = model(rig(simple(parts, last_on_anchor=True), e=1 / k))
    assert known.ideal_ma == pytest.approx(parts)
    tolerance = 0.01 if parts <= 11 else 0.055
    assert known.model_ma == pytest.approx(table[parts - 1], abs=tolerance)


# Wire Rope Technical Board, Wire Rope Users Manual, 4th ed., pp. 86-88: lead-line factor.
def test_lead_line_factor():
    """0.309 for four parts, 0.367 with two lead sheaves more.

    Can catch: lead sheaves that are not counted.  Cannot catch: an error below 0.2 % (three printed digits).
    """
    plain = model(rig(simple(4, last_on_anchor=True), e=1 / 1.09))
    assert 1 / plain.model_ma == pytest.approx(0.309, abs=0.0005)
    # two extra lead sheaves: 0.367, 6000 lb -> 2202 lb (unrounded factors: 2200.4)
    led = rig(
        "tie:anchor pulley:P3@load pulley:P2@anchor pulley:P1@load pulley:P0@anchor"
        " pulley:L1@S pulley:L2@anchor haul:180",
        e=1 / 1.09,
        extra="[further_anchor.S]\nat_m = -5.0\noffset_m = 3.0\n",
    )
    assert 1 / model(led).model_ma == pytest.approx(0.367, abs=0.0005)
    assert 6000 / model(led).model_ma == pytest.approx(2200.4, abs=0.5)


def test_pipeline_handbook_form():
    """Pipeline Rules of Thumb Handbook, p. 6: e 0.917 plain, 4 parts -> 3.25; 3250 lb -> 1000 lb.

    Can catch: a lead sheave that is not counted (3.54 without it).  Cannot catch: an error below 0.6 %.
    """
    known = model(rig(simple(4, last_on_anchor=True), e=0.917))
    assert known.model_ma == pytest.approx(3.25, abs=0.02)
    assert 3250 / known.model_ma == pytest.approx(1000, abs=5)


def test_observed_white_rope_tackle():
    """Workshop Receipts, 5th series: useful/theoretical 90, 81, 75, 68, 61.5, 59 % for 1 to 6 sheaves.

    The pulley efficiency common to all sheaves that explains each row (derived from the table).
    Can catch: a search that finds another root, or the wrong number of sheaves.  Cannot catch: a model that is
    wrong alike in both directions, as the six efficiencies are derived with the same closed form.
    """
    observed = [0.90, 0.81, 0.75, 0.68, 0.615, 0.59]
    implied = [0.900, 0.868, 0.863, 0.852, 0.842, 0.851]
    for n, (useful, e) in enumerate(zip(observed, implied, strict=True), start=1):
        found = common_efficiency(rig(simple(n, last_on_anchor=True)), useful * n)
        assert found == pytest.approx(e, abs=0.0006)


E_COLUMNS = [1.0, 0.95, 0.90, 0.85, 0.80, 0.70, 0.50]
# Closed forms of the tension method (undated teaching texts: 1 on the haul strand, times e at each
# sheave from the hand on, added where ropes join); figures computed by plain arithmetic from them.
CLOSED = [
    ("1:1 redirect", simple(1, last_on_anchor=True), "", [1, .95, .90, .85, .80, .70, .50]),
    ("2:1", simple(1, last_on_anchor=False), "", [2, 1.95, 1.90, 1.85, 1.80, 1.70, 1.50]),
    ("2:1 + redirect", simple(2, last_on_anchor=True), "", [2, 1.8525, 1.71, 1.5725, 1.44, 1.19, .75]),
    ("3:1 Z", THREE, "", [3, 2.8525, 2.71, 2.5725, 2.44, 2.19, 1.75]),
    ("3:1 + redirect", THREE.replace("haul", "pulley:R@anchor haul:180"), "",
     [3, 2.7099, 2.439, 2.1866, 1.952, 1.533, .875]),
    ("4:1 simple", simple(3, last_on_anchor=False), "", [4, 3.7099, 3.439, 3.1866, 2.952, 2.533, 1.875]),
    ("5:1 simple", simple(4, last_on_anchor=False), "", [5, 4.5244, 4.0951, 3.7086, 3.3616, 2.7731, 1.9375]),
    ("4:1 compound", "tie:anchor pulley:L@load tie:G | tie:anchor pulley:T@G haul", "[plate.G]\nat_m = 50\n",
     [4, 3.8025, 3.61, 3.4225, 3.24, 2.89, 2.25]),
    ("6:1 compound", "tie:anchor pulley:L@load grab:G1@50 pulley:A1@anchor pulley:T1@G1 haul", "",
     [6, 5.5624, 5.149, 4.7591, 4.392, 3.723, 2.625]),
    ("9:1 compound", NINE, "", [9, 8.1368, 7.3441, 6.6178, 5.9536, 4.7961, 3.0625]),
    ("12:1, 3 on 4", TWELVE, "", [12, 10.5824, 9.3197, 8.1976, 7.2029, 5.5473, 3.2812]),
    ("12:1, 2 on 2 on 3", "tie:load grab:G1@90 pulley:A1@anchor pulley:T1@G1 tie:Q | tie:anchor pulley:B@Q tie:S | tie:anchor pulley:D@S haul",
     "[plate.Q]\nat_m = 70\n[plate.S]\nat_m = 40\n", [12, 10.8466, 9.7831, 8.8044, 7.9056, 6.3291, 3.9375]),
    ("18:1", EIGHTEEN, "", [18, 15.8667, 13.9538, 12.2428, 10.7165, 8.1534, 4.5938]),
    ("27:1", "tie:load grab:G1@90 pulley:A1@anchor pulley:T1@G1 grab:G2@80 pulley:A2@anchor pulley:T2@G2"
     " grab:G3@70 pulley:A3@anchor pulley:T3@G3 haul", "",
     [27, 23.2101, 19.9025, 17.0242, 14.5268, 10.5035, 5.3594]),
    ("3:1 complex", BURTON, BURTON_PLATE, [3, 2.8025, 2.61, 2.4225, 2.24, 1.89, 1.25]),
    ("5:1 complex", FIVE_COMPLEX, BURTON_PLATE, [5, 4.705, 4.42, 4.145, 3.88, 3.38, 2.50]),
]  # fmt: skip


@pytest.mark.parametrize(("name", "path", "extra", "row"), CLOSED, ids=[c[0] for c in CLOSED])
def test_tension_method_closed_forms(name, path, extra, row):
    """Can catch: any error in how strands, grabs and ropes join.  Cannot catch: losses that grow otherwise than
    by e a turn, since the closed forms assume it.
    """
    for e, expected in zip(E_COLUMNS, row, strict=True):
        assert model(rig(path, e=e, extra=extra)).model_ma == pytest.approx(expected, abs=6e-5), e


@pytest.mark.parametrize(
    ("turns", "mu", "ratio"),
    [
        # teaching page on the capstan: 6.6 for one turn and 43 for two at mu 0.3; exact exp(mu phi)
        (1, 0.3, 6.586), (2, 0.3, 43.376),
        # R. Delaney, Physics for Roping Technicians, 2022, p. 88: mu 0.175, polyester on a tube
        (0.25, 0.175, 1.32), (0.5, 0.175, 1.73), (1, 0.175, 3.00), (2, 0.175, 9.02), (4, 0.175, 81.31),
    ],
)  # fmt: skip
def test_capstan(turns, mu, ratio):
    """Raising over a post costs exp(mu phi); letting back it holds by the same factor.

    Can catch: turns in degrees for radians, friction that helps the wrong way.  Cannot catch: real rope, which
    does not lose alike both ways (`test_load_from_lowering`).
    """
    text = f"tie:load post:E@anchor,{360 * turns},{mu} haul:180"
    load = '[load]\nkind = "hanging"\nmass_kg = 100\n'
    known = model(rig(text, extra=load))
    assert 1 / known.model_ma == pytest.approx(ratio, rel=3e-3)
    # Delaney's holding force for 100 kg: 100 / ratio
    assert known.lower_force_N / 9.80665 == pytest.approx(100 / ratio, rel=3e-3)


@pytest.mark.parametrize(
    ("between", "factor"),
    [(0, 2.0), (10, 1.9924), (20, 1.9696), (30, 1.9319), (40, 1.8794), (45, 1.8478), (50, 1.8126),
     (60, 1.7321), (70, 1.6383), (80, 1.5321), (90, 1.4142), (100, 1.2856), (120, 1.0),
     (135, 0.7654), (150, 0.5176), (170, 0.1743), (180, 0.0)],
)  # fmt: skip
def test_redirect_vector_sum(between, factor):
    """Load on a redirect = 2 T cos(theta/2); three industry tables, the exact row.

    Can catch: an angle taken as its supplement, a half angle left out, strands of unlike tension added as alike.
    Cannot catch: the tables' rounding (two digits), as the exact row stands for them.
    """
    known = predict(rig(f"tie:load pulley:A@anchor haul:{180 - between}"))
    # with unequal strands: sqrt(T1^2 + T2^2 + 2 T1 T2 cos theta) (textbook)
    t1, t2, c = 0.9, 1.0, math.cos(math.radians(between))
    unequal = math.sqrt(t1 * t1 + t2 * t2 + 2 * t1 * t2 * c)
    for name in ("A", "anchor"):  # the anchor carries what its one pulley puts on it
        (row,) = (row for row in known["elements"] if row["name"] == name)
        assert row["ideal"] == pytest.approx(factor, abs=6e-5)
        assert row["model"] == pytest.approx(unequal, abs=1e-9)


def test_worked_example_three_to_one():
    """3:1, e 0.9, 1000 N: haul 369.004 N, anchor 630.996 N; let back 1000 / 3.34568 = 298.893 N (derived).

    Can catch: friction that is not turned round for letting back.  Cannot catch: an error common to the model and
    the closed form, from which the figures are.
    """
    mass = 1000 / 9.80665
    known = predict(rig(THREE, extra=f'[load]\nkind = "hanging"\nmass_kg = {mass!r}\n'))
    assert known["haul_force_N"] == pytest.approx(369.004, abs=5e-4)
    assert known["lower_force_N"] == pytest.approx(298.893, abs=5e-4)
    (anchor,) = (row for row in known["elements"] if row["name"] == "anchor")
    assert anchor["force_N"] == pytest.approx(630.996, abs=5e-4)


def test_grade_resistance():
    """1000 kg, 10 degrees, rolling coefficient 0.08 (Carvill, Mechanical Engineer's Data Handbook): 2475.5 N.

    Can catch: a coefficient applied to the weight instead of the normal force (0.5 %), degrees for radians.
    Cannot catch: whether 0.08 is right for any ground.
    """
    load = (
        '[load]\nkind = "rolling"\nmass_kg = 1000\nslope_deg = 10\nresistance_coefficient = 0.08\n'
    )
    assert predict(rig(THREE, extra=load))["load_force_N"] == pytest.approx(2475.5, abs=0.05)


def test_observed_three_to_one_on_carabiners():
    """M. Strong, University of Oregon course note: a 3:1 on carabiners works out near 2:1; R. Delaney, Physics
    for Roping Technicians, p. 90 (as quoted elsewhere): 0.592 over one carabiner.

    Two observations that know nothing of each other: 1 + e + e^2 at the one gives 1.94, within 0.1 of the other.
    Can catch: an efficiency below 0.576 or above 0.659, a rule other than e a turn (adding losses, 1 - 2 (1 - e),
    gives 1.78).  Cannot catch: a few percent, since "near" is a word; G. Prattley's 0.53 gives 1.81, which is
    outside.
    """
    assert model(rig(THREE, e=0.592)).model_ma == pytest.approx(2.0, abs=0.1)
    # what would be near 2:1 exactly: e + e^2 = 1, the golden ratio
    assert common_efficiency(rig(THREE), 2.0) == pytest.approx((math.sqrt(5) - 1) / 2, abs=1e-6)


class TestCommonPractice:
    """Facts of the trade: common practice, no source."""

    def test_three_on_four_is_twelve(self):
        assert model(rig(TWELVE)).ideal_ma == pytest.approx(12)

    def test_one_pulley_moved_onto_one_more_grab_gives_eighteen(self):
        moved = TWELVE.replace("pulley:L2@load", "pulley:L2@G1").replace(
            "capture:C1", "grab:G1@90 capture:C1"
        )
        assert moved == EIGHTEEN
        assert model(rig(moved)).ideal_ma == pytest.approx(18)

    def test_eighteen_units_of_rope_for_one_of_load(self):
        first = predict(rig(EIGHTEEN))["stroke"]
        assert first["haul_travel_m"] / first["load_travel_m"] == pytest.approx(18)

    @pytest.mark.parametrize("sheaves", range(1, 9))
    def test_even_ends_at_the_anchor_odd_at_the_load(self, sheaves):
        path = simple(sheaves, last_on_anchor=False)
        even = round(model(rig(path)).ideal_ma) % 2 == 0
        assert path.startswith("tie:anchor" if even else "tie:load")

    def test_two_singles_side_by_side_act_as_one_double(self):
        five = simple(4, last_on_anchor=False)
        gear = '[gear.D]\ncarries = ["P0", "P2"]\nkind = "double pulley"\n'
        known = predict(rig(five, extra=gear))
        by_name = {row["name"]: row for row in known["elements"]}
        assert by_name["D"]["ideal"] == pytest.approx(4)
        assert by_name["D"]["model"] == pytest.approx(
            by_name["P0"]["model"] + by_name["P2"]["model"]
        )
        assert known["model_ma"] == pytest.approx(4.0951, abs=6e-5)

    @pytest.mark.parametrize("path", [NINE, TWELVE, EIGHTEEN])
    def test_the_stage_nearest_the_team_is_two_blocked_first(self, path):
        known = predict(rig(path, extra="[load]\npull_distance_m = 60\n"))
        assert known["stroke"]["stopped_by"] == ["G2", "anchor"]
        resets = known["job"]["each"]["resets"]
        assert resets["G2"] > resets.get("G1", 0)

    @pytest.mark.parametrize("path", [TWELVE, EIGHTEEN])
    def test_the_capture_sits_on_the_strand_that_wants_to_run_out_at_the_same_place(self, path):
        known = predict(rig(path))
        (row,) = known["hold"]
        assert row["ideal"] == pytest.approx(known["ideal_ma"] / 2)
        assert row["covers_resets"] == [g for g in ("G1", "G2") if f"grab:{g}" in path]


def test_equilibrium_needs_no_efficiency():
    """Sum of anchors + haul = load when pulled toward the anchor; sum of anchors = load + haul pulled back.

    Statics, no book.  Can catch: a strand that is counted at one body alone.  Cannot catch: a wrong loss, as it holds for each.
    """
    for _, path, extra, _ in CLOSED:
        for e in (1.0, 0.9, 0.5):
            known = predict(rig(path, e=e, extra=extra))
            anchors = sum(r["model"] for r in known["elements"] if r["kind"] == "anchor")
            haul = -1.0 if "haul:180" in path else 1.0
            assert anchors + haul == pytest.approx(known["model_ma"], rel=1e-12)


def test_uncertainty_against_monte_carlo():
    """JCGM 101: linear propagation of the pulleys' efficiencies against 20,000 draws, within 3 %.

    Can catch: a common uncertainty taken as independent, or the reverse.  Cannot catch: less than 3 %.
    """
    from analysis.mechanics.kinematics import solve_motion
    from analysis.mechanics.tension import load_row, system, tensions

    own = "[pulley.A1]\nefficiency = 0.85\nefficiency_u = 0.02\n"
    r = rig(NINE, e=0.9, extra=own)
    known = model(r)
    sys = system(r, solve_motion(r))
    rng = np.random.default_rng(5)
    common = rng.normal(0, 0.05, 20_000)
    draws = np.empty((20_000, len(r.turns)))
    for k, s in enumerate(r.turns):
        station = r.stations[s]
        draws[:, k] = station.efficiency + (
            common if station.shared else rng.normal(0, 1, 20_000) * station.efficiency_u
        )
    spread = np.std(tensions(sys, draws) @ load_row(r, sys.toward))
    assert known.model_ma_u == pytest.approx(spread, rel=0.03)
