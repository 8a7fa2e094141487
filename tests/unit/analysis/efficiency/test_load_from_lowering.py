"""The load force from hauling and lowering, against published measurements on rope over edges."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from support.readings import analyse, block, review, sensors
from support.rigs import rig

from analysis.efficiency import load_from_lowering
from analysis.efficiency.estimate import estimate
from analysis.mechanics.load_resistance import G
from analysis.mechanics.model import model, model_ma_with
from analysis.mechanics.tension import load_row, tensions

# wrap in degrees, T_raise, T_lower in kg for a load of 75 kg: R. Delaney, Physics for Roping
# Technicians, 2022, p. 88 (as read)
DELANEY = [
    (90, 98, 50), (180, 88, 35), (90, 92, 53), (180, 87, 36), (90, 103, 47), (180, 125, 37),
    (180, 127, 29), (180, 140, 31), (180, 179, 17), (180, 140, 15), (90, 135, 34),
]  # fmt: skip
HANGING = '[load]\nkind = "hanging"\n'


def _both(up: float, down: float):
    """Three times 4 m of rope up and down again under tension, with jitter too small to matter."""
    hz, t0, parts = 40, 2.0, []
    for k in range(3):
        for force, way in ((up, 4.0), (down, -4.0)):
            t = t0 + np.arange(0, 8.0, 1 / hz)
            start = 0.0 if way > 0 else 4.0
            parts.append((t, start + way * (t - t0) / 8.0, force * (1 + 0.001 * (k - 1) + 0 * t)))
            t0 += 8.0
    t = np.concatenate(
        [np.arange(0, 2.0, 1 / hz), *(p[0] for p in parts), t0 + np.arange(0, 2, 1 / hz)]
    )
    pad = np.zeros(2 * hz)
    return {
        "haul": (t, np.concatenate([pad, *(p[2] for p in parts), pad])),
        "rope": (t, np.concatenate([pad, *(p[1] for p in parts), pad])),
    }  # fmt: skip


def _edge(wrap: float):
    return rig(f"tie:load edge:E1@1,{wrap},0.2 haul", extra=HANGING)


def test_capstan_of_the_first_row():
    """T_raise 98, T_lower 50: W = sqrt(98 * 50) = 70.0, e = sqrt(50 / 98) = 0.714, by hand from the first row."""
    found = review(_edge(90), sensors("haul", "rope"), block(**_both(98 * G, 50 * G)))["measured"]
    assert found["load_force_method"] == "haul-and-lower"
    assert found["load_force_N"]["value"] / G == pytest.approx(70.0, abs=0.05)
    assert found["efficiency"]["value"] == pytest.approx(0.714, abs=0.001)


def _by_table(wrap: float, up: float, down: float):
    """The load force from a row of the table, in kg: the strokes of a session with its forces."""
    rig_ = _edge(wrap)
    made = analyse(rig_, sensors("haul", "rope"), block(**_both(98 * G, 50 * G)))
    strokes = tuple(
        _with_force(s, (up if s.direction == "haul" else down) * G) for s in made.strokes
    )
    found = estimate(rig_, model(rig_), replace(made, strokes=strokes))
    assert found.method == "haul-and-lower"
    return found.load_force.scaled(1 / G)


def _with_force(stroke, force_N):
    factor = force_N / stroke.steady.force_N[0]
    batches = stroke.steady.batches * [1.0, factor]
    return replace(stroke, steady=replace(stroke.steady, force_N=(force_N,), batches=batches))


def _asymmetry(rows):
    """Root mean square of a, by hand: the loss in log tension is (1 - a) m raising and (1 + a) m lowering."""
    losses = [(math.log(up / 75), math.log(75 / down)) for _, up, down in rows]
    return math.sqrt(sum(((d - u) / (d + u)) ** 2 for u, d in losses) / len(rows))


TUBES, BARS_AND_EDGES = DELANEY[:6], DELANEY[6:]


def _covered(monkeypatch, derived_on, tested_on) -> int:
    """How many rows' intervals hold the 75 kg with the asymmetry of others."""
    monkeypatch.setattr(load_from_lowering, "ASYMMETRY_U", _asymmetry(derived_on))
    monkeypatch.setattr(load_from_lowering, "ASYMMETRY_DEGREES", len(derived_on))
    loads = [_by_table(*row) for row in tested_on]
    return sum(abs(load.value - 75) <= load.U95 for load in loads)


