"""Estimates and their uncertainty against hand arithmetic and published tables."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from support.readings import analyse, block, pull, review, sensors, three

from analysis.efficiency.estimate import estimate, haul_force
from analysis.efficiency.load_estimators import Observations
from analysis.efficiency.uncertainty import t_quantile
from analysis.mechanics.model import common_efficiency, model, model_ma_with
from analysis.signals.lag_from_ripple import ChannelLag
from logger.calibration.calibration import fit


def _three_strokes(forces, cell=None, hz=50):
    """Strokes of 6 m of rope, with a rope counter; cell: force at the load over haul force."""
    parts = [pull(hz, f, rope=6.0) for f in forces]
    length = parts[0][0][-1] + 1 / hz
    t = np.concatenate([p[0] + k * length for k, p in enumerate(parts)])
    x = np.concatenate([p[1] + 6.0 * k for k, p in enumerate(parts)])
    force = np.concatenate([p[2] for p in parts])
    channels = {"haul": (t, force), "rope": (t, x)}
    if cell is not None:
        channels["cell"] = (t, force * cell)
    return channels


def test_known_load_by_hand():
    """W 1000(10) N; S 390, 400, 410 N, cell u 1 % and 3 N.  MA = W / S = 2.5; relative parts:
    scatter of W/S, load 1 %, cell sqrt((1 %)^2 + (3/400)^2)."""
    channels = _three_strokes([390.0, 400.0, 410.0])
    found = review(
        three(1000, 10), sensors("haul", "rope", haul="u_percent = 1.0\nu = 3.0"), block(**channels)
    )
    measured = found["measured"]
    ratios = np.array([1000 / 390, 1000 / 400, 1000 / 410])
    scatter = ratios.std(ddof=1) / math.sqrt(3)
    b = 2.5 * math.hypot(0.01, 0.01, 3 / 400)
    u = math.hypot(scatter, b)
    degrees = u**4 / (scatter**4 / 2)
    assert measured["load_force_method"] == "known"
    assert measured["load_force_N"]["value"] == 1000.0
    ma = measured["actual_ma"]
    assert ma["value"] == pytest.approx(2.5, rel=1e-4)
    assert ma["n"] == 3
    assert ma["u"] == pytest.approx(u, rel=1e-3)
    assert ma["U95"] == pytest.approx(u * t_quantile(degrees), rel=1e-3)
    efficiency = measured["efficiency"]
    assert efficiency["value"] == pytest.approx(2.5 / 3, rel=1e-4)
    assert efficiency["U95"] == pytest.approx(ma["U95"] / 3)
    # 1 + e + e^2 = 2.5
    e = (-1 + math.sqrt(1 + 4 * 1.5)) / 2
    assert measured["pulley_efficiency"]["value"] == pytest.approx(e, rel=1e-4)
    assert measured["pulley_efficiency"]["u"] == pytest.approx(ma["u"] / (1 + 2 * e), rel=0.02)


@pytest.mark.parametrize("points", [3, 4, 8])
def test_a_calibration_of_few_points_is_known_to_few_degrees_of_freedom(points):
    """Points less two fitted coefficients (JCGM 100, G.4.2): the scatter alone stands here."""
    applied = np.linspace(0, 1000, points)
    wave = np.array([1.0, -1.0] * 4)[:points]
    curve = fit(list(applied), list(2 * applied + wave), 1)
    cell = replace(sensors("haul").by_name("haul"), calibration=curve)
    seen = Observations(np.ones(3), np.full((3, 1), 400.0), (ChannelLag(),))
    found = haul_force(cell, seen)
    assert found.degrees == pytest.approx(points - 2)
    assert found.U95 / found.u == pytest.approx(t_quantile(points - 2))
    stated = haul_force(replace(cell, calibration=None, u=1.0), seen)
    assert stated.degrees == math.inf
    # applied values known worse than the readings scatter: little is left that few points must tell
    known = fit(list(applied), list(2 * applied + wave), 1, applied_u=[5.0] * points)
    assert haul_force(replace(cell, calibration=known), seen).degrees > 20 * (points - 2)


def test_a_cell_at_the_load_goes_before_what_the_file_says():
    channels = _three_strokes([400.0, 400.0, 400.0], cell=2.6)
    found = review(
        three(1000, 10), sensors("haul", "rope", "cell", cell="u_percent = 2.0"), block(**channels)
    )
    measured = found["measured"]
    assert measured["load_force_method"] == "cell"
    assert measured["actual_ma"]["value"] == pytest.approx(2.6)
    assert measured["actual_ma"]["u"] == pytest.approx(2.6 * 0.02, rel=1e-3)
    assert measured["work_out_J"] == pytest.approx(
        measured["load_force_N"]["value"] * 6.0, rel=1e-3
    )
    assert measured["work_efficiency"] is None  # needs a counter at the load


def test_a_cell_at_the_anchor_gives_the_load_and_shares_the_haul_cells_error_once():
    """Hauled toward the anchor: load = anchor + S (equilibrium along the haul axis).  With
    anchor 1.71 S, MA = (A + S) / S = A/S + 1, so the haul cell's 2 % counts on 1.71, not 2.71."""
    channels = _three_strokes([400.0, 400.0, 400.0])
    t, force = channels["haul"]
    channels["anchor"] = (t, 1.71 * force)
    found = review(
        three(None), sensors("haul", "rope", "anchor", haul="u_percent = 2.0"), block(**channels)
    )
    measured = found["measured"]
    assert measured["load_force_method"] == "cell"
    assert measured["actual_ma"]["value"] == pytest.approx(2.71)
    assert measured["actual_ma"]["u"] == pytest.approx(1.71 * 0.02, rel=1e-6)
    assert measured["load_force_N"]["u"] == pytest.approx(400 * 0.02, rel=1e-6)


