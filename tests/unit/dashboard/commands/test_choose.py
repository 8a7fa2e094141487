"""`haul choose` as people and programs read it."""

import json
import re

import pytest

JOB = ["--distance-m", 8, "--rope-m", 100, "--team-N", 600]


def test_winners_first_and_a_reason_for_each_loser(haul):
    said = haul("choose", "--load-N", 2500, *JOB)
    found = json.loads(haul("choose", "--load-N", 2500, *JOB, "--json").out)
    assert said.status == 0 and found["fits"]
    assert [row["name"] for row in found["rigs"]][: len(found["fits"])] == found["fits"]
    for row in found["rigs"]:
        assert bool(row["why_not"]) == (row["name"] not in found["fits"])
        assert row["name"] in said.out
        if row["why_not"]:
            assert row["why_not"] in said.out
    assert len(found["rigs"]) >= 24


def test_nothing_fits_answers_no(haul):
    said = haul("choose", "--load-N", 500_000, *JOB)
    assert said.status == 1
    assert "No built-in rig can do it." in said.out
    assert json.loads(haul("choose", "--load-N", 500_000, *JOB, "--json").out)["fits"] == []


def test_twelve_against_eighteen_is_answered_in_force_rope_and_time(haul):
    said = haul("choose", "--load-N", 2500, *JOB)
    (line,) = (text for text in said.out.splitlines() if text.startswith("3-on-3-on-2 (18 : 1)"))
    # closed forms at 0.90: 9.3197 and 13.9538, so 268 N against 179 N; 18 x 8 m and 12 x 8 m of rope
    assert "haul force 179 N against 268 N (33 % less)" in line
    assert "rope through the hands 144 m against 96 m" in line
    assert re.search(r"about \d+ min (longer|shorter)$", line)


def test_a_mass_on_a_surface_is_the_load(haul):
    """1000 kg on 10 degrees of medium hard soil, 0.08 (Carvill 1993): 2475.5 N."""
    call = ["choose", "--mass-kg", 1000, "--slope-deg", 10, "--surface", "medium-hard-soil", *JOB]
    found = json.loads(haul(*call, "--json").out)
    assert found["job"]["load_force_N"] == pytest.approx(2475.5, abs=0.05)
    assert found["job"]["load_force_u_N"] > 0.3 * 0.08 * 9000
    assert found["job"]["start_force_N"] > found["job"]["load_force_N"]


def test_what_is_not_rated_is_said_to_be_not_judged(haul):
    bare = json.loads(haul("choose", "--load-N", 2500, *JOB, "--json").out)
    assert any(
        "not checked: rope, pulleys, anchors, grabs, captures" in w for w in bare["warnings"]
    )
    assert all(row["most_used"] is None for row in bare["rigs"])
    rated = json.loads(haul("choose", "--load-N", 2500, *JOB, "--rope-mbs-kN", 30, "--json").out)
    assert all(row["most_used"] > 0 for row in rated["rigs"])


def test_a_rig_is_written_as_it_was_judged(haul, tmp_path):
    file = tmp_path / "plan.toml"
    call = ["choose", "--load-N", 2500, *JOB, "--rope-mbs-kN", 30, "--pulley-efficiency", 0.85]
    found = json.loads(haul(*call, "--write", "3-on-4", file, "--json").out)
    (row,) = (row for row in found["rigs"] if row["name"] == "3-on-4")
    plan = json.loads(haul("predict", file, "--json").out)
    assert plan["haul_force_N"] == pytest.approx(row["haul_force_N"], rel=1e-5)
    # closed form of a 3:1 on a simple 4:1 at 0.85
    assert plan["model_ma"] == pytest.approx(8.1976, abs=1e-4)
    assert plan["job"][row["reset"]]["strokes"] == row["strokes"]
    assert plan["rope"][0]["needed_m"] == pytest.approx(row["rope_needed_m"], rel=1e-4)
    again = haul(*call, "--write", "3-on-4", file)
    assert again.status == 2 and "exists" in again.err
    assert "3-on-4" in haul(*call, "--write", "3-on-44", tmp_path / "x.toml").err


ALL = ["--rope-mbs-kN", 60, "--knot", "figure-eight", "--pulley-mbs-kN", 36, "--anchor-mbs-kN", 60,
       "--grab-slips-kN", 9, "--grab-slips-u-kN", 1, "--capture-slips-kN", 8, "--design-factor", 7,
       "--haulers", 1, "--pulley-efficiency", 0.85, "--breakaway", 1.5]  # fmt: skip


