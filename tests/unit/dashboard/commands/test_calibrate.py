"""`haul calibrate`: the call, what it prints, what it refuses, and the field's two recipes."""

import json
import tomllib

import pytest
from support.channels import channel, json_channel
from support.nist import PONTIUS

from logger.calibration.calibration import load
from logger.channels.sensors_file import parse_sensors

# NIST StRD, dataset Pontius (load cell, 40 points, quadratic)
CERTIFIED = [0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14]
DEVIATION = [0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16]


def test_certified_load_cell_data_are_met(haul, tmp_path):
    rows = ["applied,reading,run"]
    for run, values in enumerate(PONTIUS, 1):
        rows += [f"{150000 * k},{y},{run}" for k, y in enumerate(values.split(), 1)]
    points, out = tmp_path / "points.csv", tmp_path / "cell.toml"
    points.write_text("\n".join(rows) + "\n", "utf-8")
    said = haul("calibrate", points, "--out", out, "--degree", 2, "--json")
    assert said.status == 0, said.err
    found = json.loads(said.out)
    assert list(found) == ["degree", "coefficients", "coefficients_u", "residual_sd", "n"]
    assert (found["degree"], found["n"]) == (2, 40)
    assert found["coefficients"] == pytest.approx(CERTIFIED, rel=1e-9)
    assert found["coefficients_u"] == pytest.approx(DEVIATION, rel=1e-9)
    assert found["residual_sd"] == pytest.approx(0.205177424076185e-03, rel=1e-9)
    # the certified curve solved for a deflection of 1.239722 by hand: 1 705 105.57
    assert load(out).apply(1.239722) == pytest.approx(1_705_105.57, abs=0.01)


def test_the_text_names_the_file_for_the_sensors(haul, tmp_path):
    points = tmp_path / "points.csv"
    points.write_text("applied,reading\n0,0.1\n10,1.1\n20,2.1\n30,3.1\n", "utf-8")
    said = haul("calibrate", points, "--out", tmp_path / "c.toml")
    assert "c0 = 0.1" in said.out and f'calibration = "{tmp_path / "c.toml"}"' in said.out


LOADED = """applied,reading,run
0,10.0,1
1000,110.0,1
4000,411.0,1
1000,110.8,1
0,10.4,1
0,10.2,2
1000,110.5,2
4000,411.4,2
"""


@pytest.fixture
def points(tmp_path):
    path = tmp_path / "points.csv"
    path.write_text(LOADED, "utf-8")
    return path


def test_the_standards_terms_are_figures_and_no_certificate(haul, points, tmp_path):
    said = haul("calibrate", points, "--out", tmp_path / "c.toml", "--unit", "N")
    assert said.status == 0, said.err
    for words in ("repeatability b' (ISO 376)", "reversibility v (ISO 376)", "0.8 %",
                  "zero return f0 (ISO 376)", "lower limit factor LLF (ASTM E74)",
                  "this is no calibration certificate"):  # fmt: skip
        assert words in said.out
    kept = (tmp_path / "c.toml").read_text("utf-8")
    assert tomllib.loads(kept)["terms"]["reversibility_percent"] == pytest.approx(0.8)
    assert "no calibration certificate" in kept


def test_what_is_not_known_is_said_with_the_reason(haul, tmp_path):
    points = tmp_path / "points.csv"
    points.write_text("applied,reading\n0,0\n1000,100\n2000,201\n", "utf-8")
    said = haul("calibrate", points, "--out", tmp_path / "c.toml")
    assert "not known: the table has no column run" in said.out
    assert "not known: no run has falling forces" in said.out
    # by hand: the line through these is -1/6 + 0.1005 applied, off most at 1000
    assert "greatest departure from the curve: 0.333 reading, at 1000" in said.out


def test_one_known_mass_hung_on_the_cell(haul, tmp_path):
    """The boatyard's 20 kg weight, known to 50 g: two points, and the doubt is that of the mass."""
    points, out = tmp_path / "points.csv", tmp_path / "cell.toml"
    points.write_text("applied,reading\n0,12.1\n20,208.4\n", "utf-8")
    refused = haul("calibrate", points, "--out", out, "--unit", "kg")
    assert refused.status == 2 and "too few" in refused.err and "--applied-u" in refused.err
    assert not out.exists()
    argv = ["calibrate", points, "--out", out, "--unit", "kg", "--applied-u", "0.05"]
    found = json.loads(haul(*argv, "--json").out)
    assert list(found) == ["degree", "coefficients", "coefficients_u", "residual_sd", "n"]
    assert found["residual_sd"] is None and found["n"] == 2
    assert found["coefficients"] == pytest.approx([12.1, 196.3 / (20 * 9.80665)])
    said = haul(*argv)
    assert "g = 9.80665 m/s2" in said.out and "not known" in said.out
    text = json_channel("f", "force", "f", 'calibration = "cell.toml"')
    cell = parse_sensors(text, "s.toml", tmp_path).channels[0]
    assert cell.si(208.4) == pytest.approx(20 * 9.80665)
    assert cell.u_si(20 * 9.80665) == pytest.approx(0.05 * 9.80665, rel=0.01)
    assert cell.u_si(0.0) > 0.0


