"""Does the stated uncertainty hold the truth of sessions from another simulator (tests/support/simulator_b.py),
through the files and the command line, with every way to know the load's force, lowering included?

Figures of the 1,000: see the docstring of the test marked `long`.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from support.simulator_b import ESTIMATORS, RIGS, Session, make

from analysis.review.review import review_session
from dashboard.cli import main
from logger.session.csv_import import import_table

KEYS = ("efficiency", "actual_ma", "haul_force_N", "load_force_N")


# closed forms at e = 0.9 (T-method: sums and products of powers of e)
GAINS = {"2": 1.9, "2-redirect": 1.71, "3": 2.71, "4": 3.439, "5": 4.0951, "3-on-3": 7.3441,
         "complex-5": 4.42, "lip": 2.71 * 0.9}  # fmt: skip


@pytest.mark.parametrize(("name", "gain"), GAINS.items())
def test_the_gains_written_by_hand_are_those_of_the_tension_method(name, gain):
    turns, ideal, *_, formula = RIGS[name]
    assert formula(np.full(turns, 0.9)) == pytest.approx(gain, abs=5e-5)
    assert formula(np.ones(turns)) == ideal


def _measured(made: Session, folder) -> dict:
    folder.mkdir()
    return review_session(import_table(*made.write(folder), folder / "s"))["measured"]


def _figures(seeds, folder, estimator=None):
    """Shares covered by U95 in all and by load estimator, median relative error and U95, share with a number."""
    inside, error, width = ({key: [] for key in KEYS} for _ in range(3))
    by_estimator = {name: [] for name in (*ESTIMATORS, estimator)}
    for seed in seeds:
        made = make(seed, estimator)
        found = _measured(made, folder / str(seed))
        assert found["efficiency"] is not None or found["why_not"], f"seed {seed} says nothing"
        for key in KEYS:
            if found[key] is not None:
                off = abs(found[key]["value"] - made.true[key])
                inside[key].append(off <= found[key]["U95"])
                error[key].append(off / made.true[key])
                width[key].append(found[key]["U95"] / made.true[key])
        if found["efficiency"] is not None:
            by_estimator[made.estimator].append(inside["efficiency"][-1])
    return {
        "cover": {k: float(np.mean(v)) for k, v in inside.items()},
        "by_estimator": {k: (float(np.mean(v)), len(v)) for k, v in by_estimator.items() if v},
        "error": {k: float(np.median(v)) for k, v in error.items()},
        "width": {k: float(np.median(v)) for k, v in width.items()},
        "answered": len(inside["efficiency"]) / len(seeds),
    }


def test_nine_sessions_of_another_simulator(tmp_path):
    """A quick look, one session for each load estimator: at 95 % fewer than 7 of 9 within happens once in 120 times."""
    figures = _figures(range(9), tmp_path)
    assert all(share >= 0.75 for share in figures["cover"].values()), figures
    assert figures["answered"] >= 0.75


@pytest.mark.many
def test_forty_sessions_of_another_simulator(tmp_path):
    """At 95 % fewer than 33 of 40 within happens once in 5,000 times."""
    found = _figures(range(40), tmp_path)
    assert all(share >= 0.82 for share in found["cover"].values()), found
    assert found["answered"] >= 0.85


@pytest.mark.many
def test_lowering_with_a_mass_alone_gives_intervals_that_hold(tmp_path):
    """Ground of c from 0.03 to 0.15 is not told from pulleys; between bounds lies the truth."""
    found = _figures(range(20), tmp_path, "low-mass")
    assert found["answered"] >= 0.85 and all(share >= 0.85 for share in found["cover"].values()), (
        found
    )
    assert 0.03 < found["width"]["efficiency"] < 0.5


@pytest.mark.parametrize("seed", [0, 3, 7])
def test_the_command_line_says_the_same(seed, tmp_path, capsys):
    made = make(seed)
    found = _measured(made, tmp_path / "own")
    table, rig, sensors = made.write(tmp_path)
    out = str(tmp_path / "out")
    assert main(["import", table, "--rig", rig, "--sensors", sensors, "--out", out]) == 0
    capsys.readouterr()
    assert main(["review", out, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["measured"] == found


@pytest.mark.long
def test_a_thousand_sessions_of_another_simulator(tmp_path):
    """Found on 2026-11-26, seeds 0 to 999: U95 covers efficiency and actual MA in 95.9 %, the haul
    force in 95.2 %, the load force in 96.1 %; efficiency by load estimator from 92.8 % (anchor, slope) to 99.0 %
    (low-coefficient); median U95 8.3, 2.6 and 7.8 %, which is mostly what the rig files state of load
    and ground; 98.6 % get a number."""
    found = _figures(range(1000), tmp_path)
    print(found)
    for key, share in found["cover"].items():
        assert 0.92 <= share <= 0.98, (key, found)
    for estimator, (share, n) in found["by_estimator"].items():
        assert share >= 0.95 - 4 * (0.95 * 0.05 / n) ** 0.5, (estimator, found)
    assert found["answered"] >= 0.85
