"""What a rigger is told: pulleys are not blamed for ground, the rig that was built is asked about,
the stage that drags is named, a changed rig has a result of its own."""

from __future__ import annotations

import numpy as np
import pytest
from support.readings import (
    analyse,
    block,
    columns_sensors,
    info,
    measured_ma,
    pull,
    review,
    sensors,
    three,
    three_text,
)
from support.rigs import HAUL, stage, three_to_one_stations
from support.rigs import rig as made_rig

from analysis.efficiency.as_built_check import as_built
from analysis.efficiency.estimate import estimate
from analysis.efficiency.stage_losses import stages
from analysis.efficiency.verdict import Change, agreement, changes
from analysis.mechanics.model import model
from analysis.messages.message import texts
from analysis.review.review import review_all
from analysis.rig_file.load import parse_rig
from analysis.signals.channel_roles import roles
from analysis.strokes.analyser import Analyser
from logger.session.records import Event


def _session(forces, rope=6.0, hz=40, **columns):
    """Strokes of `rope`, under forces (numbers or functions of rope); columns: of the force."""
    parts = [pull(hz, f, rope=rope) for f in forces]
    length = parts[0][0][-1] + 1 / hz
    t = np.concatenate([p[0] + k * length for k, p in enumerate(parts)])
    x = np.concatenate([p[1] + rope * k for k, p in enumerate(parts)])
    force = np.concatenate([p[2] for p in parts])
    made = {name: (t, make(force, x)) for name, make in columns.items()}
    return block(haul=(t, force), rope=(t, x), **made)


def test_a_known_load_over_changing_ground_does_not_blame_the_pulleys():
    """Haul force up by a third from stroke to stroke; the file's load was never measured."""
    found = review(three(1000, 10), sensors("haul", "rope"), _session([400.0, 450.0, 500.0, 550.0]))
    verdict = found["agreement"]["verdict"]
    assert found["agreement"]["en"] < -1
    assert "from the first stroke to the last" in verdict and "measure the load force" in verdict
    assert "look for a pulley" not in verdict
    assert verdict.count(". ") == 0


def test_a_drift_inside_each_stroke_is_told_from_a_change_between_strokes():
    within = _session([lambda x: 400 + 25 * x] * 4)
    between = _session([400.0, 430.0, 460.0, 490.0])
    one, two = (
        changes(list(analyse(three(), sensors("haul", "rope"), data).strokes))
        for data in (within, between)
    )
    assert one.within == pytest.approx(150 / 475, abs=0.05) and one.between == 0.0
    assert two.within == 0.0 and two.between == pytest.approx(90 / 445, rel=0.05)
    verdict = agreement(model(three()), measured_ma(2.3), "known", one).verdict.text()
    assert "along each stroke" in verdict


def test_one_level_stroke_changed_by_nothing():
    """There is no other stroke to compare it with, and within it the force is level."""
    strokes = analyse(three(), sensors("haul", "rope"), _session([400.0])).strokes
    assert changes(list(strokes)) == Change(0.0, 0.0, 0.0)


def test_a_steady_haul_that_is_too_heavy_blames_what_can_be_to_blame():
    found = review(three(1000, 10), sensors("haul", "rope"), _session([500.0, 501.0, 499.0]))
    assert "look for a pulley that drags" in found["agreement"]["verdict"]


def test_an_advantage_far_below_asks_whether_it_is_the_rig_of_the_file():
    """2:1 built where the file says 5:1 gives 1.9 of 4.1; a dragging pulley alone takes less."""
    said = [
        agreement(model(three()), measured_ma(v), "cell", Change()).verdict.text()
        for v in (1.9, 2.4)
    ]
    assert ["not the one in the file" in text for text in said] == [True, False]


def test_a_small_change_does_not_excuse_a_large_difference():
    change = Change(spread=0.05)
    assert (
        "look for a pulley"
        in agreement(model(three()), measured_ma(1.8), "known", change).verdict.text()
    )


def test_with_a_cell_at_the_load_ground_and_rig_are_told_apart():
    ground = _session([400.0, 440.0, 480.0, 520.0], cell=lambda f, x: 2.6 * f)
    worse = _session([400.0, 440.0, 480.0, 520.0], cell=lambda f, x: np.where(f > 0, 1040.0, 0.0))
    channels = sensors("haul", "rope", "cell")
    said = [" ".join(review(three(), channels, data)["warnings"]) for data in (ground, worse)]
    assert "the ground changed, not the rig" in said[0]
    assert "check the rig" in said[1]


@pytest.mark.parametrize(
    ("gain", "words"),
    [
        (1 / 9, "rope and load travel give 9 to 1"),
        (1 / 4.4, "rope and load travel give 4.4 to 1"),
        (1 / 4.12, "rope and load travel give 4 to 1"),
    ],
)
def test_travel_of_another_rig_is_asked_about(gain, words):
    found = review(
        three(), sensors("haul", "rope", "way"), _session([400.0] * 3, way=lambda f, x: x * gain)
    )
    [line] = [w for w in found["warnings"] if "check that the rig is" in w]
    assert words in line and "the rig file gives 3 to 1" in line


def test_travel_of_the_rig_in_the_file_is_not_asked_about():
    for gain in (1 / 3, 1 / 3.2):
        found = review(
            three(),
            sensors("haul", "rope", "way"),
            _session([400.0] * 3, way=lambda f, x, g=gain: x * g),
        )
        assert not [w for w in found["warnings"] if "check that the rig is" in w]


