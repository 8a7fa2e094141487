"""Presets: the published values lie within them, and a rig that takes one says that it is assumed."""

from __future__ import annotations

import math

import pytest
from support.rigs import HAUL, rig_text, three_to_one

from analysis.mechanics.model import model
from analysis.rig.presets import (
    FOOTINGS,
    HITCHES,
    JAM_PULL_N,
    PULLEYS,
    ROPES,
    hitch_preset,
    pulley_preset,
    team_pull_N,
)
from analysis.rig_file.load import parse_rig
from analysis.rig_file.to_toml import rig_toml
from logger.errors import RigFault

# R. Delaney, Physics for Roping Technicians, p. 90, as quoted in a review: tension out / tension in
RESCUE_PULLEYS = (0.909, 0.893, 0.870, 0.862, 0.800, 0.800)
ONE_CONNECTOR, TWO_CONNECTORS = 0.592, 0.538


def codes(rig) -> list[str]:
    """Codes of the warnings from reading the file."""
    return [note.code for note in rig.notes]


def test_published_pulleys_lie_within_twice_the_uncertainty() -> None:
    """Catches a preset far from the published spread; can't tell which half a given pulley is in."""
    for published in RESCUE_PULLEYS:
        assert any(
            abs(published - row.efficiency) <= 2 * row.efficiency_u
            for row in (pulley_preset("ball-sheave"), pulley_preset("plain-sheave"))
        )
    one, two = pulley_preset("connector"), pulley_preset("two-connectors")
    assert abs(ONE_CONNECTOR - one.efficiency) <= 2 * one.efficiency_u
    assert abs(TWO_CONNECTORS - two.efficiency) <= 2 * two.efficiency_u
    assert two.efficiency <= one.efficiency


def test_every_row_is_usable() -> None:
    for row in PULLEYS:
        assert (
            0 < row.efficiency - 2 * row.efficiency_u < row.efficiency + 2 * row.efficiency_u <= 1
        )
    for hitch in HITCHES:
        assert (hitch.slips_N is None) != (hitch.damages_N is None)
        if hitch.slips_N is not None:
            assert hitch.slips_N > 2 * (hitch.slips_u_N or 0.0)
    assert all(row.source for row in (*PULLEYS, *HITCHES, *ROPES, *FOOTINGS))


@pytest.mark.parametrize(("people", "each"), [(1, 150.0), (3, 150.0), (4, 112.5), (8, 112.5)])
def test_a_team_of_four_or_more_loses_a_quarter(people: int, each: float) -> None:
    """Ringelmann: of eight people each pulls half; Ingham 1974: the loss ends at three."""
    assert team_pull_N(people, "good")[0] == pytest.approx(people * each)


def test_a_pulley_preset_gives_efficiency_and_a_common_uncertainty() -> None:
    text = three_to_one(
        more='[pulley.A1]\npreset = "connector"\n[pulley.T1]\npreset = "connector"\n'
    )
    rig = parse_rig(text, "r.toml")
    assert codes(rig).count("pulley_preset_assumed") == 2
    assert not rig.default_assumed
    # 3:1 with e at both pulleys: MA = 1 + e + e^2, so dMA/de = 1 + 2 e for an error common to both
    e, u = 0.52, 0.06
    there = model(rig)
    assert there.model_ma == pytest.approx(1 + e + e * e)
    assert there.model_ma_u == pytest.approx((1 + 2 * e) * u)
    own = f"efficiency = {e}\nefficiency_u = {u}\n"
    apart = model(parse_rig(three_to_one(more=f"[pulley.A1]\n{own}[pulley.T1]\n{own}"), "r.toml"))
    # independent errors: 1 + e1 + e1 e2
    assert apart.model_ma_u == pytest.approx(math.hypot(1 + e, e) * u)


def test_an_own_value_beside_a_preset_is_refused() -> None:
    for table, own in (
        ('[pulley.A1]\npreset = "connector"\n', "efficiency = 0.9\n"),
        ('[grab.G1]\npreset = "klemheist"\n', "slips_at_kN = 3.0\n"),
        ('[capture.C1]\npreset = "toothed-cam"\n', "damages_rope_at_kN = 3.0\n"),
        ('[team]\npeople = 4\nfooting = "good"\n', "pull_N = 600.0\n"),
    ):
        assert parse_rig(three_to_one(more=table), "r.toml")
        with pytest.raises(RigFault, match="cannot stand beside"):
            parse_rig(three_to_one(more=table + own), "r.toml")


def test_a_hitch_preset_sets_the_limit_two_u_lower() -> None:
    rig = parse_rig(three_to_one(more='[grab.G1]\npreset = "three-wrap-prusik"\n'), "r.toml")
    grab = next(one for one in model(rig).parts if one.name == "G1")
    usual = hitch_preset("three-wrap-prusik")
    assert grab.limit_N == pytest.approx(usual.slips_N - 2 * usual.slips_u_N)
    assert "hitch_preset_assumed" in codes(rig)


def test_people_on_a_footing_are_a_pull_that_is_said_to_be_assumed() -> None:
    rig = parse_rig(three_to_one(top='[team]\npeople = 4\nfooting = "wet"\n'), "r.toml")
    assert rig.team_pull_N == pytest.approx(4 * 0.75 * 100.0)
    assert "team_pull_assumed" in codes(rig)
    with pytest.raises(RigFault, match="people: is missing"):
        parse_rig(three_to_one(top='[team]\nfooting = "wet"\n'), "r.toml")


def test_a_rope_preset_needs_the_breaking_strength() -> None:
    rope = 'preset = "dynamic"\nmbs_kN = 22.0\n'
    stations = ['{ tie = "load" }', '{ pulley = "A1", on = "anchor" }', HAUL]
    rig = parse_rig(rig_text(stations, rope=rope), "r.toml")
    assert rig.ropes[0].stretch == pytest.approx(0.09)
    assert rig.ropes[0].stretch_at_N == pytest.approx(2200.0)
    with pytest.raises(RigFault, match="needs mbs_kN"):
        parse_rig(rig_text(stations, rope='preset = "dynamic"\n'), "r.toml")


def test_presets_come_back_from_a_written_file() -> None:
    more = '[pulley.A1]\npreset = "connector"\n[grab.G1]\npreset = "klemheist"\n'
    rig = parse_rig(three_to_one(more=more, rope='preset = "dynamic"\nmbs_kN = 22.0\n'), "r.toml")
    again = parse_rig(rig_toml(rig), "again.toml")
    assert codes(again) == codes(rig)
    assert model(again).model_ma_u == pytest.approx(model(rig).model_ma_u)


def test_the_pull_in_a_jam_is_above_a_single_puller_at_full_effort() -> None:
    """834 N for one person alone on a rope: Ringelmann, as quoted by later reviews."""
    assert JAM_PULL_N >= 834.0
