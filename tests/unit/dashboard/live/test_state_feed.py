"""The pyramid, the counters' ways and the board, whatever is put into them and however it is cut."""

import json

import numpy as np

from analysis.live.minmax_pyramid import Pyramid
from dashboard.live.state_feed import BUDGET, MOST_PART, Board


def answers(board, version=0):
    while True:
        data = board.since(1, version, "60")
        told = json.loads(data)
        yield len(data), told
        version = told["version"]


def test_however_much_changes_a_later_answer_keeps_its_budget_and_nothing_is_lost():
    board = Board("run", Pyramid())
    board.set("head", "x" * 400)
    asked = answers(board)
    next(asked)
    known = {}
    board.lines("warning", [f"warning {k} " + "ö" * 400 for k in range(20)], 24)
    board.now({"state": "haul", "words": "H" * 60, "detail": "d" * 120})
    for _ in range(30):
        size, told = next(asked)
        assert size <= BUDGET + 20
        known |= told["parts"]
    assert (
        sum(key.startswith("warning:") and value is not None for key, value in known.items()) == 20
    )
    board.lines("warning", ["one left"], 24)
    for _ in range(3):
        known |= next(asked)[1]["parts"]
    assert [v for k, v in known.items() if k.startswith("warning:") and v is not None] == [
        "one left"
    ]
    assert next(asked)[1]["parts"] == {}


def test_a_text_longer_than_an_answer_is_cut_not_lost():
    board = Board("run", Pyramid())
    board.set("why", "ä" * 5000)
    _, told = next(answers(board))
    assert told["parts"]["why"].endswith("…") and len(told["parts"]["why"].encode()) <= MOST_PART


def test_bins_come_in_portions_under_ten_kilobytes_and_none_is_left_out():
    force, way = Pyramid(), Pyramid()
    time_s = np.arange(0, 36_000, 0.5)
    force.push(time_s, 1000 * np.sin(time_s) + 12_345.6)
    way.push(time_s, time_s / 77.7)
    board = Board("run", force, way)
    board.set("head", "x" * 1500, whole=True)
    seq = version = 0
    told: list[int] = []
    ways: list[int] = []
    sizes = []
    for _ in range(9):
        data = board.since(seq, version, "all")
        answer = json.loads(data)
        sizes.append(len(data))
        seq, version = answer["seq"], answer["version"]
        told += answer["force"]["flat"][0::4]
        ways += answer["travel"]["flat"][0::3]
        if not answer.get("more"):
            break
    assert max(sizes) < 10_000
    for found, pyramid in ((told, force), (ways, way)):
        bins, _, _ = pyramid.bins(pyramid.level_for(None))
        assert sorted(set(found)) == bins.tolist()
