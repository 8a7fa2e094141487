"""A rig that is changed during the session: strokes under their own rig, live as in review."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from support.readings import sensors, three

from analysis.signals.channel_roles import roles
from analysis.strokes.analyser import Analyser
from analysis.strokes.rig_changes import rigs_of
from logger.session.records import Block, ChannelReadings, Event

FIVE = """
title = "5:1"
anchor_to_load_m = 100.0
[[rope]]
name = "main"
path = [
  { tie = "load" }, { pulley = "A1", on = "anchor" }, { pulley = "B1", on = "load" },
  { pulley = "A2", on = "anchor" }, { pulley = "B2", on = "load" }, { haul = "team" },
]
"""
HAND = sensors("haul", "rope", "way", haul="warn_at = 390.0")


def session(change=20.2, name="rig-2.toml"):
    """3 m of rope at 3:1, the rig changed with the rope held, then 4 m of rope with the second rig."""
    t = np.arange(0, 60, 0.02)
    x = np.interp(t, [2, 8, 12, 16, 30, 40], [0, 3, 3, 0, 0, 4])
    way = np.interp(t, [2, 8, 30, 40], [0, 1, 1, 2])
    force = np.where(((t >= 2) & (t <= 9)) | (t >= 30) & (t <= 41), 400.0, 0.0)
    events = (Event(change, "r1", "rig", "", None, name),)
    return Block(
        {
            "haul": ChannelReadings(t, force),
            "rope": ChannelReadings(t, x),
            "way": ChannelReadings(t, way),
        },
        events,
    )


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "rig-2.toml").write_text(FIVE)
    (tmp_path / "odd.toml").write_text("title = 3\n")
    return tmp_path


def result(folder, *pieces, look=()):
    analyser = Analyser(roles=roles(three(), HAND), later=rigs_of(folder, HAND))
    for k, piece in enumerate(pieces):
        analyser.push(piece, -1.0)
        if k in look:
            analyser.result()
    return analyser.result()


def cut(whole, times, late=0.0):
    for a, b in itertools.pairwise([-1.0, *times, 1e6]):
        part = {
            n: ChannelReadings(
                r.time_s[(r.time_s >= a) & (r.time_s < b)],
                r.reading[(r.time_s >= a) & (r.time_s < b)],
            )
            for n, r in whole.readings.items()
        }
        yield Block(part, tuple(e for e in whole.events if a <= e.time_s + late < b))


def test_each_stroke_knows_its_rig_and_its_ratio(folder):
    found = result(folder, session())
    ratio = [span.roles.ratio for span in found.rigs]
    assert ratio == pytest.approx([3.0, 5.0])
    assert [s.rig for s in found.strokes] == [0, 1]
    assert found.rigs[1].rig.title == "5:1"
    assert found.rigs[1].time_s == 20.2
    # 4 m of rope for 1 m of load: right at neither 3:1 nor 5:1; judged by the rig's own ratio
    assert found.strokes[0].details.unfollowed_m == pytest.approx(0.0, abs=0.01)
    assert found.strokes[1].details.unfollowed_m == pytest.approx(4 - 5 * 1, abs=0.05)


def test_a_stroke_that_goes_on_ends_with_its_rig(folder):
    found = result(folder, session(change=34.5))
    assert [s.rig for s in found.strokes] == [0, 0, 1]
    assert found.strokes[1].end_s == pytest.approx(35.0, abs=0.04)
    assert sum(s.haul_travel_m for s in found.strokes) == pytest.approx(7.0, abs=0.02)


def test_limits_are_those_of_the_rig_that_holds(folder):
    text = FIVE + "[pulley.A1]\nwll_kN = 0.7\n"
    (folder / "rig-2.toml").write_text(text)
    over = [f for f in result(folder, session()).derived_events if f.kind == "over_limit"]
    of_rig = [f for f in over if "A1" in f.text]
    assert [f.time_s for f in of_rig] == [pytest.approx(30.0, abs=0.1)]
    assert len([f for f in over if "warn_at" in f.text]) == 2


@pytest.mark.parametrize("change", [0.5, 8.4, 20.0, 34.5])
@pytest.mark.parametrize("late", [0.0, 0.2])
def test_live_and_review_agree(folder, change, late):
    whole = session(change)
    times = np.arange(0.3, 60, 0.31).tolist()
    live = result(folder, *cut(whole, times, late), look={1, 30, 60, 120})
    once = result(folder, whole)
    assert repr(live) == repr(once)


@pytest.mark.parametrize("name", ["odd.toml", "none.toml", "../rig-2.toml", ""])
def test_a_rig_that_cannot_be_used_is_said_and_the_one_before_goes_on(folder, name):
    found = result(folder, session(name=name))
    assert [s.rig for s in found.strokes] == [0, 0]
    assert len(found.rigs) == 1
    assert any("the rig was changed, but" in line.text() for line in found.warnings)


def test_without_a_loader_the_first_rig_is_taken_for_all():
    analyser = Analyser(roles=roles(three(), HAND))
    analyser.push(session(), -1.0)
    assert [s.rig for s in analyser.result().strokes] == [0, 0]


def test_a_level_of_a_replaced_rig_is_watched_no_more(folder):
    """T1 of the 3:1 is rated for 0.7 kN and carries twice 400 N; the 5:1 has no such part."""
    rated = three(more="[pulley.T1]\nwll_kN = 0.7\n")
    analyser = Analyser(roles=roles(rated, HAND), later=rigs_of(folder, HAND))
    analyser.push(session(), -1.0)
    events = analyser.result().derived_events
    over = [e.time_s for e in events if e.kind == "over_limit" and "T1" in e.text]
    assert over == [pytest.approx(2.0, abs=0.1)]


def test_the_highest_force_of_each_rig_has_the_time_of_its_cell(folder):
    """One reading stands out in each stroke; its cell's middle is at most 1/64 s away."""
    whole = session()
    force = whole.readings["haul"].reading.copy()
    t = whole.readings["haul"].time_s
    peaks = (5.02, 35.02)
    for at_s in peaks:
        force[np.abs(t - at_s) < 0.05] = 470.0
        force[np.argmin(np.abs(t - at_s))] = 480.0
    readings = {**whole.readings, "haul": ChannelReadings(t, force)}
    found = result(folder, Block(readings, whole.events))
    for at_s, read in zip(peaks, found.read, strict=True):
        high, seen_s = read.highest["haul"]
        assert high == 480.0
        assert abs(seen_s - at_s) <= 1 / 64
    assert abs(found.channels["haul"].highest_s - peaks[0]) <= 1 / 64