def test_a_stroke_longer_than_the_rig_has_room_for_is_asked_about():
    """3:1 with the grab 2 m from the anchor: 1.7 m of load, 5.1 m of rope, then two-blocked."""
    short = made_rig("tie:load grab:G1@2 pulley:A1@anchor pulley:T1@G1 haul")
    result = analyse(short, sensors("haul", "rope"), _session([400.0], rope=9.0))
    [line] = texts(as_built(short, model(short), result))
    assert "9.0 m of rope" in line and "two-blocked after 5.1 m" in line
    fits = analyse(short, sensors("haul", "rope"), _session([400.0], rope=5.0))
    assert as_built(short, model(short), fits) == []


def test_the_stage_that_drags_is_named():
    """3:1 on 3:1, e = 0.9 but the pulleys of the first stage (next to the team) at 0.6: 1.96 of 3."""
    nine = made_rig(
        "tie:load grab:G1@80 pulley:A1@anchor pulley:T1@G1 grab:G2@60 pulley:A2@anchor pulley:T2@G2 haul",
        extra='[load]\nresistance_N = 2125.0\nresistance_u_N = 20.0\n',
    )  # fmt: skip
    from logger.channels.sensors_file import parse_sensors

    text = sensors("haul", "rope", "cell").text.replace('at = "load"', 'at = "T1>G2"')
    between = parse_sensors(text.replace("u_percent = 0.5", ""), "sensors.toml")
    data = _session([400.0, 400.0, 400.0], cell=lambda f, x: 1.96 * f)
    result = analyse(nine, between, data)
    rows = stages(nine, model(nine), result, estimate(nine, model(nine), result))
    assert [(s.start, s.end) for s in rows] == [("haul", "T1>G2"), ("T1>G2", "load")]
    assert [s.ideal for s in rows] == pytest.approx([3.0, 3.0])
    assert [s.model for s in rows] == pytest.approx([2.71, 2.71])
    assert rows[0].measured.value == pytest.approx(1.96)
    assert rows[1].measured.value == pytest.approx(2125 / (1.96 * 400), rel=1e-3)
    said = [w for w in review(nine, between, data)["warnings"] if "drags" in w]
    assert len(said) == 1 and "from haul to T1>G2" in said[0]


def test_two_cells_at_one_tension_make_no_stage_and_hide_none():
    """9:1 with a cell at the haul, one at the strand that leaves its pulley and is as loaded but for friction, and one
    between the stages: the first two are no stage (1 to 1, ideal), the others are two of 3 to 1."""
    nine = made_rig(
        "tie:load grab:G1@80 pulley:A1@anchor pulley:T1@G1 grab:G2@60 pulley:A2@anchor pulley:T2@G2 haul",
        extra="[load]\nresistance_N = 2900.0\nresistance_u_N = 20.0\n",
    )
    cells = columns_sensors(
        [("haul", "force", "haul"), ("rope", "length", "haul"), ("near", "force", "A2>T2"),
         ("mid", "force", "T1>G2")]
    )  # fmt: skip
    data = _session([400.0] * 3, near=lambda f, x: 0.9 * f, mid=lambda f, x: 2.7 * f)
    result = analyse(nine, cells, data)
    rows = stages(nine, model(nine), result, estimate(nine, model(nine), result))
    assert [s.end for s in rows] == ["T1>G2", "load"]
    assert [s.ideal for s in rows] == pytest.approx([3.0, 3.0])


def test_a_rig_changed_on_the_way_has_both_results():
    """3:1 at 400 N, then 9:1 at 150 N, load 1000 N; the object shows the first, chapters show both."""
    first = three(1000, 10)
    stations = [*three_to_one_stations(90.0)[:-1], *stage(2, 80.0, capture=False), HAUL]
    second = parse_rig(three_text(1000, 10, stations=stations), "rig-2.toml")
    channels = sensors("haul", "rope")
    data = _session([400.0, 401.0, 399.0, 150.0, 150.5, 149.5])
    change = Event(3 * (2.0 + 12.0 + 3.0) + 0.5, "r", "rig", "", None, "rig-2.toml")
    analyser = Analyser(
        roles=roles(first, channels), later=lambda name: (second, roles(second, channels))
    )
    analyser.push(
        block(**{n: (r.time_s, r.reading) for n, r in data.readings.items()}, events=[change]), -1
    )
    whole = review_all(info(channels), first, analyser.result())
    assert [c.name for c in whole.chapters] == ["rig.toml", "rig-2.toml"]
    mas = [c.estimates.actual_ma.value for c in whole.chapters]
    assert mas == pytest.approx([2.5, 1000 / 150], rel=2e-3)
    assert whole.json["ideal_ma"] == pytest.approx(3.0)
    assert whole.json["measured"]["actual_ma"]["value"] == pytest.approx(2.5, rel=2e-3)
    one, two = whole.json["chapters"]
    assert two["ideal_ma"] == pytest.approx(9.0)
    assert two["measured"]["actual_ma"]["value"] == pytest.approx(1000 / 150, rel=2e-3)
    assert (one["strokes"], two["strokes"]) == ([0, 1, 2], [3, 4, 5])
    assert len(whole.json["strokes"]) == 6
    effs = [s["efficiency"]["value"] for s in whole.json["strokes"]]
    assert effs[0] == pytest.approx(400 * 2.5 / 1200, rel=1e-2)
    assert effs[5] == pytest.approx(1000 / 149.5 / 9, rel=1e-2)
    [line] = [w for w in whole.json["warnings"] if "rig was changed" in w]
    assert "2 chapters" in line and "chapter 1, rig.toml" in line
    assert "inf" not in line
