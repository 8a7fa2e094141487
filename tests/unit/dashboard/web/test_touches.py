"""What a page says was touched, told apart from what is no touch."""

from __future__ import annotations

import pytest

from dashboard.web.touches import MOST_ID, MOST_TOUCHES, touched_parts

START = '{"act":"[\\"start\\"]","type":"do"}.n_clicks'


def test_each_touch_of_a_call_comes_in_its_order():
    field = '{"act":"name","type":"field"}.value'
    assert touched_parts({"at": 3.5, "touched": [[field, "launch"], [START, 1]]}) == [
        ({"act": "name", "type": "field"}, "launch"),
        ({"act": '["start"]', "type": "do"}, 1),
    ]


@pytest.mark.parametrize(
    "data",
    [None, 3, "x", [], {}, {"touched": 3}, {"touched": [3, None, [START], [START, None], [START, [1]], [3, 1]]},
     {"touched": [["look.n_intervals", 1], ["{.n_clicks", 1], ['"a".n_clicks', 1], ["[" * 400 + ".n_clicks", 1]]},
     {"touched": [['{"act":"' + "a" * MOST_ID + '"}.n_clicks', 1]]}],
)  # fmt: skip
def test_what_is_no_touch_is_left_out(data):
    assert touched_parts(data) == []


def test_a_flood_of_touches_is_cut():
    assert len(touched_parts({"touched": [[START, 1]] * 500})) == MOST_TOUCHES
