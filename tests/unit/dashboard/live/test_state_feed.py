"""The pyramid, the counters' ways and the board, whatever is put into them and however it is cut."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.live.channel_track import Track
from analysis.live.minmax_pyramid import BASE_S, MOST_BINS, Pyramid
from dashboard.live.state_feed import BUDGET, MOST_PART, Board
from logger.channels.sensors_file import parse_sensors
from logger.session.records import ChannelReadings

VALUES = st.floats(-1e6, 1e6) | st.sampled_from([float("nan"), float("inf"), 0.0])
STEPS = st.floats(0, 3) | st.floats(0, 1e5) | st.sampled_from([0.0, 1e9])


def filled(time_s, values, cuts):
    pyramid = Pyramid()
    for part in np.split(np.arange(len(time_s)), sorted(cuts)):
        pyramid.push(time_s[part], values[part])
    return pyramid


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_cut_gives_the_bins_of_one_push_and_hides_no_peak(data):
    rows = data.draw(st.lists(st.tuples(STEPS, VALUES), min_size=1, max_size=300))
    time_s = np.cumsum([step for step, _ in rows])
    values = np.array([value for _, value in rows])
    cuts = data.draw(st.lists(st.integers(0, len(rows)), max_size=8))
    pyramid, whole = filled(time_s, values, cuts), filled(time_s, values, [])
    good = np.isfinite(values) & (time_s < 1e11)
    if not good.any():
        assert pyramid.first is None
        return
    for span in (None, 60.0, 600.0):
        level = pyramid.level_for(span)
        assert level == whole.level_for(span)
        bins, low, high = pyramid.bins(level)
        assert all(
            np.array_equal(a, b) for a, b in zip((bins, low, high), whole.bins(level), strict=True)
        )
        assert high.max() == values[good].max() and low.min() == values[good].min()
        # against the plain definition, bin by bin
        index = np.floor(time_s[good] / BASE_S).astype(int) >> level
        assert bins.tolist() == sorted(set(index.tolist()))
        for k, lo, hi in zip(bins, low, high, strict=True):
            mine = values[good][index == k]
            assert (lo, hi) == (mine.min(), mine.max())
    bins, _, _ = pyramid.bins(pyramid.level_for(None))
    assert bins[-1] - bins[0] < MOST_BINS


def test_a_shock_of_one_reading_stays_visible_after_ten_hours():
    time_s = np.arange(0, 36_000, 0.1)
    values = np.full(len(time_s), 300.0)
    values[123_457] = 2500.0
    pyramid = filled(time_s, values, range(0, len(time_s), 10_000))
    bins, _, high = pyramid.bins(pyramid.level_for(None))
    assert len(bins) <= MOST_BINS and high.max() == 2500.0


def counter():
    text = '[[channel]]\nname = "r"\nquantity = "length"\nat = "haul"\nformat = "json"\nid = "r"\nunit = "m"\n'
    return Track(parse_sensors(text, "sensors.toml").channels[0])


@pytest.mark.parametrize("cut", [1, 3, 7, 100])
def test_a_counter_that_starts_anew_keeps_its_way(cut):
    time_s = np.arange(100) / 10
    reading = 500.0 + time_s  # counts on from another day, then from nothing
    reading[60:] -= 506.0
    track = counter()
    for k in range(0, 100, cut):
        track.push(ChannelReadings(time_s[k : k + cut], reading[k : k + cut]))
    assert track.value == pytest.approx(9.9, abs=0.11)
    assert track.at(5.0) == pytest.approx(5.0, abs=0.15)
    assert track.moved(1.0, 9.9) == pytest.approx(1.0, abs=0.11)
    assert track.rate(9.9) == pytest.approx(10, rel=0.1)


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


def test_the_mean_of_a_bin_is_that_of_its_readings():
    time_s = np.sort(np.random.default_rng(4).uniform(0, 900, 5000))
    values = np.random.default_rng(5).normal(300, 90, 5000)
    pyramid = filled(time_s, values, range(0, 5000, 137))
    level = pyramid.level_for(None)
    bins, _, _ = pyramid.bins(level)
    for k, mean in zip(bins, pyramid.means(level), strict=True):
        mine = values[np.floor(time_s / BASE_S).astype(int) >> level == k]
        assert mean == pytest.approx(mine.mean())
