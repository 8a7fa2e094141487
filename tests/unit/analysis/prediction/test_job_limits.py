"""Stop level and use are judged in every condition and over the whole job, and say in which."""

from __future__ import annotations

import math
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.rigs import NINE, THREE, rig

from analysis.mechanics.load_cases import conditions
from analysis.mechanics.model import model
from analysis.mechanics.tension import tensions
from analysis.prediction.alarm_rows import limit_rows, part_texts
from analysis.prediction.choose_rig import GearRatings, Need, judge, shelf
from analysis.prediction.predict import predict
from analysis.rig.rig import Load
from analysis.rig_file.load import parse_rig
from logger.channels.sensors_file import parse_sensors

SENSORS = parse_sensors(
    '[[channel]]\nname = "cell"\nquantity = "force"\nat = "haul"\nformat = "xdr"\nid = "H"\nunit = "N"\n',
    "sensors.toml",
)
HANGING = '[load]\nkind = "hanging"\nmass_kg = 100.0\n'
WEIGHT_N = 100 * 9.80665
# a body 3 m beside the axis, over which the load is pulled from 12 m to 4 m
BESIDE = "[further_anchor.P]\nat_m = 0.0\noffset_m = 3.0\nwll_kN = 1.0\n"
OVER_P = "tie:load pulley:R@P haul"


def row(found, name):
    rows = {r["name"]: r for r in found["elements"]}
    rows |= {f"{r['from']}>{r['to']}": r for r in found["strands"]}
    return rows[name]


def stop(made):
    found = predict(made)["stop_hauling_at"]
    return found["haul_force_N"], found["because"]


def test_the_shelf_rig_with_its_redirect_rated_stops_at_the_whole_force():
    name = "3-on-3-redirect-own-anchor"
    text = (files("analysis") / "rigs" / f"{name}.toml").read_text("utf-8")
    level_N, because = stop(
        parse_rig(text.replace("[further_anchor.P1]\n", "[further_anchor.P1]\nmbs_kN = 10\n"), name)
    )
    assert level_N == pytest.approx(755.5, abs=0.05)
    assert because == "P1: 10 kN breaking strength / 10, raising"


def test_a_capture_that_holds_the_whole_load_sets_the_stop_level():
    """Raising, rope runs through C1 and nothing loads it; hands off, it holds nine times the haul tension."""
    rated = rig(NINE, extra=HANGING + "[capture.C1]\nwll_kN = 0.9\n")
    assert stop(rated) == (pytest.approx(100.0), "C1: WLL 0.9 kN, held on C1")
    c1 = row(predict(rated), "C1")
    assert (c1["use"], c1["use_in"]) == (pytest.approx(WEIGHT_N / 900), "held on C1")
    assert any(
        w.startswith("C1: 0.98 kN held on C1 is over the allowed 0.90 kN")
        for w in predict(rated)["warnings"]
    )


def test_an_anchor_is_loaded_most_when_the_load_runs_back():
    """3:1 of two 0.90 pulleys: running back, the haul holds 1 / (1 + 1/e + 1/e^2) of the load (298.893 N of
    1000 N, closed form) and the anchor the rest: 3 T x 0.701107; raising without friction it is 2 T."""
    rated = rig(THREE, extra=HANGING + "[anchor]\nwll_kN = 1.0\n")
    share = 1 - 1 / 3.345679
    assert stop(rated) == (
        pytest.approx(1000 / (3 * share), rel=1e-6),
        "anchor: WLL 1 kN, running back",
    )
    anchor = row(predict(rated), "anchor")
    assert (anchor["use"], anchor["use_in"]) == (
        pytest.approx(WEIGHT_N * share / 1000, rel=1e-6),
        "running back",
    )


def test_a_load_that_the_ground_holds_does_not_run_back():
    flat = '[load]\nkind = "rolling"\nmass_kg = 100.0\nresistance_coefficient = 0.1\n'
    assert stop(rig(THREE, extra=flat + "[anchor]\nwll_kN = 1.0\n")) == (
        pytest.approx(500.0), "anchor: WLL 1 kN, raising",
    )  # fmt: skip
    steep = (
        '[load]\nkind = "slope"\nmass_kg = 100.0\nslope_deg = 5.0\nresistance_coefficient = 0.3\n'
    )
    assert stop(rig(THREE, extra=steep + "[anchor]\nwll_kN = 1.0\n"))[1].endswith("raising")


def test_breaking_away_is_the_condition_where_it_takes_most():
    sticky = '[load]\nkind = "dragging"\nmass_kg = 100.0\nresistance_coefficient = 0.5\nbreakaway = 2.0\nwll_kN = 0.9\n'
    found = predict(rig(THREE, extra=sticky))
    assert (row(found, "load")["use"], row(found, "load")["use_in"]) == (
        pytest.approx(WEIGHT_N / 900), "breaking away",
    )  # fmt: skip
    assert any(
        w.startswith("load: 0.98 kN breaking away is over the allowed") for w in found["warnings"]
    )


