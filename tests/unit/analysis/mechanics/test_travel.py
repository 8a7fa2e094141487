"""Strokes, jobs and rope against hand arithmetic on the rig's own rope lengths (plane geometry)."""

import math
from dataclasses import replace
from importlib import resources

import pytest
from support.rigs import NINE, THREE, TWELVE, rig

from analysis.mechanics.model import model
from analysis.mechanics.travel import job, needed_rope, rope_in_rig, stroke
from analysis.messages.message import text_of
from analysis.prediction.predict import predict, prediction
from analysis.rig_file.load import parse_rig

JOB = "[load]\npull_distance_m = %s\n"


def test_one_stroke_of_a_compound_rig():
    """G2 runs three times as far as the load: 7.7 m to the anchor's clearance is 2.567 m of load."""
    known = predict(rig(NINE.replace("@90", "@9").replace("@80", "@8"), length=12.0))
    assert known["stroke"]["load_travel_m"] == pytest.approx(7.7 / 3)
    assert known["stroke"]["haul_travel_m"] == pytest.approx(7.7 * 3)
    assert known["stroke"]["stopped_by"] == ["G2", "anchor"]


def test_job_each_slides_the_two_blocked_grab_alone():
    """3:1 whose grab starts 3 m off: 2.7 m a stroke, so 8 m take 3 strokes and 2 resets, 24 m of rope."""
    known = predict(rig(THREE.replace("@50", "@3"), length=12.0, extra=JOB % 8))["job"]
    for mode in ("each", "together"):
        assert known[mode]["strokes"] == 3
        assert known[mode]["resets"] == {"G1": 2}
        assert known[mode]["haul_travel_m"] == pytest.approx(24.0)
        assert known[mode]["load_travel_m"] == pytest.approx(8.0)


def test_setback_is_hauled_again():
    """0.05 m lost at each of two resets: 0.3 m more rope through the hands of a 3:1."""
    path = "tie:load grab:G1@3 capture:C1@anchor pulley:A1@anchor pulley:T1@G1 haul"
    extra = JOB % 8 + "[capture.C1]\nsetback_m = 0.05\n"
    known = predict(rig(path, length=12.0, extra=extra))["job"]["each"]
    # each stroke runs 2.7 m; after two resets 5.3 m are gained, so a third stroke of 2.7 m does it
    assert known["strokes"] == 3 and known["resets"] == {"G1": 2}
    assert known["haul_travel_m"] == pytest.approx(3 * (8.0 + 2 * 0.05))


def test_a_grab_in_the_way_is_slid_first():
    """The front grab follows the load; once it leaves the other under clearance, it goes back first."""
    r = rig(NINE.replace("@90", "@4").replace("@80", "@3"), length=12.0, extra=JOB % 8)
    done = job(r, "each", {})
    assert not done.why_not and done.resets["G1"] >= 1
    for x in done.places:
        assert x[r.index["G2"]] <= x[r.index["G1"]] + 1e-9


def test_nothing_to_reset_is_null_with_a_reason():
    known = predict(rig("tie:anchor pulley:L@load haul", length=10.0, extra=JOB % 9.9))
    assert known["job"] == {"each": None, "together": None}
    assert any("no grab can be slid back" in w for w in known["warnings"])


def test_unknown_distance_is_null():
    known = predict(rig(THREE))
    assert known["job"]["each"]["strokes"] is None
    assert any("pull_distance_m" in w for w in known["warnings"])


def test_rope_needed():
    """3:1, load at 12 m, grab at 9 m: 12 + 9 m in the rig, 9 m to the team, 3 m in hand, 1 m a tie."""
    r = rig(THREE.replace("@50", "@9"), length=12.0)
    assert rope_in_rig(r, r.start_m) == [pytest.approx(21.0)]
    assert needed_rope(r, 0, r.start_m) == pytest.approx(21 + 9 + 3 + 1)
    (row,) = predict(r)["rope"]
    assert row["needed_m"] == pytest.approx(34.0) and row["enough"] is None