def test_an_unknown_load_leaves_nulls_and_says_what_to_measure():
    channels = _three_strokes([400.0, 405.0, 395.0])
    measured = review(three(None), sensors("haul", "rope"), block(**channels))["measured"]
    assert measured["load_force_method"] == "model"
    assert measured["load_force_N"]["value"] == pytest.approx(400 * 2.71, rel=1e-3)
    assert measured["haul_force_N"]["value"] == pytest.approx(400, rel=1e-3)
    assert measured["actual_ma"] is measured["efficiency"] is measured["pulley_efficiency"] is None
    assert "cell at the load" in measured["why_not"]


def test_more_than_the_ideal_is_refused_with_the_usual_causes():
    channels = _three_strokes([300.0, 301.0, 299.0])
    found = review(
        three(1000, 5), sensors("haul", "rope", haul="u_percent = 1.0"), block(**channels)
    )
    measured = found["measured"]
    assert measured["actual_ma"] is None and measured["efficiency"] is None
    assert "ideal" in measured["why_not"] and "ahead of the haul cell" in measured["why_not"]
    assert found["agreement"]["en"] is None
    # within its uncertainty it is given
    found = review(three(1000, 100), sensors("haul", "rope"), block(**channels))
    assert found["measured"]["actual_ma"]["value"] == pytest.approx(1000 / 300, rel=1e-3)


def test_readings_too_small_for_the_cell_are_said_to_be():
    small = _three_strokes([40.0, 40.5, 39.5])
    found = review(three(108, 1), sensors("haul", "rope", haul="u = 3.0"), block(**small))
    assert any("small" in w for w in found["warnings"])
    assert found["measured"]["efficiency"] is not None
    found = review(three(108, 1), sensors("haul", "rope", haul="u = 9.0"), block(**small))
    assert found["measured"]["efficiency"] is None
    assert "too small" in found["measured"]["why_not"]


def test_a_cell_beyond_its_capacity_gives_no_efficiency():
    channels = _three_strokes([400.0, 400.0, 400.0])
    found = review(three(), sensors("haul", "rope", haul="capacity = 350.0"), block(**channels))
    assert found["measured"]["efficiency"] is None
    assert "capacity" in found["measured"]["why_not"] or "steadily" in found["measured"]["why_not"]


@pytest.mark.parametrize(
    ("channels", "says"),
    [
        (("rope", "way"), 'at = "haul"'),
        (("haul",), "no counter"),
        (("haul", "rope"), "never rose above"),
    ],
)
def test_zeros_or_a_missing_channel_review_to_nulls_with_the_reason(channels, says):
    t = np.arange(0, 20, 0.02)
    zeros = np.zeros(len(t))
    found = review(three(), sensors(*channels), block(**dict.fromkeys(channels, (t, zeros))))
    measured = found["measured"]
    for key in ("haul_force_N", "load_force_N", "actual_ma", "efficiency", "pulley_efficiency"):
        assert measured[key] is None
    assert says in measured["why_not"]
    assert found["strokes"] == []


def test_fewer_than_three_strokes_take_their_pieces_as_observations():
    channels = _three_strokes([400.0])
    measured = review(three(), sensors("haul", "rope"), block(**channels))["measured"]
    assert measured["haul_force_N"]["n"] == 6
    channels = _three_strokes([390.0, 410.0])
    measured = review(three(), sensors("haul", "rope"), block(**channels))["measured"]
    assert measured["haul_force_N"]["n"] == 12
    assert measured["haul_force_N"]["U95"] > 3  # the difference between the strokes is in it


def test_every_quantity_keeps_its_budget():
    channels = _three_strokes([390.0, 400.0, 410.0], cell=2.6)
    rig = three()
    found = estimate(
        rig,
        model(rig),
        analyse(rig, sensors("haul", "rope", "cell", haul="u = 2.0"), block(**channels)),
    )
    assert {c.name for c in found.efficiency.budget} == {
        "scatter", "haul: zero"
    }  # fmt: skip
    total = sum(c.u**2 for c in found.efficiency.budget)
    assert found.efficiency.u == pytest.approx(math.sqrt(total))


@pytest.mark.parametrize("e", [0.5, 0.8, 0.95])
def test_the_common_efficiency_explains_the_ma(e):
    rig = three()
    assert common_efficiency(rig, model_ma_with(rig, e)) == pytest.approx(e, abs=1e-9)


@pytest.mark.parametrize(
    ("zero_N", "says"),
    [(-25.0, "haul: its lowest reading is -25 N, but rope cannot push"),
     (25.0, "haul: its lowest reading is 25 N; if the rope hung slack"), (-10.0, ""), (10.0, ""), (0.0, "")],
)  # fmt: skip
def test_a_haul_cell_that_never_reads_nothing_may_have_a_wrong_zero(zero_N, says):
    """u 5 N: rope cannot push and hangs slack between strokes, so 25 N are five standard
    uncertainties of the zero; two are nothing to speak of."""
    channels = _three_strokes([400.0, 400.0, 400.0])
    t, force = channels["haul"]
    channels["haul"] = (t, force + zero_N)
    found = review(three(1000, 10), sensors("haul", "rope", haul="u = 5.0"), block(**channels))
    lines = [w for w in found["warnings"] if "zero the cell" in w]
    assert len(lines) == bool(says)
    assert all(line.startswith(says) for line in lines)
