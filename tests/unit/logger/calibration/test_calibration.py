"""The fit, its inverse, what is worth how much, and tables of points that are wrong."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.channels import channel

from logger.calibration import calibration
from logger.channels.sensors_file import parse_sensors
from logger.errors import SensorsFault

# our own: a boatyard's 5 kN cell, somewhat curved, read to 0.1
CELL_N = [0.0, 500.0, 1000.0, 2000.0, 3000.0, 4000.0, 5000.0]
CELL_READS = [12.1, 212.0, 411.6, 809.9, 1207.1, 1603.0, 1998.2]


@pytest.mark.parametrize("degree", [1, 2, 3])
def test_the_inverse_undoes_the_curve_for_numbers_and_arrays(degree: int) -> None:
    x = np.linspace(0.0, 5000.0, 30)
    y = 120.0 + 0.4 * x + (1e-6 * x**2 if degree > 1 else 0) - (1e-10 * x**3 if degree > 2 else 0)
    curve = calibration.fit(x, y, degree)
    assert np.allclose(curve.apply(y), x, atol=1e-6)
    assert curve.apply(float(y[7])) == pytest.approx(x[7], abs=1e-6)


def counts(**keys: str | float) -> str:
    """A cell that sends counts, with these further keys."""
    return channel("f", "force", format="json", id="f", unit="count", **keys)


def test_saved_and_loaded_it_is_the_same(tmp_path: Path) -> None:
    curve = calibration.fit(CELL_N, CELL_READS, 2, applied_u=[1.0] * len(CELL_N), resolution=0.1)
    bare = calibration.fit(
        quantity="force",
        applied=[0.0, 200.0],
        reading=[1.0, 90.0],
        applied_u=[0.0, 1.0],
        resolution=0.1,
    )
    tared = calibration.fit([100.0, 200.0], [1.0, 2.1], 1, through_zero=True)
    said = {"llf": 7.5, "reversibility_percent": 'not known: a "quoted" \\ reason'}
    for found in (curve, bare, tared):
        calibration.save(found, tmp_path / "cell.toml", said)
        assert calibration.load(tmp_path / "cell.toml") == found


def test_a_channel_takes_its_calibration_and_applies_the_zero_first(tmp_path: Path) -> None:
    curve = calibration.fit([0.0, 1000.0, 2000.0, 3000.0], [8000.0, 8500.0, 9000.1, 9500.0], 1)
    calibration.save(curve, tmp_path / "cell-1.toml")
    text = counts(scale=17.0, zero=10.0, calibration="cell-1.toml")
    channel = parse_sensors(text, "s.toml", tmp_path).channels[0]
    assert channel.si(8510.0) == pytest.approx(1000.0, abs=0.2)
    assert channel.u_si(1000.0) == curve.u_tared(1000.0)  # it has a zero of its own
    assert channel.u_si(1000.0, 0.0) == curve.u_applied(1000.0)
    # a zero taken at rest makes that rest nothing, whatever the curve's own c0 is
    assert channel.si(8023.0, channel.zero_for(8023.0)) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("x", "y", "degree", "said"),
    [
        ([1, 2], [1, 2], 1, "too few"),
        ([1, 1, 1], [1, 2, 3], 1, "different"),
        ([1, 2, 3], [1, 1, 1], 1, "inverted"),
        ([0, 1, 2, 3, 4], [0, 3, 4, 3, 0], 2, "inverted"),
        ([1, 2, 3], [1, 2, float("nan")], 1, "finite"),
        ([1, 2, 3], [1, 2, 3], 4, "out of range"),
    ],
)
def test_points_that_give_no_curve_are_refused(
    x: list[float], y: list[float], degree: int, said: str
) -> None:
    with pytest.raises(SensorsFault, match=said):
        calibration.fit(x, y, degree)


@given(
    x=st.lists(st.integers(-5000, 5000), min_size=6, max_size=30, unique=True),
    noise=st.lists(st.floats(-1.0, 1.0), min_size=30, max_size=30),
    degree=st.integers(1, 2),
)
@settings(max_examples=60, deadline=None)
def test_the_fit_is_that_of_a_general_library(
    x: list[int], noise: list[float], degree: int
) -> None:
    """Against numpy's least squares on the same points, numbers and covariance."""
    reads = [7.0 + 0.4 * v + 1e-6 * v * v + e for v, e in zip(x, noise, strict=False)]
    curve = calibration.fit(x, reads, degree)
    at = np.array(x) / 5000.0
    powers = at[:, None] ** np.arange(degree + 1)
    c, *_ = np.linalg.lstsq(powers, np.array(reads), rcond=None)
    s2 = float(np.sum((reads - powers @ c) ** 2)) / (len(x) - degree - 1)
    cov = np.linalg.inv(powers.T @ powers) * s2
    back = 5000.0 ** np.arange(degree + 1)
    assert np.allclose(np.array(curve.coefficients) * back, c, rtol=1e-7, atol=1e-7)
    assert np.allclose(
        np.array(curve.covariance) * np.outer(back, back), cov, rtol=1e-5, atol=1e-12
    )


