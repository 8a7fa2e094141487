"""A counter that starts again gives the same travel live, in a review, and with a calibration."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.channels import channel
from support.rigs import STRAIGHT_PULL
from support.yard import Yard

from analysis.live.channel_track import Track
from analysis.review.review import review_session
from analysis.review.si_series import in_si
from analysis.signals.counter_modulus import CounterTurns
from dashboard.review.windowed_series import Series
from logger.channels.channel import Channel
from logger.channels.counter_modulus import CounterReading, nearest_step
from logger.channels.sensors_file import parse_sensors
from logger.errors import SensorsFault
from logger.session.csv_import import import_table
from logger.session.records import Block, ChannelReadings

COUNTS = channel(
    "rope", "length", format="columns", column=1, unit="count", scale=0.001, zero=40.0, modulus=256
)
TIME = np.arange(4000) / 100.0
METRES = 1.5 * np.sin(TIME / 5.0) + 0.04 * TIME  # up to 0.34 m/s: 3.4 counts a reading
SENT = np.round(METRES * 1000.0) % 256


def counter(more: str = "") -> Channel:
    return parse_sensors(COUNTS + more, "s").channels[0]


def test_the_step_nearest_to_zero_is_taken() -> None:
    assert [nearest_step(s, 256) for s in (3, -3, 250, -250, 128, 0)] == [3, -3, -6, 6, -128, 0]


@given(cuts=st.lists(st.integers(0, 4000), max_size=9))
@settings(deadline=None, max_examples=30)
def test_the_travel_is_the_same_for_any_cut(cuts: list[int]) -> None:
    edges = sorted({0, 4000, *cuts})
    turns = CounterTurns(counter())
    out = [turns.followed(TIME[a:b], SENT[a:b]) for a, b in itertools.pairwise(edges)]
    assert np.concatenate(out).tolist() == np.round(METRES * 1000.0).tolist()
    single = CounterReading(256, 1.0)
    assert list(map(single.follow, TIME, SENT)) == np.concatenate(out).tolist()


def test_no_step_is_joined_across_a_gap() -> None:
    turns = CounterTurns(counter())
    out = turns.followed(np.array([0.0, 0.5, 3.0, 3.1]), np.array([250.0, 2.0, 9.0, 12.0]))
    assert out.tolist() == [250.0, 258.0, 258.0, 261.0] and turns.breaks == 1
    single = CounterReading(256, 1.0)
    assert list(map(single.follow, (0.0, 0.5, 3.0, 3.1), (250, 2, 9, 12))) == out.tolist()


def test_what_no_counter_sends_changes_nothing() -> None:
    turns = CounterTurns(counter())
    out = turns.followed(np.array([0.0, 0.1, 0.2]), np.array([250.0, np.nan, 2.0]))
    assert out[[0, 2]].tolist() == [250.0, 258.0] and np.isnan(out[1])


def test_live_page_plot_and_table_show_the_true_travel() -> None:
    readings = ChannelReadings(TIME, SENT)
    true = np.round(METRES * 1000.0) / 1000.0
    track, series = Track(counter()), Series(counter())
    for k in range(0, 4000, 500):
        piece = ChannelReadings(TIME[k : k + 500], SENT[k : k + 500])
        track.push(piece)
        series.push(piece)
    assert track.value == pytest.approx(true[-1], abs=1e-9)
    assert series.between(0.0, 40.0)[1] == pytest.approx(true, abs=1e-9)
    block = Block(readings={"rope": readings}, events=(), clock=(), malformed=0)
    assert in_si(block, counter())[1] == pytest.approx(true - 0.04, abs=1e-9)  # zero is 40 counts


def test_a_review_finds_the_strokes_of_the_unbroken_counter(tmp_path: Path) -> None:
    """Two hauls of 2 m under 400 N, counted in millimetres by 8 bits."""
    time_s = np.arange(3000) / 100.0
    travel = np.clip((time_s - 3) * 0.2, 0, 2) + np.clip((time_s - 17) * 0.2, 0, 2)
    pulling = ((time_s > 2.5) & (time_s < 14)) | ((time_s > 16.5) & (time_s < 28))
    found = []
    for name, modulus in (("whole", None), ("turning", 256)):
        sensors = channel("haul_force", "force", format="json", id="f", unit="N", u=1.0) + channel(
            "rope", "length", *([f"modulus = {modulus}"] if modulus else []), format="json",
            id="r", unit="mm", u=0.002,
        )  # fmt: skip
        yard = Yard(tmp_path / name, sensors, STRAIGHT_PULL)
        counts = np.round(travel * 1000.0) % (modulus or 1e9)
        rows = zip(time_s, np.where(pulling, 400.0, 0.0), counts, strict=True)
        table = yard.folder / "table.csv"
        lines = [f"{t:.2f},{f:.1f},{r:.0f}" for t, f, r in rows]
        table.write_text("time_s,haul_force,rope\n" + "\n".join(lines) + "\n")
        out = import_table(table, yard.rig, yard.sensors_file, yard.folder / "session")
        found.append(review_session(out))
    whole, turning = found
    assert whole["strokes"] == turning["strokes"] and len(whole["strokes"]) == 2
    assert turning["measured"]["haul_travel_m"] == pytest.approx(4.0, abs=0.01)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (COUNTS.replace("256", "0"), "modulus: 0 is not above 0"),
        (COUNTS.replace('"length"', '"force"'), "modulus: is for a counter of length"),
    ],
)
def test_a_modulus_that_makes_no_sense_is_refused(text: str, said: str) -> None:
    with pytest.raises(SensorsFault) as caught:
        parse_sensors(text, "s")
    assert said in str(caught.value)