@pytest.mark.parametrize(
    "name", ["3-on-4", "3-on-3-redirect-own-anchor", "4-second-rope", "2-second-rope"]
)
def test_predict_of_the_written_file_gives_what_choose_showed(haul, tmp_path, name):
    file = tmp_path / "plan.toml"
    said = haul("choose", "--load-N", 2500, *JOB, *ALL, "--write", name, file, "--json")
    (row,) = (row for row in json.loads(said.out)["rigs"] if row["name"] == name)
    plan = json.loads(haul("predict", file, "--json").out)
    for key in ("ideal_ma", "model_ma", "model_ma_u", "haul_force_N", "haul_force_u_N"):
        assert plan[key] == pytest.approx(row[key], rel=1e-5), key
    uses = [
        (part["use"], part["use_in"])
        for part in (*plan["strands"], *plan["elements"])
        if part["use"]
    ]
    assert max(uses)[0] == pytest.approx(row["most_used"], rel=1e-5)
    assert max(uses)[1] in row["first_limit"]
    job = plan["job"][row["reset"]]
    assert (job["strokes"], sum(job["resets"].values())) == (row["strokes"], row["resets"])
    assert job["haul_travel_m"] == pytest.approx(row["rope_through_hands_m"], rel=1e-4)
    assert sum(rope["needed_m"] for rope in plan["rope"]) == pytest.approx(
        row["rope_needed_m"], rel=1e-4
    )
    text = file.read_text("utf-8")
    for given in ('knot = "figure-eight"', "mbs_kN = 60.0", "slips_at_u_kN = 1.0", "design_factor = 7.0",
                  "pull_N = 600.0", "breakaway = 1.5", "Chosen for 1 hauler."):  # fmt: skip
        assert given in text, given
    assert ("length_m = 100.0" in text) == (len(plan["rope"]) == 1)
    assert ("There is 100.0 m of rope in all." in text) == (len(plan["rope"]) > 1)


def test_one_hauler_is_one(haul):
    assert (
        "they assume 1 hauler at 75 W" in haul("choose", "--load-N", 2500, *JOB, "--haulers", 1).out
    )
    assert (
        "they assume 3 haulers at 75 W"
        in haul("choose", "--load-N", 2500, *JOB, "--haulers", 3).out
    )


def test_us_units_for_people(haul):
    said = haul("choose", "--load-N", 2500, *JOB, "--units", "us")
    table = said.out.split("Rigs that cannot")[0]
    assert "lbf" in table and " kN" not in table


@pytest.mark.parametrize(
    ("words", "wants"),
    [
        (["--distance-m", 8, "--rope-m", 9, "--team-N", 9], ["--load-N", "--mass-kg"]),
        (["--load-N", 9, "--mass-kg", 9, *JOB], ["--load-N", "--mass-kg"]),
        (["--load-N", "nan", *JOB], ["nan", "newtons"]),
        (["--mass-kg", 900, *JOB], ["--mass-kg alone", "--kind hanging"]),
        (["--mass-kg", 900, "--kind", "rolling", *JOB], ["rolling", "--surface"]),
        (["--mass-kg", 900, "--surface", "sandd", *JOB], ["sandd", "write sand"]),
        (["--mass-kg", 900, "--surface", "sand", "--kind", "hanging", *JOB], ["rolling load"]),
        (["--mass-kg", 900, "--surface", "sand", "--coefficient", 0.1, *JOB], ["one of the two"]),
        (["--load-N", 900, "--slope-deg", 4, *JOB], ["--slope-deg", "--mass-kg"]),
        (["--load-N", 900, "--between", "3", "3-on-44", *JOB], ["3-on-44", "3-on-4"]),
        (["--load-N", 900, "--haulers", "0", *JOB], ["people"]),
        (["--load-N", 900, "--pulley-efficiency", "1.2", *JOB], ["1.2", "efficiency"]),
        (["--load-N", 900, "--distance-m", 8, "--rope-m", 100], ["--team-N"]),
        (
            ["--load-N", 900, "--knot", "bowlin", *JOB],
            ['--knot: "bowlin"', "write bowline", "sewn-eye"],
        ),
        (["--load-N", 900, "--knot", "reef", *JOB], ['"reef"', "knots are figure-eight"]),
        (
            ["--load-N", 900, "--rope-mbs-kN", 30000, *JOB],
            ["did you mean N, not kN? write --rope-mbs-kN 30"],
        ),
        (
            ["--load-N", 900, "--grab-slips-kN", 1, "--grab-slips-u-kN", 1, *JOB],
            ["--grab-slips-u-kN", "2 U"],
        ),
    ],
)
def test_a_wrong_call_is_one_line(haul, words, wants):
    said = haul("choose", *words)
    assert said.status == 2 and not said.out
    (line,) = said.err.splitlines()
    assert line.startswith("haul: ") and all(want in line for want in wants), line