@pytest.mark.parametrize("degree", [2, 3])
@pytest.mark.parametrize("bend", [1e-9, -0.009, 0.009])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_beyond_its_points_a_greater_reading_is_never_worth_less(
    degree: int, bend: float, sign: float
) -> None:
    """Also where the fitted curve turns just beyond them: at 5,556 N for 100 x - 0.009 x^2."""
    x = np.linspace(0.0, 5000.0, 21)
    curve = calibration.fit(x, sign * (100.0 * x + bend * x**2 + 20.0 * np.cos(x)), degree)
    reads = sign * np.linspace(-1e6, 2e6, 4001)
    worth = curve.apply(reads)
    assert np.isfinite(worth).all() and (np.diff(worth) > 0).all()
    u = curve.u_applied(worth)
    assert np.isfinite(u).all() and (u > 0).all()
    one = [curve.apply(float(r)) for r in reads[::50]]
    assert np.allclose(one, worth[::50], rtol=1e-9, atol=1e-6)
    inside = (worth > 0) & (worth < 5000)
    assert inside.any() and np.allclose(curve.reading(worth[inside]), reads[inside], atol=1e-5)


def test_one_known_mass_gives_a_scale_and_what_it_is_worth() -> None:
    """Two points: the scale by division, its uncertainty by hand (JCGM 100:2008, 5.1.2)."""
    force, force_u, step = 20.0 * 9.80665, 0.05 * 9.80665, 0.1
    curve = calibration.fit(
        [0.0, force], [12.1, 208.4], 1, applied_u=[0.0, force_u], resolution=step
    )
    span = 208.4 - 12.1
    assert curve.coefficients == pytest.approx((12.1, span / force))
    assert (curve.residual_sd, curve.dof) == (None, 0)
    reading_u = step / 12**0.5
    relative = ((force_u / force) ** 2 + 2 * (reading_u / span) ** 2) ** 0.5
    assert curve.coefficients_u == pytest.approx((reading_u, span / force * relative))
    # at ten times the mass the doubt of the mass is ten times itself
    assert curve.u_applied(10 * force) == pytest.approx(10 * force_u, rel=0.05)
    for place in (0.0, 1.0, force, 5000.0):
        assert curve.u_applied(place) > 0.0


def test_with_a_zero_of_its_own_a_reading_is_a_difference_of_two() -> None:
    """Against Monte Carlo (JCGM 101): calibrate, take a zero, read; then see how far it is off."""
    x = np.array([0.0, 1000.0, 2000.0, 3000.0, 4000.0, 5000.0])
    rng, s, place = np.random.default_rng(6), 1.0, 5000.0
    off, said = [], []
    for _ in range(1500):
        curve = calibration.fit(x, 8000.0 + 0.4 * x + s * rng.standard_normal(6), 1)
        rest, loaded = np.array([8000.0, 8000.0 + 0.4 * place]) + s * rng.standard_normal(2)
        off.append(curve.apply(float(loaded - (rest - curve.coefficients[0]))) - place)
        said.append(curve.u_tared(place) ** 2)
    assert np.mean(said) ** 0.5 == pytest.approx(np.std(off), rel=0.05)


