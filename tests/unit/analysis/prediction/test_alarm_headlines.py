"""What an alarm is about: a knot where it sets the limit, else the part, with the force it is allowed."""

from __future__ import annotations

import pytest
from support.channels import channel
from support.rigs import three_to_one

from analysis.mechanics.model import model
from analysis.prediction.alarm_headlines import parts_at_risk
from analysis.prediction.alarm_rows import limit_rows
from analysis.rig_file.load import parse_rig
from logger.channels.sensors_file import parse_sensors

SENSORS = parse_sensors(channel("cell", "force", format="xdr", id="H", unit="N"), "sensors.toml")
ROPE = 'name = "main"\nmbs_kN = 51.0\n'


def at_risk(text):
    known = parse_rig(text, "rig.toml")
    (row,) = limit_rows(known, SENSORS)
    found = parts_at_risk(model(known))[row.label]
    assert row.label in parts_at_risk(model(known))
    return found.what.text(), found.limit_N


def test_a_knot_that_sets_the_limit_is_named_with_its_place():
    knotted = three_to_one(knot=0.5).replace('name = "main"\n', ROPE)
    what, limit_N = at_risk(knotted)
    assert what == "knot at the load" and limit_N == pytest.approx(2550.0)


@pytest.mark.parametrize(
    ("table", "what", "limit_N"),
    [
        ("[grab.G1]\nslips_at_kN = 1.5\n", "grab G1", 1500.0),
        ("[pulley.T1]\nwll_kN = 1.0\n", "pulley T1", 1000.0),
        ("[anchor]\nmbs_kN = 9.0\n", "anchor", 900.0),
        ("[load]\nwll_kN = 1.2\n", "load", 1200.0),
    ],
)
def test_another_part_is_named_by_kind_and_name(table, what, limit_N):
    assert at_risk(three_to_one() + table) == (what, pytest.approx(limit_N))
