"""What people see: rounded to the uncertainty, in the units they asked for."""

import pytest

from dashboard.text.units import METRIC, UNKNOWN, US, number, plus_minus


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [
        # JCGM 100:2008, 7.2.2 and 7.2.6: m = 100.021 47 g with U = 0.000 79 g
        (100.02147, 0.00079, "100.02147 ± 0.00079"),
        (7.3441, 1.52, "7.3 ± 1.5"),
        (1513.6, 269.7, "1510 ± 270"),
        (0.8164, 0.0996, "0.82 ± 0.10"),
        (5.0, 0.0, "5.00"),
        (5.0, None, "5.00"),
    ],
)
def test_a_value_is_rounded_to_the_second_digit_of_its_uncertainty(value, expanded, text):
    assert plus_minus(value, expanded) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(9.0, "9.00"), (0.81, "0.810"), (1513.6, "1510"), (0.0, "0"), (-12.345, "-12.3"), (None, "-"),
     (99.99, "100"), (12_345_678.0, "12300000"), (0.00012345, "0.000123")],
)  # fmt: skip
def test_a_number_has_three_digits_and_no_powers_of_ten(value, text):
    assert number(value) == text


def test_us_units_by_their_definitions():
    # 1 lbf = 4.448 221 615 260 5 N, 1 ft = 0.3048 m (NIST SP 811, B.8)
    assert US.force(4.4482216152605 * 200) == "200 lbf"
    assert US.length(3.048) == "10.0 ft"
    assert US.work(1.3558179483314 * 50) == "50.0 ft lbf"


def test_metric_forces_turn_to_kilonewtons():
    assert METRIC.force(2250.0) == "2250 N"
    assert METRIC.force(22_500.0) == "22.5 kN"
    assert METRIC.force_pm(22_500.0, 450.0) == "22.50 ± 0.90 kN"


def test_what_is_not_known_is_said_to_be():
    for units in (METRIC, US):
        assert units.force(None) == UNKNOWN == units.quantity("force", None)
        assert units.quantity("number", {"value": None, "U95": None}) == UNKNOWN
    assert METRIC.quantity("number", {"value": 0.9, "U95": 0.05}) == "0.900 ± 0.050"
