"""`haul calibrate` against certified data and published worked examples.

NIST StRD (Statistical Reference Datasets, linear least squares): Pontius, a load cell; Norris, a
straight line; NoInt1, a line through zero. Points and certified values as quoted in public copies
of the datasets. Each test says how many digits agree: the log relative error, -log10 of
|found - certified| / |certified|; the certified values have 15 digits themselves.
JCGM 100:2008 (GUM), example H.3. ASTM E74-18, 7.1.2 and 8.5: the lower limit factor.
"""

import json
import math
import re

import pytest
from support.nist import NORRIS, PONTIUS

from logger.calibration.calibration import load

# JCGM 100:2008, table H.6: thermometer, reading t and correction b; t0 = 20 C
THERMOMETER = [
    (21.521, -0.171), (22.012, -0.169), (22.512, -0.166), (23.003, -0.159), (23.507, -0.164),
    (23.999, -0.165), (24.513, -0.156), (25.002, -0.157), (25.503, -0.159), (26.010, -0.161),
    (26.511, -0.160),
]  # fmt: skip

PONTIUS_ROWS = [
    (f"{150000 * k}", y, str(run))
    for run, values in enumerate(PONTIUS, 1)
    for k, y in enumerate(values.split(), 1)
]
SETS = {
    "Pontius": (
        PONTIUS_ROWS, ["--degree", "2"],
        [0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14],
        [0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16],
        0.205177424076185e-03,
    ),
    "Norris": (
        [(x, y, "1") for y, x in NORRIS], [],
        [-0.262323073774029, 1.00211681802045],
        [0.232818234301152, 0.429796848199937e-03],
        0.884796396144373,
    ),
    "NoInt1": (  # residual standard deviation from memory
        [(x, x + 70, "1") for x in range(60, 71)], ["--through-zero"],
        [0.0, 2.07438016528926], [0.0, 0.165289256198347e-01], 3.56753034006338,
    ),
}  # fmt: skip
# Of 15 certified digits the last is rounded, so 14.3 is all that can be asked of every value.
AGREE = 14.3


@pytest.fixture
def calibrate(tmp_path, capsys):
    """Make the call on rows (applied, reading, run): the JSON, the text, the curve of the file."""
    from dashboard.cli import main

    def call(rows, *options):
        points, out = tmp_path / "points.csv", tmp_path / "cell.toml"
        lines = ["applied,reading,run", *(",".join(map(str, row)) for row in rows)]
        points.write_text("\n".join(lines) + "\n", "utf-8")
        argv = ["calibrate", str(points), "--out", str(out), *options]
        assert main([*argv, "--json"]) == 0
        found = json.loads(capsys.readouterr().out)
        assert main(argv) == 0
        return found, capsys.readouterr().out, load(out)

    return call


def agreeing_digits(computed, certified):
    if computed == certified:
        return 15.0
    return min(15.0, -math.log10(abs(computed - certified) / abs(certified)))


@pytest.mark.parametrize("name", SETS)
def test_certified_digits(calibrate, name):
    """Can catch: any loss of digits in the fit, its deviations, the residual, or the file.  Cannot catch: weights and
    hysteresis, which these sets have not.
    """
    rows, options, coefficients, deviations, residual = SETS[name]
    found, _, curve = calibrate(rows, *options)
    assert len(found["coefficients"]) == len(coefficients)
    digits = [
        min(map(agreeing_digits, found["coefficients"], coefficients)),
        min(map(agreeing_digits, found["coefficients_u"], deviations)),
        agreeing_digits(found["residual_sd"], residual),
    ]
    print(f"{name}: digits that agree: coefficients {digits[0]:.1f}, their standard deviations "
          f"{digits[1]:.1f}, residual standard deviation {digits[2]:.1f}")  # fmt: skip
    assert min(digits) >= AGREE
    assert curve.coefficients == tuple(found["coefficients"])  # the file loses nothing


