"""A force outside the range that a cell was calibrated in is told, once, and nothing else is.

ISO 376 and ASTM E74 let a calibration hold from its least to its greatest applied force alone; E74's
class A begins at 400 times the lower limit factor (all from memory).
"""

from dataclasses import replace

import numpy as np
import pytest
from support.channels import force, json_channel
from support.growing_session import Page
from support.readings import analyse, block, info, pull, review, sensors, three
from support.rigs import three_to_one

from analysis.efficiency.calibration_range_check import uncalibrated
from analysis.messages.message import text_of
from analysis.review.review import review_all
from dashboard.cli import main
from dashboard.live.watcher import Watch
from dashboard.text.units import US
from logger.calibration import calibration
from logger.channels.channel import Sensors

HZ = 80.0


def cell(tmp_path, applied, noise=0.0):
    """A calibration as `haul calibrate` writes it: readings are the forces, but for some noise."""
    rng = np.random.default_rng(7)
    rows = [f"{a:g},{a + noise * rng.standard_normal():.4f}" for a in (*applied, *applied)]
    (tmp_path / "points.csv").write_text("applied,reading\n" + "\n".join(rows) + "\n", "utf-8")
    assert (
        main(["calibrate", str(tmp_path / "points.csv"), "--out", str(tmp_path / "cell.toml")]) == 0
    )
    return calibration.load(tmp_path / "cell.toml")


def calibrated(curve, name="haul", channels=("haul", "rope")):
    """The sensors of a session with this curve on one channel."""
    found = sensors(*channels)
    return Sensors(
        tuple(
            replace(c, calibration=curve, calibration_file="cell.toml") if c.name == name else c
            for c in found.channels
        ),
        found.text, found.file,
    )  # fmt: skip


def hauled(curve, force_N, shock_N=None):
    """Warnings and verdict of one stroke under this force; shock_N: for a twentieth of a second."""
    t, x, f = pull(HZ, force_N)
    if shock_N is not None:
        f[(t > 5.0) & (t < 5.05)] = shock_N
    found = review(three(), calibrated(curve), block(haul=(t, f), rope=(t, x)))
    return [w for w in found["warnings"] if "verified" in w], found["agreement"]["verdict"]


def test_within_the_range_nothing_is_said_whatever_lies_at_nothing(tmp_path, capsys):
    curve = cell(tmp_path, [0, 200, 1000, 2000])
    lines, verdict = hauled(curve, 400.0)
    assert lines == [] and "Mind" not in verdict  # most of the session reads 0, far below 200 N


def test_the_greatest_force_itself_is_within(tmp_path, capsys):
    curve = cell(tmp_path, [0, 100, 1000, 2000])
    assert hauled(replace(curve, applied_most=float(curve.apply(900.0))), 400.0, 900.0)[0] == []


def test_a_peak_above_the_greatest_calibrated_force(tmp_path, capsys):
    curve = cell(tmp_path, [0, 200, 1000, 2000])
    lines, verdict = hauled(curve, 400.0, 2600.0)
    assert lines == [
        "haul read up to 2600 N, but cell.toml is verified only from 200 N (its least force) to 2000 N. Outside that range the stated "
        "uncertainty does not hold: calibrate over the forces hauled, or take a larger cell"
    ]
    assert verdict.endswith("Mind: haul read outside the verified range of the calibration.")


def test_a_steady_haul_below_the_least_point(tmp_path, capsys):
    lines, verdict = hauled(cell(tmp_path, [0, 500, 1000, 2000]), 400.0)
    assert lines == [
        "haul read 400 N in steady hauling, but cell.toml is verified only from 500 N (its least force) to 2000 N. "
        "Outside that range the stated uncertainty does not hold: calibrate over the forces hauled, or take a smaller cell"
    ]
    assert "Mind: haul" in verdict


def test_scatter_of_the_points_sets_the_lower_limit(tmp_path, capsys):
    # 400 x LLF, LLF = 2.4 s (ASTM E74): s from the same points by numpy, apart from the program's fit
    points = [0, 10, 1000, 2000, 3000, 4000]
    curve = cell(tmp_path, points, noise=0.5)
    table = np.loadtxt(tmp_path / "points.csv", delimiter=",", skiprows=1)
    coefficients, (squares,), *_ = np.polyfit(table[:, 0], table[:, 1], 1, full=True)
    llf = 2.4 * np.sqrt(squares / (len(table) - 2)) / coefficients[0]
    limit = 400 * llf
    assert 10 < limit < 4000
    assert curve.verified_from[0] == pytest.approx(limit, rel=0.01)
    assert hauled(curve, 1.05 * limit)[0] == []
    (line,) = hauled(curve, 0.95 * limit)[0]
    assert "class A of ASTM E74" in line


