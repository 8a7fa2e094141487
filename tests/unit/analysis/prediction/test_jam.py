"""What a rig sees if the load jams: people at full effort, no loss at any pulley."""

from __future__ import annotations

import pytest
from support.rigs import three_to_one

from analysis.mechanics.model import model
from analysis.prediction.jam import ASSUMED_PEOPLE, jam_message, jammed
from analysis.rig_file.load import parse_rig

# one person alone for a moment, no team loss: 834 N (Ringelmann), rounded up
EACH_N = 850.0


def jam_of(top: str = "", more: str = ""):
    """The answer for the 3:1."""
    return jammed(model(parse_rig(three_to_one(top=top, more=more), "r.toml")))


def test_four_people_on_a_three_to_one() -> None:
    """Frictionless statics: the anchor of a 3:1 with a haul toward it carries the load's 3 T less the
    team's own T, so 2 T (any textbook)."""
    jam = jam_of("[team]\npeople = 4\n[defaults]\npulley_efficiency = 0.5\n")
    assert (jam.people, jam.assumed) == (4, False)
    assert jam.haul_force_N == pytest.approx(4 * EACH_N)
    assert jam.name == "anchor"
    assert jam.force_N == pytest.approx(2 * 4 * EACH_N)
    assert jam.use is None
    assert jam_message(jam).code == "jammed_unrated"


def test_the_part_nearest_its_limit_is_named() -> None:
    jam = jam_of("[team]\npeople = 1\n", "[anchor]\nwll_kN = 10.0\n[pulley.T1]\nwll_kN = 1.0\n")
    assert jam.name == "T1"
    assert jam.use == pytest.approx(2 * EACH_N / 1000.0)
    said = jam_message(jam)
    assert (said.code, said.level) == ("jammed_over", "caution")
    assert "170 %" in said.text()
    assert jam_message(jam_of("[team]\npeople = 1\n", "[anchor]\nwll_kN = 10.0\n")).level == "info"


def test_a_rig_without_people_assumes_two_and_says_so() -> None:
    jam = jam_of()
    assert (jam.people, jam.assumed) == (ASSUMED_PEOPLE, True)
    assert "2 people (assumed)" in jam_message(jam).text()
