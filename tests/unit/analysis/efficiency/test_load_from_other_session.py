"""The load's force from an earlier session, as most crews can: one cell, two hauls."""

from __future__ import annotations

import math

import numpy as np
import pytest
from support.readings import analyse, block, pull, sensors, three, three_text

from analysis.efficiency.estimate import estimate
from analysis.efficiency.load_from_other_session import (
    cell_in_line,
    estimator_from_earlier_session,
    load_of_session,
    same_cell,
)
from analysis.mechanics.model import model
from analysis.review.review import review_session
from analysis.rig_file.load import parse_rig
from analysis.signals.channel_roles import roles
from logger.errors import SessionFault
from logger.session.csv_import import import_table

TOW = """
title = "plain tow"
anchor_to_load_m = 40.0
[[rope]]
name = "main"
path = [ { tie = "load" }, { haul = "team" } ]
"""
CELL = "u_percent = 2.0\nu = 3.0"


def _strokes(forces, hz=50):
    parts = [pull(hz, f, rope=6.0) for f in forces]
    length = parts[0][0][-1] + 1 / hz
    t = np.concatenate([p[0] + k * length for k, p in enumerate(parts)])
    x = np.concatenate([p[1] + 6.0 * k for k, p in enumerate(parts)])
    return t, x, np.concatenate([p[2] for p in parts])


def _folder(home, name, rig, channels, **columns):
    """A session imported from a table; channels: the sensors file."""
    t = columns.pop("t")
    rows = zip(t, *columns.values(), strict=True)
    text = ",".join(["time_s", *columns]) + "\n"
    text += "".join(",".join(f"{v:.6f}" for v in row) + "\n" for row in rows)
    (home / "data.csv").write_text(text)
    (home / "rig.toml").write_text(rig)
    (home / "sensors.toml").write_text(channels.text)
    return import_table(home / "data.csv", home / "rig.toml", home / "sensors.toml", home / name)


def _tow(home, forces=(990.0, 1000.0, 1010.0)):
    t, x, force = _strokes(forces)
    channels = sensors("haul", "rope", haul=CELL)
    return _folder(home, "first", TOW, channels, t=t, haul=force, rope=x)


def _haul(home, name="second", channel="haul", **more):
    t, x, force = _strokes([399.0, 400.0, 401.0])
    channels = sensors(channel, "rope", **(more or {channel: CELL}))
    rig = three_text(None)
    return _folder(home, name, rig, channels, t=t, **{channel: force}, rope=x)


def test_a_plain_tow_gives_the_load_to_a_session_that_does_not_know_it(tmp_path):
    """1000 N at the tow, 400 N at the haul: MA 2.5.  One cell: its 2 % fall out of the ratio, its
    zero u = 3 N stays with dMA = (1 - 2.5) u / 400; scatter of 990, 1000, 1010 is 5.77 N."""
    first, second = _tow(tmp_path), _haul(tmp_path)
    assert review_session(second)["measured"]["efficiency"] is None
    found = review_session(second, None, first)
    measured = found["measured"]
    assert measured["load_force_method"] == "cell"
    assert measured["load_force_N"]["value"] == pytest.approx(1000, rel=1e-4)
    assert measured["actual_ma"]["value"] == pytest.approx(2.5, rel=1e-4)
    each = np.array([399.0, 400.0, 401.0])
    spread = 2.5 * each.std(ddof=1) / math.sqrt(3) / 400
    want = math.hypot(spread, 10 / math.sqrt(3) / 400, 1.5 * 3 / 400)
    assert measured["actual_ma"]["u"] == pytest.approx(want, rel=0.01)
    assert measured["load_force_N"]["u"] == pytest.approx(
        math.hypot(10 / math.sqrt(3), 20.0, 3.0), rel=0.01
    )
    [line] = [w for w in found["warnings"] if str(first) in w]
    assert "same cell, haul" in line and "same ground" in line and "1000 N" in line


