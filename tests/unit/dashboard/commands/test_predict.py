"""`haul predict` as people read it, and its exit status."""

import json

import pytest


def test_the_summary_says_what_the_json_says(haul, rig):
    said = haul("predict", rig)
    found = json.loads(haul("predict", rig, "--json").out)
    assert said.status == 0
    # 813 N / 2.71 = 300 N: 3:1 of two 0.90 pulleys (tension method, 1 + e + e^2)
    assert found["haul_force_N"] == pytest.approx(300.0)
    assert "haul force" in said.out and "300 ± " in said.out
    assert "one stroke: 26.1 m of rope moves the load 8.70 m, until G1 meets anchor" in said.out
    for warning in found["warnings"]:
        assert f"! {warning}" in said.out


def test_us_units_on_the_terminal_never_in_json(haul, rig):
    said = haul("predict", rig, "--units", "us")
    assert "lbf" in said.out and "ft" in said.out and " N" not in said.out.split("Travel")[1]
    assert haul("predict", rig, "--units", "us", "--json").out == haul("predict", rig, "--json").out


def test_steps_go_along_the_rope_with_ideal_beside_friction(haul, rig):
    lines = haul("predict", rig, "--steps").out.splitlines()
    rows = [line.split() for line in lines if ">" in line]
    assert [row[0] for row in rows] == ["load>G1", "G1>C1", "C1>A1", "A1>T1", "T1>team"]
    ideal, model = ([float(row[k]) for row in rows] for k in (1, 3))
    assert ideal == [3, 1, 1, 1, 1]
    assert model == [2.71, 0.81, 0.81, 0.9, 1]
    # each station stands between its strands, in rope order
    names = [
        "load>G1",
        "grab G1",
        "G1>C1",
        "capture C1",
        "C1>A1",
        "pulley A1",
        "A1>T1",
        "pulley T1",
    ]
    text = "\n".join(lines)
    assert [text.index(name) for name in names] == sorted(text.index(name) for name in names)


def test_a_limit_that_is_passed_answers_no(haul, rig):
    # 28 kN / 10 = 2800 N on the strand at the load, which holds three times the haul tension on C1
    within, beyond = (
        haul("predict", rig, "--haul-force", 933),
        haul("predict", rig, "--haul-force", 934),
    )
    assert (within.status, beyond.status) == (0, 1)
    assert "load>G1: 2.80 kN held on C1 is over the allowed 2.80 kN" in beyond.out
    found = haul("predict", rig, "--haul-force", 934, "--json")
    assert found.status == 1
    found = json.loads(found.out)
    assert found["haul_force_N"] == 934
    first = found["strands"][0]
    assert first["tension_N"] == pytest.approx(2.71 * 934)
    assert (first["use"], first["use_in"]) == (pytest.approx(3 * 934 / 2800), "held on C1")


def test_what_must_be_held_is_said_as_a_thing_to_do(haul, rig):
    """80 kg hanging on a 3:1 of two 0.90 pulleys: let down by 784.53 N / 3.34568 = 234.5 N (check of the
    lowering ratio: 1 + 1/e + 1/e^2)."""
    text = rig.read_text("utf-8")
    start, end = text.index("[load]"), text.index("[[rope]]")
    rig.write_text(
        f'{text[:start]}[load]\nkind = "hanging"\nmass_kg = 80.0\n\n{text[end:]}', "utf-8"
    )
    said = haul("predict", rig).out
    (row,) = (line for line in said.splitlines() if "hold at least" in line)
    assert row.split("hold at least")[1].split()[0] == "234"
    assert row.endswith("or the load runs back") and "lets the load run back" not in said


def test_a_rig_without_a_load_still_gives_ratios(haul, rig):
    text = rig.read_text("utf-8")
    start, end = text.index("[load]"), text.index("[[rope]]")
    rig.write_text(text[:start] + text[end:], "utf-8")
    said = haul("predict", rig)
    assert said.status == 0
    assert "2.71" in said.out and "not known" in said.out
    assert json.loads(haul("predict", rig, "--json").out)["haul_force_N"] is None


