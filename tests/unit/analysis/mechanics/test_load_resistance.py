"""What the load resists: moving, breaking away, running back; surface tables; what is not known."""

import math

import pytest
from support.rigs import THREE, rig

from analysis.mechanics.load_resistance import G, resistance
from analysis.rig.surfaces import SURFACES
from logger.errors import RigFault


def load_of(text):
    return resistance(rig(THREE, extra=f"[load]\n{text}\n").load)


def test_grade_resistance_and_its_parts():
    """1000 kg, 10 degrees, 0.08: slope part 1702.9 N, in all 2475.5 N (check with Carvill's coefficient)."""
    up = load_of('kind = "rolling"\nmass_kg = 1000\nslope_deg = 10\nresistance_coefficient = 0.08')
    assert up.force_N == pytest.approx(2475.5, abs=0.05)
    assert up.lower_N == pytest.approx(2 * 1702.9 - 2475.5, abs=0.15)


@pytest.mark.parametrize(
    ("percent_grade", "share"), [(20, 0.196), (40, 0.371), (60, 0.515), (80, 0.625), (100, 0.707)]
)
def test_slope_share_of_the_weight(percent_grade, share):
    """Fraction of the weight by percent grade (derived; an industry table prints 20, 37, 51, 62, 71 %)."""
    angle = math.degrees(math.atan(percent_grade / 100))
    up = load_of(
        f'kind = "slope"\nmass_kg = 500\nslope_deg = {angle!r}\nresistance_coefficient = 0.0'
    )
    assert up.force_N / (500 * G) == pytest.approx(share, abs=0.0006)


def test_hanging_load_is_its_weight_in_every_condition():
    hung = load_of('kind = "hanging"\nmass_kg = 100\nmass_kg_u = 1')
    assert hung.force_N == hung.lower_N == hung.start_N == pytest.approx(980.665)
    assert hung.force_u_N == hung.start_u_N == pytest.approx(9.80665)


def test_breaking_away_multiplies_the_ground_alone():
    """Oak on oak across the grain, at rest 0.54 and sliding 0.32 (Marks' Standard Handbook, from memory)."""
    text = 'kind = "dragging"\nmass_kg = 1000\nslope_deg = 10\nresistance_coefficient = 0.32\nbreakaway = 1.6875'
    sill = load_of(text)
    fall, normal = 1000 * G * math.sin(math.radians(10)), 1000 * G * math.cos(math.radians(10))
    assert sill.force_N == pytest.approx(fall + 0.32 * normal)
    assert sill.start_N == pytest.approx(fall + 0.54 * normal)
    # mass 2 %, coefficient 30 %, breakaway half of its excess over 1, in quadrature
    parts = (0.02 * sill.start_N, 0.3 * 0.54 * normal, 0.34375 * 0.32 * normal)
    assert sill.start_u_N == pytest.approx(math.hypot(*parts))


def test_break_away_is_not_known_where_nobody_stated_it():
    sill = load_of('kind = "dragging"\nmass_kg = 400\nresistance_coefficient = 0.5')
    assert sill.start_N is None and "breakaway" in sill.start_why.text()
    assert sill.lower_N is None and sill.lower_why.text() == "the ground alone holds the load"


def test_stated_resistance_with_breakaway():
    stated = load_of("resistance_N = 1500\nresistance_u_N = 40\nbreakaway = 1.4\nbreakaway_u = 0.1")
    assert stated.start_N == pytest.approx(2100)
    assert stated.start_u_N == pytest.approx(math.hypot(1.4 * 40, 1500 * 0.1))
    assert stated.lower_N is None and "slope" in stated.lower_why.text()


@pytest.mark.parametrize("row", SURFACES, ids=lambda row: row.name)
def test_a_tables_coefficient_is_a_guess_within_a_factor(row):
    r = rig(THREE, extra=f'[load]\nmass_kg = 1000\nsurface = "{row.name}"\n')
    found = resistance(r.load)
    assert row.source and row.low <= row.coefficient <= row.high
    assert found.force_N == pytest.approx(row.coefficient * 1000 * G)
    assert found.force_u_N >= 0.3 * found.force_N
    assert found.start_N > found.force_N
    assert any("from a table of surfaces" in note.text() for note in r.notes)


# read in the named sources: Moyer in Marks; Carvill 1993; A. F. Collins; a reference page
PRINTED = {"hard-road": 0.008, "packed-gravel": 0.012, "wet-loose-gravel": 0.06, "new-asphalt": 0.01,
           "worn-asphalt": 0.02, "rolled-new-gravel": 0.01, "loose-worn-gravel": 0.04,
           "medium-hard-soil": 0.08, "oak-on-oak-soaped": 0.16, "iron-on-oak": 0.42}  # fmt: skip


@pytest.mark.parametrize(("name", "printed"), PRINTED.items())
def test_coefficients_as_printed(name, printed):
    (row,) = (row for row in SURFACES if row.name == name)
    assert row.coefficient == pytest.approx(printed)


def test_wrong_surfaces_are_named():
    with pytest.raises(
        RigFault,
        match=r'"medium-hard-sol" is not in the table of surfaces; write medium-hard-soil',
    ):
        load_of('mass_kg = 100\nsurface = "medium-hard-sol"')
    with pytest.raises(RigFault, match="is for a rolling load, not for a hanging one"):
        load_of('kind = "hanging"\nmass_kg = 100\nsurface = "sand"')
    with pytest.raises(RigFault, match=r"surface.*cannot stand beside resistance_N"):
        load_of('resistance_N = 100\nsurface = "sand"')