def surging(begins_s, mean_N, share, load_ratio, ends_s):
    """Rope hauled for 14 s from begins_s on at 0.4 m/s that surges by half; the force's share of inertia is `share`."""
    t = np.arange(begins_s, ends_s, 0.02)
    u = np.clip(t - begins_s - 3.0, 0.0, 14.0)
    moves = (u > 0) & (u < 14.0)
    omega = 2 * np.pi * 0.75
    rope = 0.4 * (u + 0.5 * (1 - np.cos(omega * u)) / omega)
    force = np.where(moves, mean_N * (1 + share * np.cos(omega * u)), 0.0)
    late = np.interp(t - 0.2, t, rope)  # the counters speak late
    return t, force, late, late / load_ratio


def in_one(*parts, events=()):
    """The parts one after the other, with the counters going on."""
    t, force, rope, way = (np.concatenate(column) for column in zip(*parts, strict=True))
    for column in (rope, way):
        at = 0
        for part in parts[:-1]:
            at += len(part[0])
            column[at:] += column[at - 1] - column[at]
    names = {"haul": force, "rope": rope, "way": way}
    return Block({n: ChannelReadings(t, values) for n, values in names.items()}, events)


def test_the_lags_of_a_rig_are_those_of_its_own_motion(folder):
    """The load's inertia is 0.3 of the force with one rig and 0.1 with the other: each chapter is corrected as if alone.

    Can catch: sums over both rigs, which correct each by the mean of both; sums that are lost at the change.
    """
    first = surging(0.0, 900.0, 0.3, 3.0, 25.0)
    second = surging(25.0, 300.0, 0.1, 5.0, 50.0)
    change = (Event(25.0, "r1", "rig", "", None, "rig-2.toml"),)
    found = result(folder, in_one(first, second, events=change))
    alone = [result(folder, in_one(part)) for part in (first, second)]
    own = [lags.lags[0].factor for lags in found.rig_lags]
    assert own[0] == pytest.approx(alone[0].lags[0].factor, abs=1e-9)
    assert own[1] == pytest.approx(
        alone[1].lags[0].factor, abs=1e-3
    )  # its ratio is the file's of the other
    assert abs(own[0] - own[1]) > 0.01
    assert found.lags == found.rig_lags[1].lags
