"""The rig's limits as the recorder's alarms: the first thing to reach its limit, frictionless."""

import pytest
from rig_makers import TWELVE, rig

from analysis.alarm_table import limit_rows
from analysis.predict import predict
from logger.alarms import HOLD_S, AlarmState, judge
from logger.sensors import parse_sensors

SENSORS = parse_sensors(
    '[[channel]]\nname = "cell"\nquantity = "force"\nat = "haul"\nformat = "xdr"\nid = "H"\nunit = "N"\n',
    "sensors.toml",
)
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


def test_no_alarm_is_made_up_where_nothing_is_rated():
    assert limit_rows(rig(TWELVE), SENSORS) == ()
