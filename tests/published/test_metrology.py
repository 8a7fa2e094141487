"""Uncertainty after the GUM against its own worked examples, through the functions that estimates use.

Figures as in JCGM 100:2008, Annex H (H.1 end gauge, H.2 impedance, H.3 thermometer with Table H.6), read in
the tests of an open metrology library that quote it; "from memory" marks a figure that was not seen again.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.efficiency.uncertainty import (
    Component,
    Quantity,
    budget_rows,
    propagate,
    t_quantile,
    type_a,
)
from analysis.efficiency.verdict import en_number

# --- H.1, end gauge: l = l_s + d - l_s (d_alpha theta + alpha_s d_theta), lengths in nm


def _gauge(x):
    l_s, d, d_alpha, theta, alpha_s, d_theta = x
    return l_s + d - l_s * (d_alpha * theta + alpha_s * d_theta)


# l_s, d, d_alpha, theta, alpha_s, d_theta: values and standard uncertainties
GAUGE = np.array([50_000_623.0, 215.0, 0.0, -0.1, 11.5e-6, 0.0])
GAUGE_U = np.array([
    25.0,
    math.sqrt(5.8**2 + 3.9**2 + 6.7**2),  # repeated, comparator random, comparator systematic
    1e-6 / math.sqrt(3),
    math.hypot(0.2, 0.5 / math.sqrt(2)),  # mean of the bed, cyclic +-0.5 (U-shaped)
    2e-6 / math.sqrt(3),
    0.05 / math.sqrt(3),
])  # fmt: skip


def test_gum_h1_by_linear_propagation():
    """l = 50 000 838 nm, u_c = 32 nm (31.66 before rounding).

    Can catch: a sensitivity that is wrong or left out.  Cannot catch: parts below 4 nm, which 0.02 nm of the sum hides.
    """
    value, cov = propagate(_gauge, GAUGE, np.diag(GAUGE_U**2))
    assert value[0] == pytest.approx(50_000_838, abs=0.5)
    assert math.sqrt(cov[0, 0]) == pytest.approx(31.66, abs=0.02)


def _gauge_length():
    return Quantity(50_000_838.0, (
        Component("standard", 25.0, 18),
        Component("repeated", 5.8, 24),
        Component("comparator, random", 3.9, 5),
        Component("comparator, systematic", 6.7, 8),
        Component("difference in expansion", 50_000_623 * 0.1 * 1e-6 / math.sqrt(3), 50),
        Component("difference in temperature", 50_000_623 * 11.5e-6 * 0.05 / math.sqrt(3), 2),
    ), 1)  # fmt: skip


def test_gum_h1_parts_degrees_of_freedom_and_u99():
    """Parts 25, 16.6, 6.7, 5.8, 3.9, 2.9 nm; Welch-Satterthwaite (G.4.1) gives 16.7, truncated 16;
    U99 = t99(16) u = 2.92 x 32 = 93 nm (degrees and U99 from memory).

    Can catch: a term's degrees lost, a wrong quantile.  Cannot catch: an error of what is remembered.
    """
    length = _gauge_length()
    parts = [row[1] for row in budget_rows(length)]
    assert parts == pytest.approx([25, 16.599, 6.7, 5.8, 3.9, 2.887], abs=0.001)
    assert length.u == pytest.approx(31.66, abs=0.02)
    assert length.degrees == pytest.approx(16.75, abs=0.05)
    assert t_quantile(math.floor(length.degrees), 0.99) * round(length.u) == pytest.approx(
        93, abs=0.5
    )


def test_gum_h1_by_monte_carlo():
    """JCGM 101: with the second-order terms u = 34 nm (H.1.7), which linear propagation leaves out.

    Can catch: an error in this test's own formula of the gauge.  Cannot catch: anything in the program, which draws nothing.
    """
    rng, n = np.random.default_rng(1), 200_000
    x = np.array([
        rng.normal(GAUGE[0], 25.0, n),
        rng.normal(GAUGE[1], GAUGE_U[1], n),
        rng.uniform(-1e-6, 1e-6, n),
        rng.normal(-0.1, 0.2, n) + 0.5 * np.sin(rng.uniform(0, 2 * math.pi, n)),
        rng.uniform(9.5e-6, 13.5e-6, n),
        rng.uniform(-0.05, 0.05, n),
    ])  # fmt: skip
    draws = _gauge(x)
    assert draws.mean() == pytest.approx(50_000_838, abs=0.5)
    assert draws.std() == pytest.approx(34, abs=0.5)


# --- H.2, resistance, reactance and impedance from V, I, phi, correlated

V_I_PHI = np.array([4.999, 19.661e-3, 1.04446])
V_I_PHI_U = np.array([3.2e-3, 9.5e-6, 7.5e-4])
R_V_I_PHI = np.array([[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]])


def _impedance(x):
    v, i, phi = x
    return np.array([v / i * np.cos(phi), v / i * np.sin(phi), v / i])


def test_gum_h2_correlated_inputs():
    """R 127.732(70), X 219.85(30), Z 254.26(24); r(R,X) -0.59, r(R,Z) -0.49, r(X,Z) +0.99.

    Can catch: a correlation left out or with the wrong sign.  Cannot catch: an error below one printed digit.
    """
    cov = R_V_I_PHI * np.outer(V_I_PHI_U, V_I_PHI_U)
    value, out = propagate(_impedance, V_I_PHI, cov)
    u = np.sqrt(np.diag(out))
    assert value == pytest.approx([127.732, 219.847, 254.260], abs=0.002)
    # the GUM prints from unrounded data; from these rounded ones the last digit may be one off
    assert u == pytest.approx([0.070, 0.30, 0.24], abs=0.006)
    r = out / np.outer(u, u)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.59, -0.49, 0.99], abs=0.012)


def test_gum_h2_by_monte_carlo():
    """JCGM 101: the same within the noise of 200 000 draws.

    Can catch: propagation that is wrong alike for all three.  Cannot catch: less than 2 % of a variance.
    """
    cov = R_V_I_PHI * np.outer(V_I_PHI_U, V_I_PHI_U)
    draws = _impedance(np.random.default_rng(2).multivariate_normal(V_I_PHI, cov, 200_000).T)
    value, out = propagate(_impedance, V_I_PHI, cov)
    assert draws.mean(axis=1) == pytest.approx(value, rel=1e-5)
    assert np.cov(draws) == pytest.approx(out, rel=0.02)


def test_leaving_out_the_correlation_would_be_seen():
    """Taken as independent, u(R) is 0.195 ohm and not 0.071 (plain quadrature of the same parts)."""
    _, out = propagate(_impedance, V_I_PHI, np.diag(V_I_PHI_U**2))
    v, i, phi = V_I_PHI
    by_hand = 127.732 * math.hypot(3.2e-3 / v, 9.5e-6 / i, math.tan(phi) * 7.5e-4)
    assert math.sqrt(out[0, 0]) == pytest.approx(by_hand, rel=1e-4)
    assert by_hand > 2.5 * 0.070


# --- effective degrees of freedom


def test_welch_satterthwaite_of_gum_g_4_1():
    """Y = X1 X2 X3 with relative u 0.25, 0.57, 0.82 % and n 10, 5, 15: u 1.03 %, 19.0 degrees,
    t95(19) = 2.09 and U95 = 2.2 % (G.4.1, from memory; 19.0 follows from the formula).

    Can catch: degrees of freedom that are summed or truncated.  Cannot catch: how many a real component has.
    """
    product = Quantity(100.0, (
        Component("X1", 0.25, 9), Component("X2", 0.57, 4), Component("X3", 0.82, 14),
    ), 1)  # fmt: skip
    assert product.u == pytest.approx(1.03, abs=0.005)
    assert product.degrees == pytest.approx(19.0, abs=0.05)
    assert t_quantile(19) == pytest.approx(2.09, abs=0.005)
    assert pytest.approx(2.2, abs=0.05) == product.U95


def test_welch_satterthwaite_against_its_own_purpose():
    """With few degrees of freedom, value +- U95 holds the truth in about 95 % (two means of three and
    five readings of unlike scatter; simulation, seed fixed).

    Can catch: a factor of 2 in the place of Student's t (87 %).  Cannot catch: coverage wrong by less than 2 points.
    """
    rng, inside, n = np.random.default_rng(3), 0, 1500
    for _ in range(n):
        a, b = rng.normal(0, 1.0, 3), rng.normal(0, 1.5, 5)
        parts = [type_a(x, np.ones(len(x))) for x in (a, b)]
        total = Quantity(parts[0][0] + parts[1][0], tuple(c for _, c in parts), 1)
        inside += abs(total.value) <= total.U95
    assert 0.935 <= inside / n <= 0.98


# --- En


@pytest.mark.parametrize(
    ("x", "U", "reference", "U_ref", "en"),
    [
        (10.05, 0.03, 10.00, 0.04, 1.0),
        (9.97, 0.04, 10.00, 0.03, -0.6),
        (100.0, 0.0, 98.0, 1.0, 2.0),
    ],
)
def test_en_number(x, U, reference, U_ref, en):
    """ISO/IEC 17043, B.3: En = (x - X) / sqrt(U_lab^2 + U_ref^2), satisfactory at |En| <= 1.  The
    form is from memory; the numbers are made so that the root is a Pythagorean triple.

    Can catch: uncertainties that are added, or one of the two left out.  Cannot catch: a form remembered wrongly.
    """
    assert en_number(x, U, reference, U_ref) == pytest.approx(en)


def test_en_without_any_uncertainty_is_not_a_number_to_show():
    assert en_number(1.0, 0.0, 2.0, 0.0) is None


# --- capstan from raising and lowering


def test_capstan_friction_from_raising_and_lowering():
    """T_raise 98, T_lower 50 over 90 degrees: mu = ln(98 / 50) / (2 phi) = 0.214, e = sqrt(50 / 98)
    = 0.714, W = sqrt(98 x 50) = 70.0 (R. Delaney, Physics for Roping Technicians, 2022, p. 88,
    aluminium tube 50 mm, printed mu 0.21).  tests/unit/analysis/efficiency/test_load_from_lowering.py
    takes the same row through a whole session.

    Can catch: raising taken for lowering, a mean that is not geometric.  Cannot catch: the table's 75 kg, which is 7 % more.
    """
    from support.rigs import rig

    from analysis.efficiency.load_from_lowering import _solve
    from analysis.mechanics.model import model

    lifted = rig("tie:load edge:E1@1,90,0.2 haul", extra='[load]\nkind = "hanging"\n')
    weight = _solve(lifted, model(lifted), lifted.load, 98.0, 50.0, 0.0, 0.0)
    e = weight / 98.0
    assert weight == pytest.approx(70.0, abs=0.05)
    assert e == pytest.approx(0.714, abs=0.001)
    assert -math.log(e) / (math.pi / 2) == pytest.approx(0.214, abs=0.001)