def test_a_counter_s_calibration_is_refused_for_a_cell(tmp_path: Path) -> None:
    curve = calibration.fit([0, 1, 2, 3], [0, 1, 2.1, 3], 1, quantity="length")
    calibration.save(curve, tmp_path / "counter.toml")
    text = counts(calibration="counter.toml")
    with pytest.raises(
        SensorsFault, match=r"counter\.toml calibrates a length, but this channel measures a force"
    ):
        parse_sensors(text, "s.toml", tmp_path)
    parse_sensors(text.replace('"force"', '"length"'), "s.toml", tmp_path)


def test_errors_of_the_applied_values_reach_a_reading() -> None:
    """Against Monte Carlo (JCGM 101) with numpy's polyfit: a mass hung three times is one error,
    different masses are different errors."""
    x = [0.0, 500.0, 1000.0, 1000.0, 1000.0, 2000.0]
    u = [0.0, 4.0, 5.0, 5.0, 5.0, 8.0]
    reads = [0.4 * v for v in x]
    curve = calibration.fit(x, reads, 1, applied_u=u, resolution=1e-6)
    rng = np.random.default_rng(5)
    trials = []
    for _ in range(4000):
        a, b, c = rng.standard_normal(3)
        off = np.array([0.0, 4.0 * a, 5.0 * b, 5.0 * b, 5.0 * b, 8.0 * c])
        # what was read is sure; what was applied is somewhere near what the table says
        k1, k0 = np.polyfit(np.array(x), 0.4 * (np.array(x) + off), 1)
        trials.append((np.array([0.4 * 800.0, 0.4 * 3000.0]) - k0) / k1)
    for place, drawn in zip((800.0, 3000.0), np.std(trials, axis=0), strict=True):
        assert curve.u_curve(place) == pytest.approx(drawn, rel=0.06)


def test_points_without_scatter_still_have_the_doubt_of_the_last_digit() -> None:
    curve = calibration.fit([0, 1, 2, 3], [0, 10, 20, 30], 1, resolution=1.0)
    assert curve.residual_sd == 0.0
    assert curve.reading_u == pytest.approx(1.0 / 12**0.5)
    assert curve.u_applied(2.0) > 0.028


def test_two_points_alone_are_too_few_unless_their_doubt_is_stated() -> None:
    with pytest.raises(SensorsFault, match=r"2 points are too few.*--applied-u"):
        calibration.fit([0, 200], [1, 90], 1, resolution=0.1)
    with pytest.raises(SensorsFault, match="too few"):
        calibration.fit([0, 200], [1, 90], 1, applied_u=[0, 1.0])  # no word of the resolution


def test_a_curve_that_floats_cannot_hold_is_refused() -> None:
    x = [1e6 + k * 0.01 for k in range(12)]
    with pytest.raises(SensorsFault, match=r"inverted|too close together"):
        calibration.fit(x, [v * 1e-3 + 1e-3 * (k % 2) for k, v in enumerate(x)], 3)
    with pytest.raises(SensorsFault, match="scatter more than they change"):
        calibration.fit([0, 1, 2, 3], [5.0, 7.0, 5.1, 6.9], 1)
    with pytest.raises(SensorsFault, match="too large or too small"):
        calibration.fit([0, 1e-300, 2e-300], [0, 1e200, 2.1e200], 1)


@pytest.mark.parametrize(
    "line",
    [
        "degree = 9",
        "n = -1",
        "covariance = [[1]]",
        "extra = 1",
        'residual_sd = "x"',
        "coefficients = [1, inf]",
        "terms = 1",
        'through_zero = "yes"',
        "resolution = 0",
        "n = 2",
    ],
)
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
