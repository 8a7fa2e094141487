"""What limits a strand or a hitch: knots by name, slip loads less their uncertainty."""

from __future__ import annotations

import pytest

from analysis.mechanics.model import model
from analysis.messages.message import text_of
from analysis.prediction.predict import predict
from analysis.rig.knots import KNOTS
from analysis.rig_file.load import parse_rig

RIG = """anchor_to_load_m = 12.0
[load]
kind = "hanging"
mass_kg = 100.0
[[rope]]
name = "main"
mbs_kN = 30.0
path = [ {{ tie = "load"{tie} }}, {{ grab = "G1", at_m = 9 }}, {{ capture = "C1", on = "anchor" }},
  {{ pulley = "A1", on = "anchor" }}, {{ pulley = "T1", on = "G1" }}, {{ haul = "team" }} ]
{extra}
"""

# reference table of presets, section 2: value and standard uncertainty
PRESETS = {
    "figure-eight": (0.60, 0.08), "butterfly": (0.60, 0.08), "double-fisherman": (0.60, 0.08),
    "bowline": (0.55, 0.08), "clove-hitch": (0.50, 0.10), "spliced-eye": (0.80, 0.06),
    "sewn-eye": (0.80, 0.06), "tensionless": (0.95, 0.03), "unknown": (0.50, 0.10),
}  # fmt: skip


def made(tie="", extra=""):
    return parse_rig(RIG.format(tie=tie, extra=extra), "r.toml")


def why(rig, name):
    return next(text_of(one.why) for one in model(rig).parts if one.name == name)


def test_the_table_has_the_sourced_values():
    assert {row.name: (row.keeps, row.keeps_u) for row in KNOTS} == PRESETS
    assert all(row.source for row in KNOTS)


@pytest.mark.parametrize(("name", "keeps"), [(name, value) for name, (value, _) in PRESETS.items()])
def test_a_named_knot_keeps_its_share(name, keeps):
    rig = made(f', knot = "{name}"')
    first = predict(rig)["strands"][0]
    assert first["limit_N"] == pytest.approx(3000 * keeps)
    assert why(rig, "load>G1") == f"30 kN breaking strength x {keeps:g} ({name}) / 10"
    warned = predict(rig)["warnings"]
    assert not any("is assumed; write knot" in w for w in warned)
    assert any("may slip before it breaks" in w for w in warned) == (name == "clove-hitch")


def test_without_knot_or_strength_half_is_assumed_and_said():
    assert predict(made())["strands"][0]["limit_N"] == pytest.approx(1500)
    assert any('0.50 is assumed; write knot = "bowline"' in w for w in predict(made())["warnings"])


def test_a_capture_that_slips_is_judged_by_what_it_holds():
    """Hands off, C1 holds the whole 980.665 N; raising, rope runs through it."""
    found = predict(made(extra="[capture.C1]\nslips_at_kN = 0.9\n"))
    c1 = next(row for row in found["elements"] if row["name"] == "C1")
    assert (c1["limit_N"], c1["use_in"]) == (pytest.approx(900), "held on C1")
    assert c1["use"] == pytest.approx(980.665 / 900) == found["hold"][0]["use"]
    assert found["stop_hauling_at"]["because"] == "C1: begins to slip at 0.9 kN, held on C1"
    assert found["stop_hauling_at"]["haul_force_N"] == pytest.approx(300)
    bites = predict(made(extra="[capture.C1]\ndamages_rope_at_kN = 0.9\n"))
    assert bites["stop_hauling_at"]["because"] == "C1: damages the rope at 0.9 kN, held on C1"


@pytest.mark.parametrize("thing", ["grab.G1", "capture.C1"])
def test_with_an_uncertainty_the_limit_is_two_u_lower_and_without_one_it_is_said(thing):
    """4.0 +- 1.5 kN, a three-wrap hitch of 8 mm on 11 to 13 mm rope (presets, section 3): 1 kN is left."""
    name = thing.partition(".")[2]
    bare = made(extra=f"[{thing}]\nslips_at_kN = 4.0\n")
    sure = made(extra=f"[{thing}]\nslips_at_kN = 4.0\nslips_at_u_kN = 1.5\n")
    limit = {
        k: next(row["limit_N"] for row in predict(rig)["elements"] if row["name"] == name)
        for k, rig in (("bare", bare), ("sure", sure))
    }
    assert limit == {"bare": pytest.approx(4000), "sure": pytest.approx(1000)}
    assert why(sure, name) == "begins to slip at 4 kN, less 2 u of 1.5 kN"
    (said,) = (w for w in predict(bare)["warnings"] if "scatter" in w)
    assert (
        said.startswith(f"{name}: ")
        and "no calibrated force limiter" in said
        and "slips_at_u_kN" in said
    )
    assert not any("scatter" in w for w in predict(sure)["warnings"])
