"""What a page says was touched, told apart from what is no touch, and done once."""

from __future__ import annotations

import pytest

from dashboard.web.touches import MOST_ID, MOST_PAGES, MOST_TOUCHES, TouchLog

START = '{"act":"[\\"start\\"]","type":"do"}.n_clicks'


def sent(*touched, page="p") -> dict:
    return {"page": page, "touched": list(touched)}


def test_each_touch_of_a_call_comes_in_its_order():
    field = '{"act":"name","type":"field"}.value'
    assert TouchLog().fresh(sent([1, field, "launch"], [2, START, 1])) == [
        ({"act": "name", "type": "field"}, "launch"),
        ({"act": '["start"]', "type": "do"}, 1),
    ]


def test_a_touch_that_comes_again_is_done_once_and_one_that_waited_is_not_lost():
    """The first call carries the first touch; the third makes up for the second, which Dash never sent."""
    log = TouchLog()
    assert len(log.fresh(sent([1, START, 1]))) == 1
    assert len(log.fresh(sent([1, START, 1], [2, START, 1], [3, START, 1]))) == 2
    assert log.fresh(sent([2, START, 1])) == []  # a call that comes late
    assert len(log.fresh(sent([1, START, 1], page="another"))) == 1


@pytest.mark.parametrize(
    "data",
    [None, 3, "x", [], {}, {"touched": 3},
     sent(3, None, [START], [1, START], [1, START, None], [1, START, [1]], [1, 3, 1], ["1", START, 1], [True, START, 1]),
     sent([1, "look.n_intervals", 1], [1, "{.n_clicks", 1], [1, '"a".n_clicks', 1], [1, "[" * 400 + ".n_clicks", 1]),
     sent([1, '{"act":"' + "a" * MOST_ID + '"}.n_clicks', 1])],
)  # fmt: skip
def test_what_is_no_touch_is_left_out(data):
    assert TouchLog().fresh(data) == []


def test_a_flood_of_touches_and_of_pages_is_cut():
    log = TouchLog()
    assert len(log.fresh(sent(*([k, START, 1] for k in range(1, 500))))) == MOST_TOUCHES
    for k in range(2 * MOST_PAGES):
        log.fresh(sent([1, START, 1], page=f"page {k}"))
    assert len(log._last) == MOST_PAGES
