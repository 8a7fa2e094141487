"""The result depends on what was pushed, not on how it was cut; a hostile push raises nothing."""

from __future__ import annotations

import itertools
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.readings import analyse, block, info, review, sensors, three

from analysis.review.review import review_all
from analysis.signals.channel_roles import roles
from analysis.simulation.demo_haul import demo_rig, demo_sensors, simulate
from analysis.strokes.analyser import Analyser
from logger.session.records import Block, ChannelReadings, Event


@lru_cache(maxsize=1)
def _whole():
    """A demo haul with a gap in two channels, channels at different rates, a zero, marks."""
    haul = simulate(3, 24.0)
    t = haul.time_s
    keep = {
        "haul_force": (t < 8.2) | (t > 9.9),
        "rope_out": np.arange(len(t)) % 8 == 3,
        "load_force": np.arange(len(t)) % 3 == 0,
        "load_travel": (np.arange(len(t)) % 11 == 0) & ((t < 15) | (t > 21)),
    }
    readings = {n: ChannelReadings(t[keep[n]], v[keep[n]]) for n, v in haul.values.items()}
    events = (
        Event(0.3, "a", "zero", "haul_force", 1.5, ""),
        Event(17.01, "b", "zero", "load_force", -4.0, ""),
        Event(12.0, "c", "mark", "", None, "x"),
    )
    return Block(readings, events)


def _pieces(whole: Block, cuts: list[float], lags: dict[str, float]) -> list[Block]:
    """Cut at these times, each channel up to its lag later than the clock of the cut."""
    pieces = []
    cuts = [-1.0, *sorted(cuts), 1e6]
    for a, b in itertools.pairwise(cuts):
        part = {}
        for name, r in whole.readings.items():
            low = np.searchsorted(r.time_s, a - lags[name])
            high = np.searchsorted(r.time_s, b - lags[name])
            part[name] = ChannelReadings(r.time_s[low:high], r.reading[low:high])
        events = tuple(
            e for e in whole.events if a - lags["events"] <= e.time_s < b - lags["events"]
        )
        pieces.append(Block(part, events))
    return pieces


def _result(pieces: list[Block], look: set[int] = frozenset()):
    rig, sensors_ = demo_rig(), demo_sensors()
    analyser = Analyser(roles=roles(rig, sensors_))
    for k, piece in enumerate(pieces):
        analyser.push(piece, -1.0)
        if k in look:
            analyser.result()  # looking changes nothing
    analyser.push(Block({}), 30.0)
    result = analyser.result()
    # the review leaves out some of what the analyser found: its result word by word too
    return review_all(info(sensors_), rig, result).json | {"result": repr(result)}


@lru_cache(maxsize=1)
def _at_once():
    return _result([_whole()])


lag = st.floats(0, 0.25)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    cuts=st.lists(st.floats(0, 25), max_size=40),
    lags=st.fixed_dictionaries(
        dict.fromkeys(("haul_force", "rope_out", "load_force", "load_travel", "events"), lag)
    ),
    look=st.sets(st.integers(0, 40), max_size=4),
)
def test_any_cut_gives_the_same_to_the_bit(cuts, lags, look):
    assert _result(_pieces(_whole(), cuts, lags), look) == _at_once()


def test_ten_times_a_second_gives_the_same_to_the_bit():
    cuts = np.arange(0.05, 25, 0.05).tolist()
    lags = dict.fromkeys(("haul_force", "rope_out", "events"), 0.0) | {
        "load_force": 0.2,
        "load_travel": 0.1,
    }
    assert _result(_pieces(_whole(), cuts, lags)) == _at_once()


def test_the_sample_holds_what_the_cuts_should_be_tried_on():
    found = _at_once()
    assert len(found["strokes"]) >= 3
    kinds = {e["kind"] for e in found["events"]}
    assert {"slip", "shock", "reset", "stale", "mark", "zero"} <= kinds


awkward = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from([0.0, 1e308, -1e308, 1e-300, 5e15, -1.0, 400.0]),
)


@settings(max_examples=80, deadline=None)
@given(
    times=st.lists(awkward, max_size=30),
    values=st.lists(awkward, min_size=30, max_size=30),
    names=st.sets(st.sampled_from(["haul", "rope", "way", "cell"])),
    now=awkward,
)
def test_any_numbers_give_a_review_of_plain_numbers(times, values, names, now):
    channels = sensors("haul", "rope", "way", "cell")
    data = block(**{n: (times, values[: len(times)]) for n in names})
    found = review(three(), channels, data, now=now)
    assert set(found["readings"]) == {"haul", "rope", "way", "cell"}


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_hardly_any_readings(count):
    t = np.arange(count) * 0.1
    found = review(three(), sensors("haul", "rope"), block(haul=(t, t + 300), rope=(t, t)))
    assert found["measured"]["why_not"] or found["strokes"]
    assert found["readings"] == {"haul": count, "rope": count}


