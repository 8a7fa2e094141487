"""Fits held against certified values, and the inverse against the fit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from logger import calibration
from logger.errors import SensorsFault
from logger.sensors import parse_sensors

# NIST StRD, Linear Least Squares, dataset Pontius (load cell); points and certified values as
# collected in check-values.md 1.1
PONTIUS_1 = [0.11019, 0.21956, 0.32949, 0.43899, 0.54803, 0.65694, 0.76562, 0.87487, 0.98292,
             1.09146, 1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392,
             2.06128, 2.16844]
PONTIUS_2 = [0.11052, 0.22018, 0.32939, 0.43886, 0.54798, 0.65739, 0.76596, 0.87474, 0.98300,
             1.09150, 1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445,
             2.06177, 2.16829]
LOADS = [150_000.0 * k for k in range(1, 21)] * 2
# NIST StRD, dataset Norris; check-values.md 1.2
NORRIS = [(0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1), (228.1, 226.5),
          (668.5, 666.3), (998.5, 996.3), (449.1, 448.6), (778.9, 777.0), (559.2, 558.2),
          (0.3, 0.4), (0.1, 0.6), (778.1, 775.5), (668.8, 666.9), (339.3, 338.0), (448.9, 447.5),
          (10.8, 11.6), (557.7, 556.0), (228.3, 228.1), (998.0, 995.8), (888.8, 887.6),
          (119.6, 120.2), (0.3, 0.3), (0.6, 0.3), (557.6, 556.8), (339.3, 339.1), (888.0, 887.2),
          (998.5, 999.0), (778.9, 779.0), (10.2, 11.1), (117.6, 118.3), (228.9, 229.2),
          (668.4, 669.1), (449.2, 448.9), (0.2, 0.5)]
# JCGM 100:2008 (GUM), table H.6; check-values.md 1.3
THERMOMETER = [(21.521, -0.171), (22.012, -0.169), (22.512, -0.166), (23.003, -0.159),
               (23.507, -0.164), (23.999, -0.165), (24.513, -0.156), (25.002, -0.157),
               (25.503, -0.159), (26.010, -0.161), (26.511, -0.160)]


def test_pontius_to_nine_digits() -> None:
    curve = calibration.fit(LOADS, PONTIUS_1 + PONTIUS_2, 2)
    certified = (0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14)
    deviations = (0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16)
    assert curve.coefficients == pytest.approx(certified, rel=1e-9, abs=0)
    assert curve.coefficients_u == pytest.approx(deviations, rel=1e-9, abs=0)
    assert curve.residual_sd == pytest.approx(0.205177424076185e-03, rel=1e-9)
    # inverse of 1.239722, derived in check-values.md 1.1
    assert curve.apply(1.239722) == pytest.approx(1_705_105.57, abs=0.01)


def test_norris_to_nine_digits() -> None:
    y, x = zip(*NORRIS, strict=True)
    curve = calibration.fit(x, y, 1)
    assert curve.coefficients == pytest.approx((-0.262323073774029, 1.00211681802045), rel=1e-9)
    assert curve.coefficients_u == pytest.approx(
        (0.232818234301152, 0.429796848199937e-03), rel=1e-9)
    assert curve.residual_sd == pytest.approx(0.884796396144373, rel=1e-9)


def test_gum_thermometer() -> None:
    t, b = zip(*THERMOMETER, strict=True)
    curve = calibration.fit([value - 20.0 for value in t], b, 1)
    assert curve.coefficients == pytest.approx((-0.1712, 0.00218), abs=5e-5)
    # u of a new single observation at 30 C, 0.0054186 (derived in check-values.md 1.3), as x
    assert curve.u_applied(10.0) * curve.coefficients[1] == pytest.approx(0.0054186, abs=1e-6)


@pytest.mark.parametrize("degree", [1, 2, 3])
def test_the_inverse_undoes_the_curve_for_numbers_and_arrays(degree: int) -> None:
    x = np.linspace(0.0, 5000.0, 30)
    y = 120.0 + 0.4 * x + (1e-6 * x**2 if degree > 1 else 0) - (1e-10 * x**3 if degree > 2 else 0)
    curve = calibration.fit(x, y, degree)
    assert np.allclose(curve.apply(y), x, atol=1e-6)
    assert curve.apply(float(y[7])) == pytest.approx(x[7], abs=1e-6)


def test_saved_and_loaded_it_is_the_same(tmp_path: Path) -> None:
    curve = calibration.fit(LOADS, PONTIUS_1 + PONTIUS_2, 2)
    calibration.save(curve, tmp_path / "cell.toml")
    assert calibration.load(tmp_path / "cell.toml") == curve


def test_a_channel_takes_its_calibration_and_applies_the_zero_first(tmp_path: Path) -> None:
    curve = calibration.fit([0.0, 1000.0, 2000.0, 3000.0], [8000.0, 8500.0, 9000.1, 9500.0], 1)
    calibration.save(curve, tmp_path / "cell-1.toml")
    text = """
    [[channel]]
    name = "f"
    quantity = "force"
    at = "haul"
    format = "json"
    id = "f"
    unit = "count"
    scale = 17.0
    zero = 10.0
    calibration = "cell-1.toml"
    """
    channel = parse_sensors(text, "s.toml", tmp_path).channels[0]
    assert channel.si(8510.0) == pytest.approx(1000.0, abs=0.2)
    assert channel.u_si(1000.0) == curve.u_applied(1000.0)
    # a zero taken at rest makes that rest nothing, whatever the curve's own c0 is
    assert channel.si(8023.0, channel.zero_for(8023.0)) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("x", "y", "degree", "said"),
    [([1, 2], [1, 2], 1, "too few"), ([1, 1, 1], [1, 2, 3], 1, "different"),
     ([1, 2, 3], [1, 1, 1], 1, "inverted"), ([0, 1, 2, 3, 4], [0, 3, 4, 3, 0], 2, "inverted"),
     ([1, 2, 3], [1, 2, float("nan")], 1, "finite"), ([1, 2, 3], [1, 2, 3], 4, "out of range")],
)
def test_points_that_give_no_curve_are_refused(
    x: list[float], y: list[float], degree: int, said: str
) -> None:
    with pytest.raises(SensorsFault, match=said):
        calibration.fit(x, y, degree)


@pytest.mark.parametrize(
    ("text", "said"),
    [("", "is empty|must be one column"), ("applied,reding\n", 'unknown column "reding"'),
     ("applied,reading\n1,x\n", "line 2.*not a finite number"),
     ("applied,reading\n1,nan\n", "line 2"), ("applied,reading\n1\n", "line 2: 1 cells")],
)
def test_a_table_of_points_names_the_line_at_fault(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "p.csv").write_text(text)
    with pytest.raises(SensorsFault, match=said):
        calibration.read_points(tmp_path / "p.csv")


@pytest.mark.parametrize("line", ["degree = 9", "n = -1", "covariance = [[1]]", "extra = 1",
                                  'residual_sd = "x"', "coefficients = [1, inf]"])
def test_a_spoilt_calibration_file_is_refused(tmp_path: Path, line: str) -> None:
    calibration.save(calibration.fit([0, 1, 2, 3], [0, 1, 2.1, 3], 1), tmp_path / "c.toml")
    key = line.split(" =")[0]
    kept = []
    inside = False
    for old in (tmp_path / "c.toml").read_text().splitlines():
        inside = inside or old.startswith(key + " =")
        if not inside:
            kept.append(old)
        inside = inside and not (old == "]" or ("[" not in old or old.endswith("]")))
    with pytest.raises(SensorsFault):
        calibration.parse("\n".join([*kept, line]), "c.toml")
