"""A comma in a typed number is asked about with all that it may be, and never read as one of them."""

from __future__ import annotations

import pytest

from logger.typed_commas import asked_comma, comma_in_number


@pytest.mark.parametrize(
    ("typed", "cure"),
    [
        ("1,5", "type 1.5 if it is"),
        ("-1,90 kN", "type -1.90 kN if it is"),
        ("2,000", "type 2.000 if it is, or 2000 if it parts thousands"),
        ("1,412.7 N", "type 1412.7 N if they do"),
        ("1.412,7", "type 1412.7 if it is"),
        ("1,2,3", "type it without a comma, a point as the decimal mark"),
    ],
)
def test_each_reading_that_a_comma_allows_is_offered(typed, cure):
    assert comma_in_number(typed)
    assert asked_comma(typed)[1] == cure


@pytest.mark.parametrize("typed", ["1.5", "abc", "1, 5", ",", "a,b", "", "١,٥"])
def test_what_is_no_number_with_a_comma_is_not_asked_about(typed):
    assert not comma_in_number(typed)