def test_late_readings_are_counted_and_said():
    analyser = Analyser(roles=roles(three(), sensors("haul", "rope")))
    t = np.arange(0, 20, 0.1)
    analyser.push(block(haul=(t, t)), 20.0)
    analyser.push(block(rope=(t, t)), 20.0)
    assert analyser.result().channels["rope"].late > 100


def test_memory_does_not_grow_with_the_session():
    """After a thousand pushes as many cells wait as after fifty."""
    analyser = Analyser(roles=roles(three(), sensors("haul", "rope", "way")))
    waiting = []
    for k in range(1000):
        t = np.arange(k, k + 1, 0.01)
        analyser.push(block(haul=(t, np.full(100, 400.0)), rope=(t, t), way=(t, t / 3)), k + 1)
        waiting.append(
            sum(len(f.waiting) + len(f.stream._wait[0]) for f in analyser._feeds.values())
        )
    assert max(waiting[50:]) <= max(waiting[:50])
    assert len(analyser.result().strokes) == 1


@pytest.mark.parametrize("every", [0.3, 1.0, 2.1])
def test_a_load_that_comes_on_while_the_rope_stands_is_counted_however_it_is_cut(every):
    """A pause: the stretched rope still draws the load for a while, and the force goes up and down."""
    t = np.arange(0, 26, 0.02)
    x = np.interp(t, [2, 9, 15, 22], [0, 4, 4, 8])
    way = np.interp(t, [3, 9, 13, 15, 22], [0, 1.1, 1.3, 1.3, 2.6])
    force = np.where((t > 2) & (t < 22), 400 + 60 * np.sin(2 * t), 0.0)
    channels = {"haul": (t, force), "rope": (t, x), "way": (t, way)}
    parts = [
        {n: (a[here], b[here]) for n, (a, b) in channels.items()}
        for here in (np.floor(t / every) == k for k in range(int(26 / every) + 1))
    ]
    hand = sensors("haul", "rope", "way")
    whole = analyse(three(), hand, block(**channels))
    assert repr(analyse(three(), hand, *(block(**part) for part in parts))) == repr(whole)


def test_a_long_block_taken_a_little_at_a_time_gives_the_same_to_the_bit(monkeypatch):
    from analysis.signals import channel_feed as slices

    monkeypatch.setattr(slices, "SLICE", 512)
    monkeypatch.setattr(slices, "SLICE_S", 1.0)
    assert len(list(slices.slices(_whole().readings))) > 20
    assert _result([_whole()]) == _at_once()


def test_a_block_out_of_order_is_taken_whole(monkeypatch):
    from analysis.signals import channel_feed as slices

    monkeypatch.setattr(slices, "SLICE", 16)
    t = np.arange(400) * 0.1
    for wrong in (np.nan, -5.0, np.inf):
        broken = t.copy()
        broken[200] = wrong
        parts = slices.slices(block(haul=(broken, t), rope=(t, t)).readings)
        assert len(list(parts)) == 1


@pytest.mark.parametrize("names", [("haul", "rope"), ("haul", "rope", "way", "cell")])
def test_strokes_worked_out_one_by_one_or_together_are_the_same_to_the_bit(monkeypatch, names):
    """Strokes of different lengths, some with a jerk, so that their profiles differ in size."""
    from analysis.strokes import segmentation as segments

    t = np.arange(0, 200, 0.02)
    u, k = t % 20, t // 20
    x = np.interp(u, [2, 14, 15, 19], [0, 1, 1, 0]) * (1 + 0.7 * k)
    force = np.where((u > 2) & (u < 14.5), 400 + 60 * np.sin(2 * t) + 90 * (k % 3 == 1), 0.0)
    channels = {"haul": force, "rope": x, "way": x / 3, "cell": 2.8 * force}
    data = block(**{n: (t, channels[n]) for n in names})
    whole = analyse(three(), sensors(*names), data)
    monkeypatch.setattr(segments, "TOGETHER", 1)
    alone = analyse(three(), sensors(*names), data)
    assert len(whole.strokes) == 10
    assert repr(alone) == repr(whole)