def test_another_cell_brings_its_whole_uncertainty(tmp_path):
    first = _tow(tmp_path)
    second = _haul(tmp_path, haul="u_percent = 1.0\nu = 1.0")
    measured = review_session(second, None, first)["measured"]
    cells = math.hypot(2.5 * 0.02, 2.5 * 0.01, 3 / 400, 2.5 / 400)
    assert measured["actual_ma"]["u"] > cells
    assert measured["actual_ma"]["u"] == pytest.approx(cells, rel=0.05)


def test_one_cell_in_line_with_the_load_and_none_at_the_haul(tmp_path):
    """The first session's only cell hangs between load and rig; force stays on it while grabs are
    slid back."""
    t, x, force = _strokes([1000.0, 1000.0, 1000.0])
    channels = sensors("cell", "rope", cell=CELL)
    rig = three_text(None)
    first = _folder(tmp_path, "first", rig, channels, t=t, cell=np.maximum(force, 300.0), rope=x)
    second = _haul(tmp_path)
    measured = review_session(second, None, first)["measured"]
    assert measured["actual_ma"]["value"] == pytest.approx(2.5, rel=2e-3)


def test_a_session_without_a_cell_in_line_is_refused_in_one_line(tmp_path):
    second = _haul(tmp_path)
    with pytest.raises(SessionFault) as fault:
        review_session(second, None, second)
    assert "no cell in line with the load" in str(fault.value)
    assert "\n" not in str(fault.value)


def test_a_still_session_is_refused(tmp_path):
    t = np.arange(0, 20, 0.02)
    zero = np.zeros(len(t))
    first = _folder(tmp_path, "still", TOW, sensors("haul", "rope"), t=t, haul=zero, rope=zero)
    with pytest.raises(SessionFault, match="no steady haul"):
        review_session(_haul(tmp_path), None, first)


def test_what_is_in_line_with_the_load():
    tow = parse_rig(TOW, "tow.toml")
    assert cell_in_line(tow, roles(tow, sensors("haul", "rope")))[1] == pytest.approx(1.0)
    assert cell_in_line(three(), roles(three(), sensors("haul", "rope"))) is None
    cell, gain = cell_in_line(three(), roles(three(), sensors("haul", "rope", "cell")))
    assert (cell.name, gain) == ("cell", 1.0)
    assert cell_in_line(three(), roles(three(), sensors("haul", "rope", "anchor"))) is None


def test_the_same_cell_is_the_one_that_states_the_same():
    [a, b] = [sensors("haul", haul=x).channels[0] for x in (CELL, CELL)]
    assert same_cell(a, b)
    assert not same_cell(a, sensors("haul", haul="u_percent = 1.0").channels[0])
    assert not same_cell(a, sensors("cell", cell=CELL).channels[0])


def test_against_monte_carlo():
    """JCGM 101: one cell with a random scale and zero in both sessions, strokes that differ; the
    spread of what is found is what is stated."""
    rng, found = np.random.default_rng(4), []
    tow = parse_rig(TOW, "tow.toml")
    rig = three(None)
    channels = sensors("haul", "rope", haul="u_percent = 2.0\nu = 3.0")
    for _ in range(40):
        gain, zero = 1 + 0.02 * rng.standard_normal(), 3.0 * rng.standard_normal()
        one = _strokes(1000 * (1 + 0.01 * rng.standard_normal(4)), hz=10)
        two = _strokes(400 * (1 + 0.01 * rng.standard_normal(4)), hz=10)
        sent = [
            block(haul=(t, np.where(f > 0, f * gain + zero, 0.0)), rope=(t, x))
            for t, x, f in (one, two)
        ]
        first = analyse(tow, channels, sent[0])
        before = load_of_session("first", tow, first, first.roles.haul_force, 1.0)
        second = analyse(rig, channels, sent[1])
        found.append(
            estimate(
                rig, model(rig), second, estimator_from_earlier_session(before, second)
            ).actual_ma
        )
    values = np.array([q.value for q in found])
    assert values.mean() == pytest.approx(2.5, rel=0.005)
    assert np.mean([q.u for q in found]) == pytest.approx(values.std(ddof=1), rel=0.3)
    assert np.mean([abs(q.value - 2.5) <= q.U95 for q in found]) >= 0.88
