"""A force cell rules the part that it sits on; what is inferred while hauling is an upper bound."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.places import ROOT, SHELF
from support.readings import block, columns_sensors, info, pull, review
from support.rigs import rig, rigs

from analysis.mechanics.model import model
from analysis.mechanics.tension import load_row, tensions
from analysis.prediction.alarm_rows import limit_rows
from analysis.review.review import review_all
from analysis.rig_file.load import parse_rig
from analysis.signals.channel_roles import roles
from analysis.strokes.analyser import Analyser

NINE = (ROOT / "analysis" / "rigs" / "3-on-3.toml").read_text("utf-8")
READS_N = 7130.0  # load cell; the haul cell's 1,000 N without friction would be 9,000 N
ALLOWED_N = 8000.0


def nine(more: str = ""):
    """The shelf's 9:1; the strand with the knot at the load is allowed 8,000 N: 160 kN x 0.50 / 10."""
    return parse_rig(NINE.replace("[[rope]]", f"{more}\n[[rope]]\nmbs_kN = 160.0", 1), "rig.toml")


def cells(*places: str, haul: str = "haul", **more: str):
    """A haul cell, a rope counter, and a force cell at each place, called c0, c1, ..."""
    rows = [("haul", "force", haul), ("rope", "length", "haul")]
    rows += [(f"c{k}", "force", at) for k, at in enumerate(places)]
    return columns_sensors(rows, **more)


def hauled(rig_, sensors, haul_N: float, reads_N: tuple[float, ...], **changed):
    """Review of one pull at these constant forces; changed: readings instead, by channel."""
    t, x, force = pull(20, haul_N, rope=6.0)
    channels = {"haul": (t, force), "rope": (t, x)}
    channels |= {f"c{k}": (t, force * n / haul_N) for k, n in enumerate(reads_N)} | changed
    return review(rig_, sensors, block(**channels))


def over(reviewed, name: str):
    return [e for e in reviewed["events"] if e["kind"] == "over_limit" and name in e["text"]]


def peak(reviewed, name: str):
    return next(row for row in reviewed["peaks"] if row["name"] == name)


@pytest.mark.parametrize("at", ["load", "load>G1"])
def test_a_strand_with_its_own_cell_is_never_told_above_what_it_read(at):
    """1,000 N at the haul, 7,130 N at the load, 8,000 N allowed: 9,000 N is friction not taken off."""
    found = hauled(nine(), cells(at), 1000.0, (READS_N,))
    assert peak(found, "load>G1")["force_N"] == pytest.approx(READS_N)
    assert peak(found, "load>G1")["use"] == pytest.approx(READS_N / ALLOWED_N)
    assert peak(found, "load")["force_N"] == pytest.approx(READS_N)
    assert not over(found, "load>G1")


def test_without_a_cell_of_its_own_the_strand_is_told_at_most():
    found = hauled(nine(), cells(), 1000.0, ())
    assert peak(found, "load>G1")["at_most_N"] == pytest.approx(9000)
    [event] = over(found, "load>G1")
    assert event["value"] == pytest.approx(9000) and "at most" in event["text"]


def test_a_cell_that_reads_more_than_is_allowed_is_the_event():
    found = hauled(nine(), cells("load"), 1000.0, (8500.0,))
    [event] = over(found, "load>G1")
    assert event["channel"] == "c0" and event["value"] == pytest.approx(8500)
    assert "by its own cell" in event["text"] and "at most" not in event["text"]


def test_where_two_strands_hold_the_load_its_cell_tells_neither():
    two = rig("tie:anchor pulley:L1@load haul", extra="[anchor]\nwll_kN = 3\n")
    found = hauled(two, cells("load"), 1000.0, (1900.0,))
    assert peak(found, "load")["force_N"] == pytest.approx(1900)
    assert peak(found, "anchor>L1")["at_most_N"] == pytest.approx(1000)


def test_a_cell_beside_the_haul_axis_reads_a_part_of_the_force_and_does_not_rule():
    """The haul leaves at a right angle: along the axis 900 N, in all 1,345 N (by hand)."""
    bent = rig("tie:load pulley:A1@anchor haul:90", extra="[pulley.A1]\nwll_kN = 1.2\n")
    found = hauled(bent, cells("A1"), 1000.0, (900.0,))
    assert peak(found, "A1")["at_most_N"] == pytest.approx(1000 * np.sqrt(2))
    assert over(found, "A1")


def test_a_silent_or_saturated_cell_does_not_rule():
    """The haul cell alone tells while the load's cell is silent, or beyond what it can read."""
    t, _, _ = pull(20, 1000.0, rope=6.0)
    early = t < 3.0
    silent = hauled(nine(), cells("load"), 1000.0, (READS_N,),
                    c0=(t[early], np.zeros(np.count_nonzero(early))))  # fmt: skip
    assert [e["channel"] for e in over(silent, "load>G1")] == ["haul"]
    small = cells("load", c0="capacity = 7000.0")
    beyond = hauled(nine(), small, 1000.0, (READS_N,))
    assert [e["channel"] for e in over(beyond, "load>G1")] == ["haul"]
    assert peak(beyond, "load>G1")["at_most_N"] == pytest.approx(9000)


