"""The demo's physics, and the estimates against the truth it was given."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.mechanics.model import common_efficiency, model
from analysis.review.review import review_session
from analysis.simulation.demo_haul import PORTS, demo_rig, demo_sensors, demo_text, simulate
from logger.session.csv_import import import_table

SEEDS = 40


def test_the_same_seed_gives_the_same_haul():
    a, b, c = simulate(7, 12.0), simulate(7, 12.0), simulate(8, 12.0)
    assert all(np.array_equal(a.values[n], b.values[n]) for n in a.values)
    assert a.true == b.true and a.true != c.true


def test_the_true_efficiency_comes_out_of_the_rig_model():
    true, rig = simulate(1, 12.0).true, demo_rig()
    assert common_efficiency(rig, true["actual_ma"]) == pytest.approx(true["pulley_efficiency"])
    assert true["efficiency"] == pytest.approx(true["actual_ma"] / 9)
    assert model(rig).ideal_ma == pytest.approx(9)


def test_every_channel_is_sent_by_one_port():
    names = [name for port in PORTS for name in port]
    assert sorted(names) == sorted(c.name for c in demo_sensors().channels)
    haul = simulate(1, 5.0)
    assert set(haul.values) == set(names)
    assert all(np.isfinite(v).all() and len(v) == len(haul.time_s) for v in haul.values.values())
    time, row = next(haul.rows())
    assert time == 0.0 and set(row) == set(names)


def _review(folder, seed, for_s):
    haul = simulate(seed, for_s)
    (folder / "data.csv").write_text(haul.csv())
    (folder / "rig.toml").write_text(demo_text("rig.toml"))
    (folder / "sensors.toml").write_text(demo_text("sensors.toml"))
    session = import_table(
        folder / "data.csv", folder / "rig.toml", folder / "sensors.toml", folder / f"s{seed}",
        haul.true,
    )  # fmt: skip
    return haul.true, review_session(session)


@pytest.mark.many
def test_forty_hauls_by_import_are_covered_and_sharp(tmp_path):
    """Truth within U95 in at least 35 of 40, U95 at most 10 % of the value.

    Neither over- nor under-confident: errors divided by u have a spread near 1."""
    covered, errors = 0, []
    for seed in range(SEEDS):
        true, found = _review(tmp_path, seed, 30.0)
        got = found["measured"]["efficiency"]
        assert got["U95"] <= 0.10 * got["value"], seed
        covered += abs(got["value"] - true["efficiency"]) <= got["U95"]
        errors.append((got["value"] - true["efficiency"]) / got["u"])
        kinds = [e["kind"] for e in found["events"]]
        assert sum(s["direction"] == "haul" for s in found["strokes"]) >= 3, seed
        assert not [s for s in found["strokes"] if s["direction"] == "lower"], seed
        assert (kinds.count("slip"), kinds.count("shock")) == (1, 1), seed
        assert found["resets"] >= 2, seed
        assert abs(found["agreement"]["en"]) < 3, seed
    assert covered >= 35
    assert 0.6 < np.std(errors) < 1.4
    assert abs(np.mean(errors)) < 0.5


@pytest.mark.parametrize("for_s", [10.0, 75.0, 600.0])
def test_short_and_long_hauls_are_sensible(tmp_path, for_s):
    true, found = _review(tmp_path, 2, for_s)
    assert sum(s["direction"] == "haul" for s in found["strokes"]) >= 3
    got = found["measured"]
    assert got["efficiency"]["value"] == pytest.approx(true["efficiency"], rel=0.04)
    assert got["haul_force_N"]["value"] == pytest.approx(true["haul_force_N"], rel=0.06)
    assert 0 < true["load_travel_m"] <= 8.0
    assert sum(e["kind"] == "slip" for e in found["events"]) == 1
