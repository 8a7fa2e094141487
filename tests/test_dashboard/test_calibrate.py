"""`haul calibrate` against certified values."""

import json

import pytest

# NIST StRD, dataset Pontius (load cell, 40 points, quadratic): y in two runs for x = 150000 k
RUNS = (
    "0.11019 0.21956 0.32949 0.43899 0.54803 0.65694 0.76562 0.87487 0.98292 1.09146 "
    "1.20001 1.30822 1.41599 1.52399 1.63194 1.73947 1.84646 1.95392 2.06128 2.16844",
    "0.11052 0.22018 0.32939 0.43886 0.54798 0.65739 0.76596 0.87474 0.98300 1.09150 "
    "1.20004 1.30818 1.41613 1.52408 1.63159 1.73965 1.84696 1.95445 2.06177 2.16829",
)
CERTIFIED = [0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14]
DEVIATION = [0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16]


def test_certified_load_cell_data_are_met(haul, tmp_path):
    rows = ["applied,reading,run"]
    for run, values in enumerate(RUNS, 1):
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
    from logger.calibration import load

    # the certified curve solved for a deflection of 1.239722 by hand: 1 705 105.57
    assert load(out).apply(1.239722) == pytest.approx(1_705_105.57, abs=0.01)


def test_the_text_names_the_file_for_the_sensors(haul, tmp_path):
    points = tmp_path / "points.csv"
    points.write_text("applied,reading\n0,0.1\n10,1.1\n20,2.1\n30,3.1\n", "utf-8")
    said = haul("calibrate", points, "--out", tmp_path / "c.toml")
    assert "c0 = 0.1" in said.out and f'calibration = "{tmp_path / "c.toml"}"' in said.out
