"""The object of interface section 6: every key, plain values, faults in one line."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from support.readings import block, measured_ma, pull, review, sensors, three

from analysis.mechanics.model import model
from analysis.messages.catalogue import CATALOGUE
from analysis.review.review import agreement, review_session
from analysis.rig_file.load import parse_rig
from analysis.signals.channel_roles import check_places
from analysis.simulation.demo_haul import demo_text, simulate
from logger.errors import SensorsFault
from logger.session.csv_import import import_table

# interface section 6, word for word
SHAPE = {
    "title": "", "session": "", "state": "", "started_at": "", "duration_s": 0.0,
    "readings": {}, "dropped": {}, "ideal_ma": 9.0,
    "predicted": {"model_ma", "model_ma_u", "efficiency", "haul_force_N", "haul_force_u_N"},
    "measured": {"haul_force_N", "load_force_N", "load_force_method", "actual_ma", "efficiency",
                 "pulley_efficiency", "travel_efficiency", "work_efficiency", "haul_travel_m",
                 "load_travel_m", "load_travel_method", "work_in_J", "work_out_J", "why_not"},
    "agreement": {"en", "verdict"}, "strokes": [], "resets": 0, "events": [], "peaks": [],
    "chapters": [], "messages": [], "warnings": [],
}  # fmt: skip
STROKE = {"start_s", "end_s", "direction", "haul_travel_m", "load_travel_m", "mean_force_N",
          "peak_force_N", "work_J", "efficiency"}  # fmt: skip
EVENT = {"time_s", "end_s", "kind", "channel", "value", "text"}
MESSAGE = {"code", "text", "level", "values"}
PEAK = {"name", "force_N", "force_u_N", "at_most_N", "how", "limit_N", "use", "time_s", "chapter"}
CHAPTER = {"rig", "title", "from_s", "to_s", "ideal_ma", "predicted", "measured", "agreement", "strokes",
           "resets", "load_from_m", "load_to_m", "peaks"}  # fmt: skip


def _plain(value):
    assert value is None or type(value) in (str, int, float, bool, dict, list), type(value)
    for inner in (
        value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    ):
        _plain(inner)


def _has_shape(reviewed):
    assert reviewed.keys() == SHAPE.keys()
    for key in ("predicted", "measured", "agreement"):
        assert reviewed[key].keys() == SHAPE[key]
    for key, keys in (
        ("strokes", STROKE),
        ("events", EVENT),
        ("peaks", PEAK),
        ("messages", MESSAGE),
        ("chapters", CHAPTER),
    ):
        assert all(row.keys() == keys for row in reviewed[key])
    for chapter in reviewed["chapters"]:
        for key in ("predicted", "measured", "agreement"):
            assert chapter[key].keys() == SHAPE[key]
        assert all(row.keys() == PEAK for row in chapter["peaks"])
    assert reviewed["warnings"] == [row["text"] for row in reviewed["messages"]]
    assert all(row["level"] == CATALOGUE[row["code"]].level for row in reviewed["messages"])
    for key in ("haul_force_N", "actual_ma", "efficiency", "pulley_efficiency"):
        quantity = reviewed["measured"][key]
        assert quantity is None or quantity.keys() == {"value", "u", "U95", "n"}
    _plain(reviewed)
    json.dumps(reviewed, allow_nan=False)


def _import(folder, name, csv, rig=None, sensors_=None):
    (folder / "data.csv").write_text(csv)
    (folder / "rig.toml").write_text(rig or demo_text("rig.toml"))
    (folder / "sensors.toml").write_text(sensors_ or demo_text("sensors.toml"))
    return import_table(
        folder / "data.csv", folder / "rig.toml", folder / "sensors.toml", folder / name
    )


def test_a_session_folder_has_every_key(tmp_path):
    found = review_session(_import(tmp_path, "s", simulate(5, 20.0).csv()))
    _has_shape(found)
    assert found["state"] == "sealed"
    assert found["readings"]["haul_force"] == 1600
    assert found["measured"]["efficiency"]["n"] >= 3
    assert {"slip", "shock", "reset"} <= {e["kind"] for e in found["events"]}


def test_an_empty_table_and_a_table_of_zeros_have_every_key(tmp_path):
    header = "time_s,haul_force,rope_out,load_force,load_travel\n"
    zeros = "".join(f"{k / 50},0,0,0,0\n" for k in range(500))
    for name, rows in (("one", "0.0,1,1,1,1\n"), ("zeros", zeros)):
        found = review_session(_import(tmp_path, name, header + rows))
        _has_shape(found)
        assert found["measured"]["efficiency"] is None
        assert found["measured"]["why_not"]


def test_what_if_it_had_been_another_rig(tmp_path):
    session = _import(tmp_path, "s", simulate(5, 20.0).csv())
    other = tmp_path / "other.toml"
    other.write_text(
        demo_text("rig.toml").replace("pulley_efficiency = 0.90", "pulley_efficiency = 0.70")
    )
    first, second = review_session(session), review_session(session, other)
    assert second["predicted"]["model_ma"] < first["predicted"]["model_ma"]
    assert second["measured"]["actual_ma"] == first["measured"]["actual_ma"]
    assert second["agreement"]["en"] > 1 and "more than" in second["agreement"]["verdict"]


@pytest.mark.parametrize(
    ("wrong", "cure"), [("lod", "load"), ("A2", None), ("A1>T9", "A1>T1"), ("haull", "haul")]
)
def test_a_place_that_the_rig_does_not_have_is_one_line_that_names_the_nearest(wrong, cure):
    channels = sensors("haul")
    text = channels.text.replace('at = "haul"', f'at = "{wrong}"')
    from logger.channels.sensors_file import parse_sensors

    with pytest.raises(SensorsFault) as fault:
        check_places(three(), parse_sensors(text, "sensors.toml"))
    line = str(fault.value)
    assert "\n" not in line and line.startswith("sensors.toml: channel haul")
    assert wrong in line
    if cure:
        assert f'"{cure}"' in line


def test_a_length_at_a_travelling_pulley_is_refused():
    from logger.channels.sensors_file import parse_sensors

    text = sensors("rope").text.replace('at = "haul"', 'at = "T1"')
    with pytest.raises(SensorsFault, match="T1"):
        check_places(three(), parse_sensors(text, "sensors.toml"))


def test_en_by_hand():
    """ISO/IEC 17043: En = (x - X) / sqrt(U^2 + U_ref^2), |En| <= 1 agrees (form from memory)."""
    known = model(three())
    got = agreement(known, measured_ma(2.5, 0.05), "cell")
    U95 = 1.959964 * 0.05
    assert got.en == pytest.approx((2.5 - 2.71) / np.hypot(U95, 2 * known.model_ma_u))
    assert got.verdict.code == ("advantage_as_predicted" if abs(got.en) <= 1 else "advantage_less")


@pytest.mark.parametrize(
    ("value", "words"),
    [(2.71, "as predicted"), (1.5, "less than the 2.7 to 1 predicted"), (3.0, "more than the 2.7")],
)
def test_the_verdict_is_one_sentence_in_a_riggers_words(value, words):
    verdict = agreement(model(three()), measured_ma(value, 0.01), "cell").verdict.text()
    assert words in verdict
    assert verdict.count(". ") == 0 and "En" not in verdict


def test_a_known_load_may_itself_be_the_difference():
    """Worse than predicted with the load from the file: the ground may resist more."""
    assert (
        "a load that resists more"
        in agreement(model(three()), measured_ma(1.5, 0.01), "known").verdict.text()
    )
    assert (
        "load that resists"
        not in agreement(model(three()), measured_ma(1.5, 0.01), "cell").verdict.text()
    )


def test_peaks_are_never_below_the_frictionless_force():
    t, x, force = pull(50, 400.0, rope=6.0)
    found = review(three(), sensors("haul", "rope"), block(haul=(t, force), rope=(t, x)))
    known = {p.name: p for p in model(three()).parts}
    assert {row["name"] for row in found["peaks"]} == set(known)
    for row in found["peaks"]:
        assert row["at_most_N"] >= 400 * abs(known[row["name"]].ideal) - 1e-9
        assert row["force_N"] <= row["at_most_N"]


def test_no_heavy_module_is_imported_for_a_review():
    import subprocess
    import sys

    code = (
        "import sys, analysis.review.review, analysis.simulation.demo_haul; "
        "print([m for m in ('pandas', 'scipy', 'plotly', 'dash', 'serial') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


BESIDE = """anchor_to_load_m = 100.0
[defaults]
pulley_efficiency = 0.9
pulley_efficiency_u = 0.02
[load]
resistance_N = 400.0
[further_anchor.P1]
at_m = 0.0
offset_m = 0.0
wll_kN = 0.5
[[rope]]
name = "main"
path = [ { tie = "load" }, { pulley = "S", on = "P1" }, { haul = "team", toward_deg = 90 } ]
"""


def test_an_anchor_beside_the_axis_is_peaked_and_warned_of_by_its_vector_sum():
    """Haul at a right angle to the strand: 2 T cos 45 on the anchor, 400 N x 1.4142 = 566 N over 500 N."""
    t, x, force = pull(50, 400.0, rope=6.0)
    found = review(
        parse_rig(BESIDE, "r.toml"), sensors("haul", "rope"), block(haul=(t, force), rope=(t, x))
    )
    (row,) = (row for row in found["peaks"] if row["name"] == "P1")
    assert row["at_most_N"] == pytest.approx(400 * math.sqrt(2))
    assert row["use"] == pytest.approx(400 * math.sqrt(2) / 500)
    assert any(e["kind"] == "over_limit" and "P1" in e["text"] for e in found["events"])


def test_a_cell_at_an_anchor_beside_the_axis_does_not_hide_what_pulls_sideways():
    """The cell reads 0.9 T along the axis, sqrt(0.9^2 + 1) T = 1.345 T pulls on the anchor (statics):
    the cell does not rule, and the peak stays at most 1.4142 T, from the haul without friction."""
    t, x, force = pull(50, 400.0, rope=6.0)
    cell = sensors("haul", "anchor", "rope")
    cell = replace(
        cell,
        channels=tuple(replace(c, at="P1") if c.name == "anchor" else c for c in cell.channels),
    )
    found = review(
        parse_rig(BESIDE, "r.toml"), cell,
        block(haul=(t, force), anchor=(t, 0.9 * force), rope=(t, x)),
    )  # fmt: skip
    (row,) = (row for row in found["peaks"] if row["name"] == "P1")
    assert row["at_most_N"] == pytest.approx(400 * math.sqrt(2))


def test_an_assumed_knot_is_said_by_review():
    t, x, force = pull(50, 400.0, rope=6.0)
    weighed = BESIDE.replace('name = "main"', 'name = "main"\nmbs_kN = 6.0')
    found = review(
        parse_rig(weighed, "r.toml"), sensors("haul", "rope"), block(haul=(t, force), rope=(t, x))
    )
    assert any(
        w.startswith("load: the knot's strength is not stated; 0.50") for w in found["warnings"]
    )
    (row,) = (row for row in found["peaks"] if row["name"] == "load>S")
    assert row["limit_N"] == pytest.approx(300.0)  # 6 kN x 0.50 / 10
    assert any("x 0.5 (knot, assumed)" in e["text"] for e in found["events"])