def test_beside_the_axis_the_rope_length_counts():
    """A 1:1 over a redirect 3 m beside the axis: rope out is the change of the slanted strand (Pythagoras)."""
    r = rig(
        "tie:load pulley:R@P haul",
        length=8.0,
        extra="[further_anchor.P]\nat_m = 0.0\noffset_m = 3.0\n",
    )
    done = stroke(r, None, 4.0)
    assert done.haul_m == pytest.approx(math.hypot(8, 3) - math.hypot(4, 3), rel=1e-8)
    whole = stroke(r)
    assert whole.stopped_by == ("load", "P")
    # 80 degrees off the axis: 3 / x = tan 80
    assert 8.0 - whole.load_m == pytest.approx(3 / math.tan(math.radians(80)), abs=1e-6)


def test_ideal_ma_beside_the_axis_counts_the_cosine():
    r = rig(
        "tie:load pulley:R@P haul",
        length=4.0,
        extra="[further_anchor.P]\nat_m = 0.0\noffset_m = 3.0\n",
    )
    assert predict(r)["ideal_ma"] == pytest.approx(0.8)


def test_a_reset_that_no_capture_covers_is_warned_of_first():
    for kind in ("hanging", "slope"):
        load = (
            f'[load]\nkind = "{kind}"\nmass_kg = 80\nslope_deg = 20\nresistance_coefficient = 0.1\n'
        )
        known = predict(rig(THREE, e=None, extra=load))
        assert known["warnings"][0].startswith("NO CAPTURE holds the load during the reset of G1")
    known = predict(rig(NINE, extra=load))
    assert not any("NO CAPTURE" in w for w in known["warnings"])


def test_what_must_be_mended_before_pulling_is_a_stop_and_comes_first():
    extra = "[load]\nresistance_N = 9000.0\npull_distance_m = 3.0\n[grab.G1]\nslips_at_kN = 0.6\n"
    bare = rig("tie:load grab:G1@9 pulley:A1@anchor pulley:T1@G1 haul", length=12.0, extra=extra)
    bare = replace(bare, ropes=tuple(replace(rope, length_m=5.0) for rope in bare.ropes))
    found, said = prediction(bare)
    assert [one.text() for one in said] == found["warnings"] == predict(bare)["warnings"]
    stops = [one.code for one in said if one.level == "stop"]
    assert stops == ["no_capture", "part_over_limit", "rope_too_short"]
    assert [one.code for one in said][:2] == stops[:2]


def test_assumed_efficiency_is_said():
    assert any("assumed" in w for w in predict(rig(THREE, e=None))["warnings"])
    assert not any("assumed" in w for w in predict(rig(THREE))["warnings"])


def test_stop_hauling_at_is_the_first_limit_by_frictionless_force():
    """12:1; load point WLL 10 kN, grab slips at 4 kN with 2 x 1 of the haul: 10000/12 comes first."""
    extra = "[load]\nwll_kN = 10\n[grab.G2]\nslips_at_kN = 4.0\n[limits]\ndesign_factor = 8\n"
    known = predict(rig(TWELVE, extra=extra))["stop_hauling_at"]
    assert known["haul_force_N"] == pytest.approx(10_000 / 12)
    assert "load" in known["because"] and known["rated"] == 2
    none = predict(rig(TWELVE))["stop_hauling_at"]
    assert none["haul_force_N"] is None and none["rated"] == 0 and none["because"]


def test_a_knot_lowers_its_own_strand_alone():
    r = parse_rig(
        """anchor_to_load_m = 12.0
[[rope]]
name = "main"
mbs_kN = 30.0
path = [ { tie = "load", strength = 0.75 }, { grab = "G1", at_m = 9 }, { pulley = "A1", on = "anchor" },
  { pulley = "T1", on = "G1" }, { haul = "team" } ]
""",
        "r.toml",
    )
    limits = [s["limit_N"] for s in predict(r)["strands"]]
    assert limits == pytest.approx([2250.0, 3000.0, 3000.0, 3000.0])


