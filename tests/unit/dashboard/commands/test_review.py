"""`haul review` and `haul compare` as people read them, and the table for spreadsheets."""

import csv
import json

import pytest

from analysis.review.si_series import zeros
from dashboard.export.csv_parquet import safe


def test_the_summary_says_what_the_json_says(haul, session):
    said = haul("review", session)
    assert said.status == 0, said.err
    found = json.loads(haul("review", session, "--json").out)
    assert found["state"] == "sealed"
    # 813 N known, 300 N hauled: 2.71, which is what the rig predicts
    assert found["measured"]["actual_ma"]["value"] == pytest.approx(2.71, rel=0.02)
    assert found["measured"]["load_force_method"] == "known"
    for text in (
        "mechanical advantage",
        "source of the load force: the rig file (known)",
        "Strokes: 1",
        "± ",
    ):
        assert text in said.out
    for text in found["warnings"]:
        assert f"! {text}"[:80] in said.out


def test_us_units(haul, session):
    assert "lbf" in haul("review", session, "--units", "us").out


def test_the_keys_are_those_of_the_interface(haul, session):
    from pathlib import Path

    example = json.loads(
        (Path(__file__).parents[4] / "tests/project/interface/review.json").read_text("utf-8")
    )
    found = json.loads(haul("review", session, "--json").out)
    assert list(found) == list(example)
    for key in ("predicted", "measured", "agreement"):
        assert sorted(found[key]) == sorted(example[key])
    for row in found["strokes"]:
        assert sorted(row) == sorted(example["strokes"][0])
    for row in found["events"]:
        assert sorted(row) == sorted(example["events"][0])
    for row in found["peaks"]:
        assert sorted(row) == sorted(example["peaks"][0])
    for row in found["messages"]:
        assert sorted(row) == sorted(example["messages"][0])
    assert found["warnings"] == [row["text"] for row in found["messages"]]
    for key, value in found["measured"].items():
        if isinstance(value, dict):
            assert sorted(value) == ["U95", "n", "u", "value"], key


def test_another_rig_is_a_what_if(haul, session, rig, tmp_path):
    other = tmp_path / "other.toml"
    other.write_text(rig.read_text("utf-8").replace("0.90", "0.80"), "utf-8")
    found = json.loads(haul("review", session, "--rig", other, "--json").out)
    assert found["predicted"]["model_ma"] == pytest.approx(2.44)  # 1 + 0.8 + 0.64


def test_csv_has_a_column_a_channel_in_si_named_with_its_unit(haul, session, data, tmp_path):
    out = tmp_path / "readings.csv"
    assert haul("review", session, "--csv", out).status == 0
    rows = list(csv.reader(out.read_text("utf-8").splitlines()))
    assert rows[0] == ["time_s", "haul_force [N]", "rope_out [m]"]
    sent = list(csv.reader(data.read_text("utf-8").splitlines()))[1:]
    assert len(rows) - 1 == len(sent)
    for row, was in zip(rows[1:], sent, strict=True):
        assert [float(cell) for cell in row] == pytest.approx([float(cell) for cell in was])


def test_csv_converts_units_and_takes_the_zero_off(haul, rig, sensors, tmp_path):
    text = sensors.read_text("utf-8").replace('unit = "N"', 'unit = "kgf"\nzero = 1.0')
    sensors.write_text(text, "utf-8")
    data, out = tmp_path / "d.csv", tmp_path / "o.csv"
    # two readings of one time, and none of the counter at the second
    data.write_text("time_s,haul_force,rope_out\n0,11,1\n0,21,2\n1,31,\n", "utf-8")
    session = tmp_path / "s"
    assert haul("import", data, "--rig", rig, "--sensors", sensors, "--out", session).status == 0
    assert haul("review", session, "--csv", out).status == 0
    rows = [row.split(",") for row in out.read_text("utf-8").splitlines()[1:]]
    # 1 kgf = 9.80665 N exactly (NIST SP 811, B.8)
    assert [float(row[1]) for row in rows] == pytest.approx([98.0665, 196.133, 294.1995])
    assert [row[2] for row in rows] == ["1", "2", ""]


def test_no_cell_of_the_csv_is_a_formula(haul, rig, sensors, data, tmp_path):
    for start in ("=", "+", "-", "@"):
        assert safe(f"{start}cmd()") == f"'{start}cmd()"
    assert safe("plain") == "plain"
    sensors.write_text(sensors.read_text("utf-8").replace("haul_force", "=1+1"), "utf-8")
    data.write_text(data.read_text("utf-8").replace("haul_force", "=1+1"), "utf-8")
    session, out = tmp_path / "s", tmp_path / "o.csv"
    said = haul("import", data, "--rig", rig, "--sensors", sensors, "--out", session)
    assert said.status == 0, said.err
    assert haul("review", session, "--csv", out).status == 0
    assert out.read_text("utf-8").startswith("time_s,'=1+1 [N],")


def test_compare_has_a_review_a_session(haul, session):
    found = json.loads(haul("compare", session, session, "--json").out)
    review = json.loads(haul("review", session, "--json").out)
    assert found == {"sessions": [review, review], "warnings": []}
    assert haul("compare", session, session).out.count("sealed") == 2


def test_a_zero_set_while_recording_holds_from_its_time_until_it_is_undone():
    from logger.session.records import Event

    events = (
        Event(1.0, "a", "zero", "haul_force", 2.5, "old zero 0"),
        Event(2.0, "b", "zero", "rope_out", 9.0, "old zero 0"),
        Event(3.0, "c", "mark", "haul_force", None, "here"),
        Event(4.0, "d", "undo", "haul_force", 0.0, "a"),
        Event(5.0, "e", "undo", "haul_force", None, "c"),
    )
    assert zeros(events, "haul_force") == [(1.0, 2.5), (4.0, 0.0)]


def test_the_mean_of_everything_and_the_budgets_stand_beside(haul, session):
    """The plain mean of all readings takes in holding and resets; the budget's shares make 100 %."""
    said = haul("review", session).out
    assert "mean of all readings of the haul cell" in said
    assert "includes holding and resets" in said
    table = said.split("Where the uncertainty of the efficiency comes from")[1].split("\n\n")[0]
    rows = [line for line in table.splitlines() if "%" in line]
    shares = [float(row.split()[-2]) for row in rows]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(100, abs=3)
    assert any("load in the rig file" in row for row in rows)


def test_a_load_from_a_session_that_does_not_tell_it_is_one_line(haul, session, tmp_path):
    said = haul("review", session, "--load-from", session)
    assert said.status == 2
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "no cell in line with the load" in said.err
    assert haul("review", session, "--load-from", tmp_path / "none").status == 2
