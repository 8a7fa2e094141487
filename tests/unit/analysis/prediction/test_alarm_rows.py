"""The rig's limits as the recorder's alarms: the first thing to reach its limit, frictionless."""

import math

import pytest
from support.channels import channel
from support.rigs import TWELVE, rig

from analysis.mechanics.model import model
from analysis.prediction.alarm_rows import limit_rows, part_texts
from analysis.prediction.predict import predict
from analysis.rig_file.load import parse_rig
from analysis.simulation.demo_haul import demo_text
from dashboard.text.units import US
from logger.channels.sensors_file import parse_sensors
from logger.recorder.alarms import HOLD_S, AlarmState, judge

SENSORS = parse_sensors(channel("cell", "force", format="xdr", id="H", unit="N"), "sensors.toml")
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
    assert label.text() == row.label and label.text(US) == "P1: WLL 450 lbf"
    assert row.label == "P1: WLL 2 kN" and row.gain == pytest.approx(math.sqrt(2))
    assert row.stop / row.gain == pytest.approx(1414.2, abs=0.05)
    assert predict(known)["stop_hauling_at"]["haul_force_N"] == pytest.approx(row.stop / row.gain)
