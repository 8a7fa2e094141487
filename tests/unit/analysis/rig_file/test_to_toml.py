"""A rig written as a file and read again is the same rig."""

from importlib import resources

import numpy as np
import pytest
from hypothesis import given, settings
from support.rigs import rigs

from analysis.prediction.choose_rig import shelf
from analysis.prediction.predict import predict
from analysis.rig_file.load import parse_rig
from analysis.rig_file.to_toml import rig_toml


def assert_same(a, b):
    assert [s.kind for s in a.stations] == [s.kind for s in b.stations]
    assert np.allclose(a.start_m, b.start_m, rtol=1e-6)
    one, two = predict(a), predict(b)
    assert two["model_ma"] == pytest.approx(one["model_ma"], rel=1e-5)
    assert two["model_ma_u"] == pytest.approx(one["model_ma_u"], rel=1e-4, abs=1e-9)
    figures = [one["load_force_N"], *(row["limit_N"] for row in one["elements"])]
    again = [two["load_force_N"], *(row["limit_N"] for row in two["elements"])]
    assert [x is None for x in again] == [x is None for x in figures]
    assert [x or 0.0 for x in again] == pytest.approx([x or 0.0 for x in figures], rel=1e-5)
    assert [row["needed_m"] for row in two["rope"]] == pytest.approx(
        [row["needed_m"] for row in one["rope"]], rel=1e-4
    )


@settings(max_examples=25, deadline=None)
@given(rigs())
def test_any_rig_comes_back(rig):
    assert_same(rig, parse_rig(rig_toml(rig), "again.toml"))


@pytest.mark.parametrize("name", sorted(shelf()))
def test_the_shelf_comes_back(name):
    rig = shelf()[name]
    again = parse_rig(rig_toml(rig), "again.toml")
    assert_same(rig, again)
    assert (again.title, again.note) == (rig.title, rig.note)


EVERYTHING = resources.files("analysis") / "demo" / "rig.toml"


def test_a_rig_with_everything_comes_back():
    rig = parse_rig(EVERYTHING.read_text(encoding="utf-8"), "demo")
    again = parse_rig(rig_toml(rig), "again.toml")
    assert_same(rig, again)
    assert again.ratings == rig.ratings
    assert again.ropes == rig.ropes and again.gears == rig.gears


HITCHES = """anchor_to_load_m = 12.0
[[rope]]
name = "main"
mbs_kN = 30.0
path = [ { tie = "load", knot = "bowline" }, { grab = "G1", at_m = 9 }, { capture = "C1", on = "anchor" },
  { pulley = "A1", on = "anchor" }, { pulley = "T1", on = "G1" }, { haul = "team" } ]
[grab.G1]
slips_at_kN = 4.0
slips_at_u_kN = 1.5
[capture.C1]
slips_at_kN = 6.0
damages_rope_at_kN = 5.0
"""


def test_knots_and_slip_loads_come_back():
    rig = parse_rig(HITCHES, "r.toml")
    text = rig_toml(rig)
    again = parse_rig(text, "again.toml")
    assert again.ratings == rig.ratings and again.stations == rig.stations
    assert 'knot = "bowline"' in text and "strength" not in text
    assert predict(again) == predict(rig)


TIED = """anchor_to_load_m = 12.0
[[rope]]
name = "main"
mbs_kN = 30.0
path = [ {{ tie = "load"{0} }}, {{ pulley = "A1", on = "anchor" }}, {{ haul = "team" }} ]
"""


@pytest.mark.parametrize("stated", [None, 0.5, 0.75, 1.0])
def test_whether_a_knots_strength_is_stated_comes_back(stated):
    rig = parse_rig(TIED.format("" if stated is None else f", strength = {stated}"), "r.toml")
    text = rig_toml(rig)
    again = parse_rig(text, "again.toml")
    assert ("strength" in text) == (stated is not None)
    assert again.stations[0].strength == rig.stations[0].strength == stated
    one, two = predict(rig), predict(again)
    assert [s["limit_N"] for s in two["strands"]] == [s["limit_N"] for s in one["strands"]]
    assert two["warnings"] == one["warnings"]
    assert any("knot's strength" in w for w in two["warnings"]) == (stated is None)