def test_an_asymmetry_derived_on_ten_rows_covers_the_eleventh(monkeypatch):
    """Nine of eleven are covered; at 95 % nine or fewer come in 10 % of all cases, eight or fewer in 1.5 %.  The two
    are the 50 and 60 mm tubes at 180 degrees (a = 0.65 and 0.66, where the others' root mean square is 0.31).

    Can catch: an uncertainty that rows without a say in it do not bear, a term left out of the budget, too many
    degrees of freedom.  Cannot catch: an interval that is too wide; pulleys, since the table is of tubes, bars and
    edges; an error of the table itself, whose 75 kg no row's own geometric mean reaches.
    """
    covered = 0
    for k, row in enumerate(DELANEY):
        covered += _covered(monkeypatch, DELANEY[:k] + DELANEY[k + 1 :], [row])
    assert covered >= 9


@pytest.mark.parametrize(
    ("derived_on", "tested_on", "least"),
    [(TUBES, BARS_AND_EDGES, 5), (BARS_AND_EDGES, TUBES, 4)],
    ids=["from tubes to bars and edges", "from bars and edges to tubes"],
)
def test_an_asymmetry_derived_on_one_kind_of_surface_on_the_other(
    monkeypatch, derived_on, tested_on, least
):
    """From tubes to bars and edges all five are covered, the other way round four of six: at 95 % four or fewer come in
    3 % of all cases, so one kind of surface alone does not give the other's asymmetry; all rows are taken."""
    assert _covered(monkeypatch, derived_on, tested_on) >= least


def test_a_third_of_the_asymmetry_would_be_seen(monkeypatch):
    """So the test above can fail: at a third of the scatter some rows lie outside."""
    monkeypatch.setattr(load_from_lowering, "ASYMMETRY_U", _asymmetry(DELANEY) / 3)
    loads = [_by_table(*row) for row in DELANEY]
    assert sum(abs(load.value - 75) > load.U95 for load in loads) >= 3


def test_the_asymmetry_is_that_of_all_rows():
    """Its source is the whole table; and what is estimated from a row is its geometric mean, 46 to 70 kg."""
    stated = load_from_lowering.ASYMMETRY_U, load_from_lowering.ASYMMETRY_DEGREES
    assert stated == (pytest.approx(_asymmetry(DELANEY), abs=0.005), len(DELANEY))
    loads = [_by_table(*row) for row in DELANEY]
    for load, (_, up, down) in zip(loads, DELANEY, strict=True):
        assert load.value == pytest.approx(math.sqrt(up * down), rel=1e-5)  # the first cell of rope
    assert min(x.value for x in loads) == pytest.approx(45.8, abs=0.1)
    assert max(x.value for x in loads) == pytest.approx(70.0, abs=0.1)


THREE = "tie:load grab:G1@50 pulley:A1@anchor pulley:T1@G1 haul"


@pytest.mark.parametrize("e", [0.75, 0.9, 0.97])
def test_pulleys_that_lose_the_same_both_ways_are_found_out(e):
    """3:1: hauling W = (1 + e + e^2) S, lowering W = (1 + 1/e + 1/e^2) S'."""
    weight = 1000.0
    made = _both(weight / (1 + e + e * e), weight / (1 + 1 / e + 1 / e**2))
    found = review(rig(THREE, extra=HANGING), sensors("haul", "rope"), block(**made))["measured"]
    assert found["load_force_method"] == "haul-and-lower"
    assert found["load_force_N"]["value"] == pytest.approx(weight, rel=2e-4)
    assert found["pulley_efficiency"]["value"] == pytest.approx(e, abs=1e-3)


MASS = "mass_kg = 1000.0\nmass_kg_u = 10.0"


def _slope(c, stated, e=0.85, more=1.0, whole=False):
    """(force up, what was measured, or the whole review) of m = 1000 kg on 10 degrees: up m g (sin + c cos), back m g (sin - c cos);
    more: losses of the pulleys while running back / while hauling."""
    slope, weight = math.radians(10), 1000 * G
    up = weight * (math.sin(slope) + c * math.cos(slope))
    back = weight * (math.sin(slope) - c * math.cos(slope))
    e_back = e**-more
    made = _both(up / (1 + e + e * e), back / (1 + e_back + e_back**2))
    load = f'[load]\nkind = "slope"\nslope_deg = 10.0\n{stated}\n'
    found = review(rig(THREE, extra=load), sensors("haul", "rope"), block(**made))
    return up, found if whole else found["measured"]


@pytest.mark.parametrize(
    ("c", "e", "stated"),
    [
        (0.06, 0.85, "resistance_coefficient = 0.06\nresistance_coefficient_u = 0.006"),
        (0.13, 0.95, MASS),
    ],
)
def test_a_slope_with_its_coefficient_or_its_mass(c, e, stated):
    up, found = _slope(c, stated, e)
    assert found["load_force_method"] == "haul-and-lower"
    assert found["load_force_N"]["value"] == pytest.approx(up, rel=1e-3)
    assert found["load_force_N"]["u"] > 0.01 * up  # the ground's and the asymmetry's doubt