def test_conditions_show_every_part_in_each(haul, rig):
    said = haul("predict", rig, "--conditions")
    found = json.loads(haul("predict", rig, "--conditions", "--json").out)
    names = [one["name"] for one in found["conditions"]]
    assert names == ["raising", "breaking away", "held on C1", "running back"]
    for name in ("load>G1", "A1", "T1", "G1", "C1", "anchor", "load"):
        assert any(line.split()[:1] == [name] for line in said.out.splitlines())
    # statics of a 3:1 held on its capture: the whole load on the strand at the load, nothing beyond
    held = {row["name"]: row["force_N"] for row in found["conditions"][2]["rows"]}
    assert held["load>G1"] == pytest.approx(813.0) and held["A1>T1"] == pytest.approx(0.0, abs=1e-9)
    # what nobody stated is null with its reason
    assert (
        found["conditions"][1]["load_N"] is None
        and "breakaway" in found["conditions"][1]["why_not"]
    )


def test_job_goes_stroke_by_stroke(haul, rig):
    said = haul("predict", rig, "--job")
    found = json.loads(haul("predict", rig, "--job", "--json").out)
    plain = json.loads(haul("predict", rig, "--json").out)
    for mode in ("each", "together"):
        strokes = found[mode]["strokes"]
        assert len(strokes) == plain["job"][mode]["strokes"]
        assert strokes[-1]["haul_m"] == pytest.approx(plain["job"][mode]["haul_travel_m"])
    assert "The job, each grab reset alone" in said.out
    assert "Rope lost to stretch: not known" in said.out


def test_the_handbook_rule_stands_apart_from_the_model(haul, rig):
    """Nicholls: S = (W + n W / 10) / P; two sheaves, power 3, 813 N: 325.2 N, where the model says 300 N."""
    (line,) = (x for x in haul("predict", rig).out.splitlines() if "handbook rule" in x)
    assert "2 sheaves: 2.50 : 1, haul force 325 N" in line


def test_an_anchor_beside_the_axis_answers_no_by_its_vector_sum(haul, tmp_path):
    """Haul at a right angle to the strand, e 0.9: hypot(0.9, 1) = 1.345 T; 1 kN allowed is 743 N of it."""
    path = tmp_path / "beside.toml"
    path.write_text(
        "anchor_to_load_m = 20.0\n[defaults]\npulley_efficiency = 0.9\n[further_anchor.P1]\nat_m = 0.0\nmbs_kN = 10\n"
        '[[rope]]\nname = "main"\npath = [ { tie = "load" }, { pulley = "S", on = "P1" }, '
        '{ haul = "team", toward_deg = 90 } ]\n',
        "utf-8",
    )
    within, beyond = (
        haul("predict", path, "--haul-force", 743),
        haul("predict", path, "--haul-force", 744),
    )
    assert (within.status, beyond.status) == (0, 1)
    assert "P1: 1.00 kN is over the allowed" in beyond.out
    assert "stop hauling at" in within.out and "707 N: P1" in within.out


def test_an_assumed_knot_is_said_and_gone_when_it_is_stated(haul, rig):
    text = rig.read_text("utf-8")
    assert "strength = 1.0" in text and "knot" not in haul("predict", rig).out
    rig.write_text(text.replace(", strength = 1.0", ""), "utf-8")
    said = haul("predict", rig)
    assert (
        '! load: the knot\'s strength is not stated; 0.50 is assumed; write knot = "bowline" or the like, or strength = ..., at the tie'
        in said.out
    )
    # 28 kN x 0.50 / 10 = 1400 N on three times the haul tension
    assert json.loads(haul("predict", rig, "--json").out)["stop_hauling_at"][
        "haul_force_N"
    ] == pytest.approx(1400 / 3)


def test_captures_and_places_have_a_table_and_json_of_their_own(haul, rig):
    said = haul("predict", rig, "--captures")
    rows = json.loads(haul("predict", rig, "--captures", "--json").out)["captures"]
    assert said.status == 0 and any(row["holds"] for row in rows)
    for row in rows:
        assert f"{row['from']}>{row['to']}" in said.out
    placed = json.loads(haul("predict", rig, "--place", "--json").out)
    text = haul("predict", rig, "--place").out
    assert placed["best"]["resets"] == 0 and "Best: each grab reset alone" in text
    assert haul("predict", rig, "--place", "--captures").status == 2