def test_counts_per_metre_from_a_taped_length(haul, tmp_path):
    """Marks taped on the rope at 5, 10, 15, 20 m; 2,000 counts a metre, a mark good to 5 mm."""
    points, out = tmp_path / "points.csv", tmp_path / "counter.toml"
    points.write_text("applied,reading\n5,9992\n10,20006\n15,30011\n20,39994\n", "utf-8")
    said = haul("calibrate", points, "--out", out, "--unit", "m", "--through-zero",
                "--applied-u", "0.005")  # fmt: skip
    assert said.status == 0, said.err
    assert "c0" not in said.out and "reading/m" in said.out and " N" not in said.out.split("ISO")[0]
    assert "are about forces" in said.out
    curve = load(out)
    assert curve.coefficients == (0.0, pytest.approx(2000.0, abs=0.5))
    text = channel(
        "rope", "length", format="json", id="r", unit="count", calibration="counter.toml"
    )
    counter = parse_sensors(text, "s.toml", tmp_path).channels[0]
    assert counter.si(24_000.0) == pytest.approx(12.0, abs=0.005)
    assert 0.002 < counter.u_si(12.0) < 0.01


def test_the_column_of_doubts_takes_the_place_of_the_option(haul, tmp_path):
    points, out = tmp_path / "points.csv", tmp_path / "c.toml"
    points.write_text("applied,reading,applied_u\n0,1,0\n200,201,0.5\n", "utf-8")
    assert haul("calibrate", points, "--out", out).status == 0
    assert load(out).u_applied(200.0) == pytest.approx(0.65, rel=0.05)
    twice = haul("calibrate", points, "--out", out, "--applied-u", "1")
    assert twice.status == 2 and "leave one of them out" in twice.err


def test_a_coarser_step_than_is_written_can_be_stated(haul, tmp_path):
    points, out = tmp_path / "points.csv", tmp_path / "c.toml"
    points.write_text("applied,reading\n0,0.00\n100,100.00\n200,200.00\n", "utf-8")
    haul("calibrate", points, "--out", out)
    fine = load(out).u_applied(100.0)
    haul("calibrate", points, "--out", out, "--resolution", "5")
    # d / sqrt(12) for the reading, with the curve's own doubt
    assert 0.0 < fine < 0.01 and load(out).u_applied(100.0) == pytest.approx(
        5 / 12**0.5 * (4 / 3) ** 0.5
    )


def test_nothing_is_written_over_but_a_calibration(haul, points, tmp_path):
    letter = tmp_path / "letter.txt"
    letter.write_text("keep me\n", "utf-8")
    for out, words in ((points, "table of points itself"), (letter, "not a calibration")):
        before = out.read_bytes()
        said = haul("calibrate", points, "--out", out)
        assert (said.status, said.err.count("\n")) == (2, 1) and words in said.err
        assert out.read_bytes() == before
    assert haul("calibrate", points, "--out", tmp_path).status == 2
    for _ in range(2):  # a calibration may be made anew
        assert haul("calibrate", points, "--out", tmp_path / "c.toml").status == 0


@pytest.mark.parametrize(
    ("row", "words"),
    [("5 kg,100,1", "without a unit"), ('"1,5",100,1', "write 1.5"), ("1,2,3,4", "4 cells"),
     ("1,,1", "reading is empty"), ("1,1e999,1", "too large"), ("inf,3,1", "not a number")],
)  # fmt: skip
def test_a_fault_in_the_table_is_one_line_with_its_row(haul, points, tmp_path, row, words):
    points.write_text(LOADED + row + "\n", "utf-8")
    said = haul("calibrate", points, "--out", tmp_path / "c.toml")
    assert (said.status, said.out, said.err.count("\n")) == (2, "", 1)
    assert f"{points}: line 10: " in said.err and words in said.err
    assert not (tmp_path / "c.toml").exists()
