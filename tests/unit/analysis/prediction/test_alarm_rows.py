"""The rig's limits as the recorder's alarms: the first thing to reach its limit, frictionless."""

import math

import pytest
from support.channels import channel
from support.rigs import NINE, TWELVE, rig

from analysis.mechanics.model import model
from analysis.prediction.alarm_rows import late_cautions, limit_rows, part_texts
from analysis.prediction.predict import predict
from analysis.rig_file.load import parse_rig
from analysis.simulation.demo_haul import demo_text
from dashboard.text.units import US
from logger.channels.sensors_file import parse_sensors
from logger.recorder.alarms import HOLD_S, AlarmState, alarm_rows, judge

SENSORS_TEXT = channel("cell", "force", format="xdr", id="H", unit="N")
SENSORS = parse_sensors(SENSORS_TEXT, "sensors.toml")
RATED = "[load]\nwll_kN = 10\n[grab.G2]\nslips_at_kN = 4.0\n"


def test_the_alarm_trips_where_the_prediction_says_to_stop_hauling():
    known = rig(TWELVE, extra=RATED)
    (row,) = limit_rows(known, SENSORS)
    level = predict(known)["stop_hauling_at"]["haul_force_N"]
    assert row.channel == "cell" and row.label.startswith("load: WLL 10 kN")
    assert row.hold_s == HOLD_S
    below, told = judge(row, AlarmState(), 1.0, level * 0.999)
    assert judge(row, below, 2.0, level * 0.999)[1] is told is None
    first, told = judge(row, AlarmState(), 1.0, level * 1.001)
    assert told is None
    assert judge(row, first, 1.0 + HOLD_S, level * 1.001)[1] == pytest.approx(10_010, rel=1e-6)


@pytest.mark.parametrize(
    ("strength", "before", "now"),
    [
        (", strength = 0.75", "of which its knot keeps 0.75 / 7", "x 0.75 (knot) / 7"),
        ("", "of which its knot is assumed to keep 0.5 / 7", "x 0.5 (knot, assumed) / 7"),
    ],
)
def test_an_alarm_recorded_in_earlier_words_is_recognised(strength, before, now):
    text = demo_text("rig.toml").replace(
        '{ tie = "load", strength = 0.75 }', f'{{ tie = "load"{strength} }}'
    )
    texts = part_texts(model(parse_rig(text, "rig.toml")))
    shown = "stop: load>G1: 48 kN breaking strength"
    assert texts[f"{shown}, {before}"].text() == f"{shown} {now}" == texts[f"{shown} {now}"].text()


def test_no_alarm_is_made_up_where_nothing_is_rated():
    assert limit_rows(rig(TWELVE), SENSORS) == ()


def test_the_alarm_of_an_anchor_beside_the_axis_takes_the_vector_sum():
    """Haul off P1 at a right angle, strand along the axis: 2 T cos 45 on P1; 2 kN / 1.4142 = 1414.2 N."""
    beside = "[further_anchor.P1]\nat_m = -5.0\noffset_m = 0.0\nwll_kN = 2.0\n"
    known = rig("tie:load pulley:S@P1 haul:90", extra=beside)
    (row,) = limit_rows(known, SENSORS)
    label = part_texts(model(known))[row.label]
    assert label.text() == row.label and label.text(US) == "P1: WLL 450 lbf, raising"
    assert row.label == "P1: WLL 2 kN, raising" and row.gain == pytest.approx(math.sqrt(2))
    assert row.stop / row.gain == pytest.approx(1414.2, abs=0.05)
    assert predict(known)["stop_hauling_at"]["haul_force_N"] == pytest.approx(row.stop / row.gain)


def test_a_cell_at_the_load_judges_what_is_held_and_the_haul_cell_the_rest():
    """9:1, C1 allowed 4.5 kN with the whole load on it: 500 N of haul tension if nothing lost, but the cell
    at the load knows the load; A2 turns the haul strand round and has 2 T."""
    known = rig(NINE, extra="[capture.C1]\nwll_kN = 4.5\n[pulley.A2]\nwll_kN = 1.8\n")
    (alone,) = limit_rows(known, SENSORS)
    assert (alone.label, alone.stop / alone.gain) == (
        "C1: WLL 4.5 kN, held on C1",
        pytest.approx(500.0),
    )
    at_load = SENSORS_TEXT + SENSORS_TEXT.replace('"cell"', '"load"').replace(
        'at = "haul"', 'at = "load"'
    )
    by_haul, by_load = limit_rows(known, parse_sensors(at_load, "sensors.toml"))
    assert (by_haul.label, by_haul.stop / by_haul.gain) == (
        "A2: WLL 1.8 kN, raising",
        pytest.approx(900.0),
    )
    assert (by_load.channel, by_load.label, by_load.gain) == (
        "load",
        "C1: WLL 4.5 kN, held on C1",
        pytest.approx(1.0),
    )
    # a cell at the load that cannot read so much leaves it to the haul cell
    small = at_load + "capacity = 4000.0\n"
    assert limit_rows(known, parse_sensors(small, "sensors.toml"))[0].label == alone.label


def levelled(name, at, levels, quantity="force"):
    return channel(
        name,
        quantity,
        levels,
        at=at,
        format="xdr",
        id=name,
        unit="N" if quantity == "force" else "m",
    )


def late(known, text):
    sensors = parse_sensors(text, "sensors.toml")
    own = alarm_rows(sensors)
    rows = (*own, *limit_rows(known, sensors))
    return [one.text() for one in late_cautions(sensors, rows, part_texts(model(known)))]


@pytest.mark.parametrize(
    ("levels", "said"),
    [
        ("warn_at = 900.0", ["cell: its caution at 900 N can never come first: the stop level is 833 N (load: WLL 10 kN, raising); write warn_at below it"]),
        ("warn_at = 900.0\nstop_at = 1500.0", ["the stop level is 833 N (load: WLL 10 kN, raising)"]),
        ("warn_at = 800.0\nstop_at = 800.0", ["the stop level is 800 N (stop_at)"]),
        ("warn_at = 830.0", []),
        ("stop_at = 900.0", []),
        ("", []),
    ],
)  # fmt: skip
def test_a_caution_that_can_never_come_first_is_said(levels, said):
    """12:1, 10 kN allowed at the load: 833 N of haul tension."""
    shown = late(rig(TWELVE, extra=RATED), levelled("cell", "haul", levels))
    assert len(shown) == len(said) and all(
        words in line for words, line in zip(said, shown, strict=True)
    )


def test_it_is_said_for_every_channel():
    text = levelled("cell", "haul", "warn_at = 700.0") + levelled(
        "tow", "load", "warn_at = 11000.0"
    )
    text += levelled("load_travel", "load", "warn_at = 5.0\nstop_at = 5.0", "length")
    shown = late(rig(TWELVE, extra=RATED), text)
    assert [line.split(":")[0] for line in shown] == ["tow", "load_travel"]
    assert "the stop level is 10000 N" in shown[0] and "at 5.00 m can never come first" in shown[1]


def test_the_demos_own_cautions_come_first():
    demo = parse_rig(demo_text("rig.toml"), "rig.toml")
    assert late(demo, demo_text("sensors.toml")) == []
    sensors = parse_sensors(demo_text("sensors.toml"), "sensors.toml")
    warned = [c for c in sensors.channels if c.warn_at is not None]
    assert warned and all(
        c.warn_at < predict(demo)["stop_hauling_at"]["haul_force_N"] for c in warned
    )