def test_pig_rig_with_a_slack_tail():
    """A main line through a capture with a slack tail, a 3:1 of its own rope on its grab."""
    path = "tie:load grab:G1@60 capture:C1@anchor free | tie:G1 pulley:A1@anchor pulley:T1@G1 haul"
    known = predict(rig(path))
    assert known["ideal_ma"] == pytest.approx(3) and known["model_ma"] == pytest.approx(2.71)
    assert known["hold"][0]["ideal"] == pytest.approx(3)
    assert known["hold"][0]["covers_resets"] == ["G1"]
    assert [s["to"] for s in known["strands"]][:3] == ["G1", "C1", "free"]


def test_winch_on_the_load_adds_one():
    """The winch rides on the load and takes rope in there: a single pulley at the anchor gives 2:1."""
    assert predict(rig("tie:load pulley:A@anchor haul@load", e=1.0))["ideal_ma"] == pytest.approx(2)
    known = predict(rig("tie:load pulley:A@anchor haul@load", e=0.9))
    assert known["model_ma"] == pytest.approx(1.9)


def test_a_grab_that_runs_along_with_the_load_is_not_two_blocked_by_it():
    """Slid back to clearance_m short of the load, it keeps that distance (inextensible rope)."""
    path = "tie:load grab:G1@14.45 pulley:A1@anchor pulley:T1@G1 pulley:R1@P1 haul:90"
    beside = "[load]\npull_distance_m = 15\n[further_anchor.P1]\nat_m = -1.0\noffset_m = 2.0\n"
    known = predict(rig(path, length=17.0, extra=beside))
    assert known["job"]["each"]["strokes"] == 2
    assert known["job"]["each"]["resets"] == {"G1": 1}


def beside(rating, name="3-on-3-redirect-own-anchor"):
    """A rig of the shelf with its anchor beside the haul axis rated."""
    text = (resources.files("analysis") / "rigs" / f"{name}.toml").read_text("utf-8")
    return parse_rig(
        text.replace("[further_anchor.P1]\n", f"[further_anchor.P1]\n{rating}\n"), name
    )


def test_an_anchor_beside_the_axis_is_judged_by_the_vector_sum():
    """Strand from (15, 0) to P1 at (-1, 2), haul at a right angle to the axis: 97.1 degrees between
    the strands, 2 T cos(97.1 / 2) = 1.3236 T without friction; 10 kN / 10 / 1.3236 = 755.5 N of haul
    tension.  Along the axis alone it would be 16 / hypot(16, 2) T, and 1008 N."""
    known = predict(beside("mbs_kN = 10"))
    between = math.radians(90) + math.atan2(2, 16)
    (row,) = (row for row in known["elements"] if row["name"] == "P1")
    assert row["ideal"] == pytest.approx(2 * math.cos(between / 2))
    stop = known["stop_hauling_at"]
    assert stop["haul_force_N"] == pytest.approx(755.5, abs=0.05)
    assert stop["because"].startswith("P1: 10 kN breaking strength")


def test_the_whole_force_on_an_anchor_is_its_use():
    """With friction R1 has 0.9 T before it and T behind: sqrt(0.81 + 1 - 2 x 0.9 x 0.124) = 1.2597 T."""
    r = beside("mbs_kN = 10")
    for haul, over in ((790.0, False), (798.0, True)):
        known = predict(r, haul)
        (row,) = (row for row in known["elements"] if row["name"] == "P1")
        assert row["force_N"] == pytest.approx(haul * math.sqrt(1.81 - 1.8 * 2 / math.hypot(16, 2)))
        assert row["use"] == pytest.approx(row["force_N"] / 1000.0)
        told = [w for w in known["warnings"] if w.startswith("P1")]
        assert len(told) == over and all("is over the allowed 1.00 kN" in w for w in told)