def test_load_cell_read_backwards(calibrate):
    """1.239722 on the Pontius cell: 1 705 105.57, from the certified curve by the formula of the
    quadratic; the NIST/SEMATECH handbook's rounded 1 705 106 is remembered.

    Can catch: the other root of the quadratic.  Cannot catch: the handbook's own figure, which is from memory.
    """
    _, _, curve = calibrate(PONTIUS_ROWS, "--degree", "2")
    b0, b1, b2 = SETS["Pontius"][2]
    by_hand = (-b1 + math.sqrt(b1 * b1 - 4 * b2 * (b0 - 1.239722))) / (2 * b2)
    assert by_hand == pytest.approx(1_705_105.57, abs=0.005)
    assert curve.apply(1.239722) == pytest.approx(by_hand, abs=1e-5)


def test_lower_limit_factor_and_classes_of_the_load_cell(calibrate, tmp_path):
    """ASTM E74-18, 7.1.2 and 8.5: LLF = 2.4 s in force units by the average force/deflection; class
    A from 400 LLF, AA from 2000 LLF. On the certified s: 676.549, 270 620, 1 353 098.

    Can catch: another factor, or deflection for force.  Cannot catch: the standard's rules for taking the points.
    """
    import tomllib

    _, said, _ = calibrate(PONTIUS_ROWS, "--degree", "2", "--unit", "N")
    terms = tomllib.loads((tmp_path / "cell.toml").read_text("utf-8"))["terms"]
    assert terms["llf"] == pytest.approx(676.549, abs=5e-4)
    assert terms["class_a_from"] == pytest.approx(270_620, abs=0.5)
    assert terms["class_aa_from"] == pytest.approx(1_353_098, abs=0.5)
    assert re.search(r"LLF \(ASTM E74\) +676\.549 N", said)
    assert re.search(r"class AA from \(ASTM E74\) +1353098 N", said)
    assert "no calibration certificate" in said and "not a classification" in said


def test_thermometer_of_the_gum_from_points_to_a_prediction(calibrate):
    """JCGM 100:2008, H.3: y1 = -0.1712 C, y2 = 0.00218, r = -0.930, b(30 C) = -0.1494 C with
    u = 0.0041 C and 9 degrees of freedom. s(y1) 0.0029, s(y2) 0.00067, s 0.0035: from memory.

    Can catch: a correlation left out, a wrong number of degrees.  Cannot catch: an error below the printed digits.
    """
    found, said, curve = calibrate([(f"{t - 20:.3f}", b, 1) for t, b in THERMOMETER])
    assert found["coefficients"] == pytest.approx([-0.1712, 0.00218], abs=5e-5)
    assert found["coefficients_u"] == pytest.approx([0.0029, 0.00067], rel=0.01)
    assert found["residual_sd"] == pytest.approx(0.0035, rel=0.01)
    assert curve.correlation(0, 1) == pytest.approx(-0.930, abs=5e-4)
    assert curve.dof == 9 and "9 degrees of freedom" in said and "-0.930" in said
    slope = curve.coefficients[1]
    assert curve.reading(10.0) == pytest.approx(-0.1494, abs=5e-5)
    assert curve.u_curve(10.0) * slope == pytest.approx(0.0041, abs=5e-5)
    # without the correlation the answer is another, and wrong (the note of H.3.4)
    u0, u1 = found["coefficients_u"]
    assert math.hypot(u0, 10 * u1) == pytest.approx(0.0073, abs=5e-5)
    # and a single new reading scatters too: s joins in, 0.0054186 by the same numbers
    assert curve.u_applied(10.0) * slope == pytest.approx(0.0054186, abs=1e-6)


def test_the_unit_of_the_load_costs_no_digit(calibrate):
    """Pontius with loads in MN: the powers of the load are then 24 orders nearer to each other.

    Can catch: a fit that depends on the unit.  Cannot catch: more than `test_certified_digits` on a good fit.
    """
    rows = [(f"{float(x) / 1e6:.2f}", y, run) for x, y, run in PONTIUS_ROWS]
    found, _, _ = calibrate(rows, "--degree", "2")
    certified = [c * 1e6**power for power, c in enumerate(SETS["Pontius"][2])]
    assert min(map(agreeing_digits, found["coefficients"], certified)) >= AGREE