def test_a_cell_too_small_for_the_limit_leaves_the_alarm_to_the_haul_cell():
    rows = limit_rows(nine(), cells("load", c0="capacity = 5000.0"))
    assert [(row.channel, row.stop) for row in rows] == [("haul", pytest.approx(ALLOWED_N))]
    assert rows[0].gain == pytest.approx(9.0)  # the strand at the load, frictionless


def test_the_alarm_of_a_part_with_its_own_cell_is_judged_by_that_cell():
    rated = nine("[pulley.A2]\nwll_kN = 2.5\n")
    by_haul, by_load = limit_rows(rated, cells("load"))
    # A2 turns the haul strand round: twice the haul; the load strand would come first at 889 N
    assert (by_haul.channel, by_haul.gain, by_haul.stop) == ("haul", pytest.approx(2), 2500.0)
    assert by_haul.label.startswith("A2")
    assert (by_load.channel, by_load.gain, by_load.stop) == ("c0", 1.0, ALLOWED_N)
    assert by_load.label.startswith("load>G1")
    [alone] = limit_rows(rated, cells())
    assert alone.label.startswith("load>G1") and alone.gain == pytest.approx(9)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(SHELF), st.data())
def test_over_the_shelf_no_measured_part_is_above_its_cell_and_no_bound_below_the_truth(path, data):
    text = path.read_text("utf-8")
    haul_N = data.draw(st.floats(50, 3000))
    mbs = data.draw(st.floats(1, 200))
    made = parse_rig(text.replace("[[rope]]", f"[[rope]]\nmbs_kN = {mbs!r}", 1), path.name)
    known = model(made)
    e = np.array(
        data.draw(st.lists(st.floats(0.4, 1), min_size=len(made.turns), max_size=len(made.turns)))
    )
    true = tensions(known.system, e) * haul_N
    load_N = float(load_row(made, known.system.toward) @ true)
    strand = data.draw(st.integers(0, len(made.strands) - 1))
    own = made.strands[strand].name
    sensors = cells("load", own)
    found = hauled(made, sensors, haul_N, (load_N, float(true[strand])))
    assert peak(found, own)["force_N"] == pytest.approx(true[strand])
    held = [k for k, x in enumerate(load_row(made, known.system.toward)) if abs(x) > 1e-9]
    measured = {own: true[strand]}
    if len(held) == 1:
        measured[made.strands[held[0]].name] = load_N
    for part, reads in measured.items():
        assert peak(found, part)["force_N"] <= reads * (1 + 1e-9)
        for event in over(found, f"strand {part}:"):
            assert event["value"] <= reads * (1 + 1e-9)
    for piece in known.pieces:
        if piece.kind != "capture":  # friction alone loads one that rope runs through
            row = peak(found, piece.name)
            most_N = row["force_N"] if row["how"] == "cell" else row["at_most_N"]
            assert most_N >= abs(piece.force(true)) * (1 - 1e-9)


@settings(max_examples=40, deadline=None)
@given(rigs(), st.floats(0.4, 1.0))
def test_what_a_cell_measures_it_reads_for_any_friction(made, poor):
    from analysis.mechanics.measured_parts import measured_parts

    known = model(made)
    drawn = np.random.default_rng(2).uniform(poor * 0.5, 1.0, len(made.turns))
    true = tensions(known.system, drawn)
    for at, reads in [
        ("load", load_row(made, known.system.toward) @ true), ("haul", true[made.haul_strand]),
        *((s.name, true[k]) for k, s in enumerate(made.strands)),
    ]:  # fmt: skip
        for k in measured_parts(known, at):
            piece = known.pieces[k]
            whole = (
                np.hypot(*(piece.matrix @ true)) if piece.combine == "axis" else piece.force(true)
            )
            assert abs(whole) == pytest.approx(abs(reads), rel=1e-9)


def test_live_equals_review_with_a_cell_of_its_own():
    t, x, force = pull(20, 1000.0, rope=6.0)
    whole = {"haul": force, "rope": x, "c0": force * 7.13}
    sensors = cells("load")
    analyser = Analyser(roles=roles(nine(), sensors))
    for cut in np.array_split(np.arange(len(t)), 7):
        analyser.push(block(**{n: (t[cut], v[cut]) for n, v in whole.items()}), float(t[cut[-1]]))
    at_once = Analyser(roles=roles(nine(), sensors))
    at_once.push(block(**{n: (t, v) for n, v in whole.items()}), float(t[-1]))
    one, two = (review_all(info(sensors), nine(), a.result()).json for a in (analyser, at_once))
    assert one["events"] == two["events"] and one["peaks"] == two["peaks"]