@pytest.mark.parametrize(("c", "more"), [(0.03, 1.0), (0.03, 1.8), (0.06, 1.0), (0.06, 2.1)])
def test_a_mass_that_cannot_part_ground_from_pulleys_gives_what_is_between_bounds(c, more):
    """With a the asymmetry of the losses, F + F' has its least where F / F' = (1 + a) / (1 - a): ground
    that rubs less than a times what the slope pulls leaves two solutions, or none, for a known mass.
    a = 0.36 is one standard uncertainty; c = 0.03 and 0.06 are 0.17 and 0.34 of tan 10 degrees."""
    up, found = _slope(c, MASS, more=more)
    assert found["load_force_method"] == "haul-and-lower"
    for key, true in (("load_force_N", up), ("efficiency", (1 + 0.85 + 0.85**2) / 3)):
        assert abs(found[key]["value"] - true) <= found[key]["U95"]
        assert 0.02 * true < found[key]["u"] < 0.2 * true
    # by hand: rope that loses nothing at most, ground that does not rub at least
    weight, e_back = 1000 * G * math.sin(math.radians(10)), 0.85**-more
    back = 2 * weight - up
    high = min(3 * up / (1 + 0.85 + 0.85**2), 2 * weight - 3 * back / (1 + e_back + e_back**2))
    assert found["load_force_N"]["value"] == pytest.approx((weight + high) / 2, rel=2e-3)


def test_that_only_bounds_are_known_is_told():
    """And not where the coefficient is known, or the ground rubs enough."""
    for c, known, e, told in (
        (0.03, MASS, 0.85, 1),
        (0.13, MASS, 0.95, 0),
        (0.06, "resistance_coefficient = 0.06", 0.85, 0),
    ):
        said = _slope(c, known, e, whole=True)[1]["warnings"]
        lines = [w for w in said if "cannot be separated from pulley friction" in w]
        assert len(lines) == told and all("to 1" in line or "to 2" in line for line in lines)


def test_the_haul_cells_scale_does_not_move_the_advantage():
    """Both forces come from one cell: its 5 % stay in the load force and leave the efficiency."""
    e = 0.9
    made = _both(1000 / (1 + e + e * e), 1000 / (1 + 1 / e + 1 / e**2))
    exact = review(rig(THREE, extra=HANGING), sensors("haul", "rope"), block(**made))["measured"]
    coarse = review(
        rig(THREE, extra=HANGING), sensors("haul", "rope", haul="u_percent = 5.0"), block(**made)
    )["measured"]
    assert coarse["efficiency"]["u"] == pytest.approx(exact["efficiency"]["u"], rel=1e-3)
    assert coarse["load_force_N"]["u"] == pytest.approx(
        math.hypot(exact["load_force_N"]["u"], 0.05 * 1000), rel=1e-2
    )


def test_a_well_known_mass_is_better_than_moving_both_ways():
    e = 0.9
    made = _both(1000 / (1 + e + e * e), 1000 / (1 + 1 / e + 1 / e**2))
    load = HANGING + f"mass_kg = {1000 / G}\nmass_kg_u = 0.5\n"
    found = review(rig(THREE, extra=load), sensors("haul", "rope"), block(**made))["measured"]
    assert found["load_force_method"] == "known"


def test_rolling_loads_and_slopes_of_which_nothing_is_known_stay_with_the_model():
    made = _both(400.0, 200.0)
    for load in ('[load]\nkind = "rolling"\n', '[load]\nkind = "slope"\nslope_deg = 8.0\n'):
        found = review(rig(THREE, extra=load), sensors("haul", "rope"), block(**made))["measured"]
        assert found["load_force_method"] == "model"
        assert found["efficiency"] is None and "load" in found["why_not"]


def test_lower_forces_that_no_friction_explains_are_not_used():
    """Lowering with more than hauling: friction can't be that way round."""
    found = review(rig(THREE, extra=HANGING), sensors("haul", "rope"), block(**_both(300.0, 320.0)))
    assert found["measured"]["load_force_method"] == "model"


def test_the_model_that_is_solved_is_the_rigs():
    known = model(rig(THREE))
    e = np.full(2, 1 / 0.9)
    assert float(
        load_row(known.rig, known.system.toward) @ tensions(known.system, e)
    ) == pytest.approx(1 + 1 / 0.9 + 1 / 0.81)
    assert model_ma_with(known.rig, 0.9) == pytest.approx(2.71)
