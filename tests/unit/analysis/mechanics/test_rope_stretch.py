"""Stretch of the rope, and the rope that it takes before the load moves."""

import pytest
from support.rigs import HUNG, NINE, THREE, WEIGHT, rig

from analysis.mechanics.model import model
from analysis.mechanics.rope_stretch import elongation_m, spring_back, take_up


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


@pytest.mark.parametrize(
    ("capture", "strands"), [("", 3 * 3 + 1 + 1 + 1), ("capture:C1@anchor ", 2)]
)
def test_a_capture_keeps_the_stretch_of_what_it_holds(capture, strands):
    """Frictionless 3:1, strands of 50 m, by virtual work sum k_i dL_i at 1 N: without a capture all four go slack; held on
    C1, the two behind it alone, as those to the load carry 3 N then and lose nothing."""
    path = THREE.replace("pulley:A1", f"{capture}pulley:A1")
    held = model(_stretching(rig(path, e=1.0, extra=HUNG), 0.03, 1500.0))
    assert spring_back(held) == pytest.approx(strands * 50.0 * 0.03 / 1500.0)


def _stretching(r, stretch, at_N):
    from dataclasses import replace

    return replace(r, ropes=tuple(replace(x, stretch=stretch, stretch_at_N=at_N) for x in r.ropes))