def test_an_angle_that_grows_over_the_job_sets_the_stop_level():
    """Strand from P, 3 m beside the axis, to the load, haul along the axis: sqrt(2 - 2 cos) of the haul
    tension on P (vectors by hand), with cos = x / hypot(x, 3): 12 m at the start, 4 m at the end."""

    def gain(x):
        return math.sqrt(2 - 2 * x / math.hypot(x, 3))

    at_start = rig(OVER_P, length=12.0, extra=BESIDE + "[load]\npull_distance_m = 0.001\n", e=1.0)
    assert stop(at_start)[0] == pytest.approx(1000 / gain(12), rel=1e-3)
    whole = rig(OVER_P, length=12.0, extra=BESIDE + "[load]\npull_distance_m = 8.0\n", e=1.0)
    assert stop(whole) == (
        pytest.approx(1000 / gain(4), rel=1e-6),
        "P: WLL 1 kN, raising later in the job",
    )
    # 1000 N of load: 1000 / cos at the haul, so that P carries gain / cos of it
    pulled = rig(
        OVER_P,
        length=12.0,
        extra=BESIDE + "[load]\nresistance_N = 1600.0\npull_distance_m = 8.0\n",
        e=1.0,
    )
    found = predict(pulled)
    use = 1.6 * gain(4) / (4 / 5)
    assert use > 1 > 1.6 * gain(12) / (12 / math.hypot(12, 3))
    assert (row(found, "P")["use"], row(found, "P")["use_in"]) == (pytest.approx(use), "raising")
    assert any(
        w.startswith("P: 1.26 kN later in the job is over the allowed 1.00 kN")
        for w in found["warnings"]
    )


def test_beyond_162_degrees_the_force_with_friction_counts():
    """Strands of 0.9 T and T at 171.5 degrees: sqrt(0.81 + 1 - 1.8 cos), more than 2 T cos(171.5 / 2)."""
    cosine = 20 / math.hypot(20, 3)
    known = rig(OVER_P, length=20.0, extra=BESIDE + "[load]\npull_distance_m = 0.001\n")
    frictionless, with_friction = math.sqrt(2 - 2 * cosine), math.sqrt(1.81 - 1.8 * cosine)
    assert with_friction > frictionless
    assert stop(known)[0] == pytest.approx(1000 / with_friction, rel=1e-3)


def test_a_given_haul_force_has_the_load_behind_it_that_it_lifts_without_friction():
    rated = rig(NINE, extra="[capture.C1]\nwll_kN = 0.9\n")
    for haul_N, over in ((99.0, False), (101.0, True)):
        c1 = row(predict(rated, haul_N), "C1")
        assert c1["use_in"] == "held on C1" and (c1["use"] > 1) == over
        assert c1["use"] == pytest.approx(9 * haul_N / 900)
        assert c1["force_N"] == pytest.approx(0.0)  # as it is raised


def test_without_load_or_haul_force_use_and_its_condition_are_null():
    found = predict(rig(NINE, extra="[capture.C1]\nwll_kN = 0.9\n"))
    assert {(r["use"], r["use_in"]) for r in (*found["strands"], *found["elements"])} == {
        (None, None)
    }


def test_a_haul_force_above_the_stop_level_is_said():
    """1 kN on a 3:1 needs 369 N; 333 N of it would lift 1 kN without friction, 0.99 of the load's 1.01 kN."""
    rated = rig(THREE, extra="[load]\nresistance_N = 1000.0\nwll_kN = 1.01\n")
    (said,) = (w for w in predict(rated)["warnings"] if "stop level" in w)
    assert said.startswith(
        "the haul needs 369 N, but the stop level is 337 N (load: WLL 1.01 kN, raising)"
    )
    roomy = rig(THREE, extra="[load]\nresistance_N = 1000.0\nwll_kN = 1.2\n")
    assert not any("stop level" in w for w in predict(roomy)["warnings"])


SHELF = shelf()


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(sorted(SHELF)), st.data())
def test_the_recorder_stops_where_predict_does_and_no_part_is_over_its_limit_below(name, data):
    """The alarm's level is the stop level. Below it no condition loads a part over its limit, whatever the
    pulleys lose while hauling (random efficiencies, the same linear system)."""
    text = (files("analysis") / "rigs" / f"{name}.toml").read_text("utf-8")
    mbs = data.draw(st.floats(5, 200))
    made = parse_rig(
        text.replace(
            "[[rope]]",
            f"[anchor]\nmbs_kN = {data.draw(st.floats(5, 200))!r}\n[[rope]]\nmbs_kN = {mbs!r}",
            1,
        ),
        name,
    )
    (alarm,) = limit_rows(made, SENSORS)
    level_N, because = stop(made)
    assert alarm.stop / alarm.gain == pytest.approx(level_N)
    assert alarm.label == because.removeprefix("strand ")
    assert part_texts(model(made))[f"stop: {alarm.label}"].text() == f"stop: {alarm.label}"
    known = model(made)
    drawn = tensions(
        known.system, np.random.default_rng(3).uniform(0.4, 1.0, (20, len(made.turns)))
    )
    for piece in known.pieces:
        if piece.limit_N is not None:
            worst = max(abs(piece.force(t)) for t in drawn)
            assert worst * level_N <= piece.limit_N * (1 + 1e-9)
    for case in conditions(known):
        if case.name.startswith("held"):
            for one in case.rows:
                if one.limit_N is not None:
                    assert abs(one.of_load) * known.ideal_ma * level_N <= one.limit_N * (1 + 1e-9)


def test_choose_names_the_condition_of_the_whole_job():
    """On the rig whose redirect stands beside the axis the highest use is predict's."""
    need = Need(
        Load(resistance_N=3000.0, resistance_u_N=300.0, pull_distance_m=15.0), 200.0, 600.0,
        gear=GearRatings(anchor_mbs_N=40_000.0),
    )  # fmt: skip
    option = judge("own", SHELF["3-on-3-redirect-own-anchor"], need)
    assert option.most_used is not None and option.first_limit is not None
    assert option.first_limit.values["condition"].split(" later")[0] in (
        "raising",
        "held on C1",
        "running back",
    )
