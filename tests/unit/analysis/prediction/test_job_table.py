"""The job stroke by stroke: what is two-blocked, what is reset, how the haul force grows."""

import math

import pytest
from support.rigs import HUNG, NINE, THREE, WEIGHT, rig

from analysis.mechanics.model import model
from analysis.prediction.job_table import job_table
from analysis.prediction.predict import predict


def test_job_table_tells_what_is_two_blocked_and_reset():
    known = model(rig(NINE, extra=HUNG + "pull_distance_m = 60\n"))
    rows, done = job_table(known, "each")
    assert len(rows) == done.strokes
    assert rows[0].two_blocked == ("G2", "anchor") and rows[0].reset == ("G2",)
    assert rows[-1].load_m == pytest.approx(60.0) and rows[-1].two_blocked == ()
    assert rows[-1].haul_m == pytest.approx(done.haul_m)
    assert [row.number for row in rows] == list(range(1, len(rows) + 1))


def test_haul_force_grows_as_angles_grow():
    """A 3:1 whose haul strand leads off to an anchor 4 m beside the axis: W = T (2 + cos a) (statics)."""
    extra = HUNG + "pull_distance_m = 15\n[further_anchor.P1]\nat_m = 0.0\noffset_m = 4.0\n"
    path = "tie:load grab:G1@18 pulley:A1@anchor pulley:T1@G1 pulley:R@P1 haul:90"
    known = model(rig(path, length=20.0, e=1.0, extra=extra))
    rows, done = job_table(known, "each")
    start = WEIGHT / (2 + math.cos(math.atan2(4, 18)))
    assert known.haul_force_N == pytest.approx(start)
    # 15 m on, the grab is 3 m from the anchor
    assert rows[-1].steepest_deg == pytest.approx(math.degrees(math.atan2(4, 3)))
    assert rows[-1].haul_N == pytest.approx(WEIGHT / (2 + 0.6)) and rows[-1].haul_N > start
    # rope out: two strands shorter by 15 m each, the slanting one from sqrt(18^2 + 4^2) to 5 m
    assert done.haul_m == pytest.approx(30 + math.hypot(18, 4) - 5, abs=1e-6)


def test_what_grows_on_the_way_is_warned_of():
    """As above: 1000 / (2 + cos a) from 338 N at the start to 385 N; a rope limit between is named."""
    extra = (
        HUNG
        + "pull_distance_m = 15\n[further_anchor.P1]\nat_m = 0.0\noffset_m = 4.0\nwll_kN = 0.2\n"
    )
    path = "tie:load grab:G1@18 pulley:A1@anchor pulley:T1@G1 pulley:R@P1 haul:90"
    known = predict(rig(path, length=20.0, e=1.0, extra=extra))
    assert any("grows to 385 N during the job" in text for text in known["warnings"])
    plain = predict(rig(THREE, e=1.0, extra=HUNG))
    assert not any("grows to" in text or "later in the job" in text for text in plain["warnings"])