def test_too_low_and_too_high_is_one_warning(tmp_path, capsys):
    (line,) = hauled(cell(tmp_path, [0, 500, 1000, 2000]), 400.0, 2600.0)[0]
    assert "N in steady hauling and up to 2600 N" in line and "take a cell that fits" in line
    assert len(line) <= 240  # what the live page shows whole at the longest


def test_a_file_that_tells_no_lower_limit_is_judged_by_its_greatest_force_alone(tmp_path, capsys):
    curve = cell(tmp_path, [0, 500, 1000, 2000])
    text = (tmp_path / "cell.toml").read_text("utf-8")
    old = calibration.parse(text.partition("[terms]")[0], "old.toml")
    assert (old.verified_from, old) == (None, curve)  # the same curve, read as before
    assert hauled(old, 400.0)[0] == []
    (line,) = hauled(old, 400.0, 2600.0)[0]
    assert "is verified only up to 2000 N." in line


@pytest.mark.parametrize("value", ['"not known: no scatter"', "-5.0", "nan", "inf", "true", "[1]"])
def test_a_term_that_is_no_force_says_nothing(tmp_path, capsys, value):
    cell(tmp_path, [0, 500, 1000, 2000])
    text = (tmp_path / "cell.toml").read_text("utf-8").partition("[terms]")[0]
    told = calibration.parse(
        f"{text}[terms]\nclass_a_from = {value}\nleast_loaded = {value}\n", "x.toml"
    )
    assert told.verified_from is None


def test_a_cell_elsewhere_with_nothing_on_it_is_not_judged(tmp_path, capsys):
    curve = cell(tmp_path, [0, 500, 1000, 2000])
    t, x, f = pull(HZ, 400.0)
    found = {
        load: analyse(
            three(), calibrated(curve, "anchor", ("haul", "anchor", "rope")),
            block(haul=(t, f), anchor=(t, np.where(f > 0, load, 0.0)), rope=(t, x)),
        )
        for load in (5.0, 300.0, 800.0, 2500.0)
    }  # fmt: skip
    told = {load: text_of(uncalibrated(result).get("anchor")) for load, result in found.items()}
    assert told[5.0] == told[800.0] == ""
    assert "300 N in steady hauling" in told[300.0] and "up to 2500 N" in told[2500.0]


def test_the_warning_is_told_in_us_units(tmp_path, capsys):
    t, x, f = pull(HZ, 400.0)
    used = calibrated(cell(tmp_path, [0, 500, 1000, 2000]))
    found = review_all(info(used), three(), analyse(three(), used, block(haul=(t, f), rope=(t, x))))
    (line,) = (w for w in found.shown(US)["warnings"] if "verified" in w)
    assert "read 89.9 lbf in steady hauling, but cell.toml is verified only from 112 lbf" in line


CELL = force('calibration = "cell.toml"') + json_channel("rope_out", "length", "r")
RIG = three_to_one("resistance_N = 1000.0", anchor_to_load_m=100.0, grab_at_m=90.0, knot=None)


def test_the_live_page_the_review_and_the_report_tell_it_once(tmp_path, capsys):
    """From the file that `haul calibrate` wrote, through a session's copy of it."""
    cell(tmp_path, [0, 200, 1000, 2000])
    (tmp_path / "sensors.toml").write_text(CELL, "utf-8")
    (tmp_path / "rig.toml").write_text(RIG, "utf-8")
    t, x, f = pull(HZ, 400.0)
    f[(t > 5.0) & (t < 5.05)] = 2600.0
    rows = "".join(f"{a:.4f},{b},{c}\n" for a, b, c in zip(t, f, x, strict=True))
    (tmp_path / "data.csv").write_text("time_s,haul_force,rope_out\n" + rows, "utf-8")
    session, page = tmp_path / "session", tmp_path / "report.html"
    made = ["import", tmp_path / "data.csv", "--rig", tmp_path / "rig.toml", "--sensors",
            tmp_path / "sensors.toml", "--out", session]  # fmt: skip
    assert main([str(word) for word in made]) == 0
    capsys.readouterr()
    assert main(["review", str(session), "--html", str(page)]) == 0
    told = "haul_force read up to 2600 N, but cell.toml is verified only from 200 N (its least force) to 2000 N."
    out = capsys.readouterr().out
    assert (
        out.count(told) == 1
        and "Mind: haul_force read outside the verified range of the calibration." in out
    )
    text = page.read_text("utf-8")
    assert text.count(told) == 1 and "or take a larger cell" in text
    assert "the calibration: haul_force read outside the verified range of the calibration" in text
    watch = Watch(session)
    watch.tick()
    live = Page(watch)
    live.ask()
    warned = [text for text in live.numbered("warning") if told in text]
    assert len(warned) == 1 and warned[0].endswith("or take a larger cell")
    assert "Mind: haul_force" in live.parts["verdict"]