def knotted(*ties, rope="mbs_kN = 30.0"):
    """A 2:1 on a 2:1 of two ropes: rope "a" from the first tie to the second, "b" from the third; a
    tie without a number states no strength."""
    words = [
        f'{{ tie = "{body}"{"" if keeps is None else f", strength = {keeps}"} }}'
        for body, keeps in ties
    ]
    return parse_rig(
        f"""anchor_to_load_m = 12.0
[plate.B1]
at_m = 9.0
[[rope]]
name = "a"
{rope}
path = [ {words[0]}, {{ pulley = "L1", on = "load" }}, {words[1]} ]
[[rope]]
name = "b"
{rope}
path = [ {words[2]}, {{ pulley = "T1", on = "B1" }}, {{ haul = "team" }} ]
""",
        "r.toml",
    )


NOT_STATED = 'not stated; 0.50 is assumed; write knot = "'


def said_of_knots(r):
    return [w for w in predict(r)["warnings"] if NOT_STATED in w]


def test_a_knot_whose_strength_is_not_stated_is_taken_at_half_and_said_in_one_line():
    r = knotted(("anchor", None), ("B1", 0.8), ("anchor", None))
    known = predict(r)
    assert [s["limit_N"] for s in known["strands"]] == pytest.approx(
        [1500.0, 2400.0, 1500.0, 3000.0]
    )
    assert said_of_knots(r) == [
        "anchor (rope a), anchor (rope b): the strength of these knots is not stated; 0.50 is assumed; "
        'write knot = "bowline" or the like, or strength = ..., at each tie'
    ]
    why = {part.name: text_of(part.why) for part in model(r).parts}
    assert why["anchor>L1"] == "30 kN breaking strength x 0.5 (knot, assumed) / 10"
    assert why["L1>B1"] == "30 kN breaking strength x 0.8 (knot) / 10"
    assert why["T1>team"] == "30 kN breaking strength / 10"


def test_one_knot_on_one_rope_is_named_by_its_body():
    path = "tie:load pulley:A1@anchor haul"
    r = rig(path)
    r = replace(r, ropes=tuple(replace(rope, mbs_N=30_000.0) for rope in r.ropes))
    assert said_of_knots(r) == [
        'load: the knot\'s strength is not stated; 0.50 is assumed; write knot = "bowline" or the like, or strength = ..., at the tie'
    ]


def test_nothing_is_said_of_a_knot_that_is_stated_or_on_a_rope_that_is_not_rated():
    assert said_of_knots(knotted(("anchor", 0.5), ("B1", 1.0), ("anchor", 0.75))) == []
    assert said_of_knots(knotted(("anchor", None), ("B1", None), ("anchor", None), rope="")) == []


def test_a_strand_between_two_knots_is_as_strong_as_the_weaker_one():
    """A stated 0.4 stays below the assumed 0.50; a stated 0.8 does not lift it."""
    for keeps, limit, words in (
        (0.4, 1200.0, "x 0.4 (knot)"),
        (0.8, 1500.0, "x 0.5 (knot, assumed)"),
    ):
        r = parse_rig(
            f"""anchor_to_load_m = 12.0
[plate.B1]
at_m = 9.0
[[rope]]
name = "sling"
mbs_kN = 30.0
path = [ {{ tie = "load", strength = {keeps} }}, {{ tie = "B1" }} ]
[[rope]]
name = "main"
path = [ {{ tie = "B1" }}, {{ pulley = "A1", on = "anchor" }}, {{ haul = "team" }} ]
""",
            "r.toml",
        )
        (sling,) = (part for part in model(r).parts if part.name == "load>B1")
        assert sling.limit_N == pytest.approx(limit) and words in sling.why.text()
