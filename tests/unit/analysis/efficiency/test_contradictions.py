"""Readings that contradict the rig or the sensors file: what is left out, and which cause is named.

The 3:1 of `support.readings` with efficiency 0.9: 1 + 0.9 + 0.81 = 2.71 (T-method).  Units: 1 kgf = 9.80665 N,
1 lbf = 4.4482 N by definition (NIST SP 811)."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
from support.readings import block, pull, review, sensors, three

from analysis.efficiency.contradictions import unexplained
from analysis.messages.message import message
from analysis.rig_file.load import parse_rig

U = "u_percent = 0.5\nu = 2.0"


def session(haul=1.0, cell=None, ratio=3.0, **more):
    """Three strokes of 5 m under 400 N with the load at 2.71 times that.

    haul: factor of the haul cell's readings; cell: of the load cell's, None: the rig file states the load;
    ratio: rope / load travel that was built.
    """
    t, x, force, way = [], [], [], []
    for k in range(3):
        at, rope, pulled = pull(20, lambda x: 400 + 30 * np.sin(9 * x), rope=5.0)
        t.append(at + 18.0 * k)
        back = np.clip((at - 13.0) * 2.5, 0, 5.0)
        x.append(rope - back)
        force.append(pulled)
        way.append((rope + 5.0 * k) / ratio)
    t, x, force, way = (np.concatenate(each) for each in (t, x, force, way))
    order = np.argsort(t, kind="stable")
    t, x, force, way = t[order], x[order], force[order], way[order]
    series = {"haul": (t, haul * force), "rope": (t, x), "way": (t, way)}
    lines = {"haul": U, "rope": "u = 0.01", "way": "u = 0.005", **more}
    rig = three(1084.0, 10.0)
    if cell is not None:
        series["cell"] = (t, cell * 2.71 * force)
        lines["cell"] = U
        rig = three(None)
    return review(rig, sensors(*series, **lines), block(**series))


def refused(found, *, keeps=()):
    measured = found["measured"]
    for key in ("haul_force_N", "load_force_N", "actual_ma", "efficiency", "pulley_efficiency"):
        assert (measured[key] is not None) == (key in keeps), key
    assert measured["why_not"]
    return measured["why_not"]


def test_the_session_is_sound_as_it_stands():
    for found in (session(), session(cell=1.0)):
        assert found["measured"]["efficiency"]["value"] == pytest.approx(2.71 / 3, rel=0.01)
        assert found["measured"]["why_not"] == ""


@pytest.mark.parametrize("cell", [None, 1.0])
def test_another_rig_leaves_out_the_efficiency_and_keeps_the_advantage(cell):
    found = session(cell=cell, ratio=4.0)
    why = refused(found, keeps=("haul_force_N", "load_force_N", "actual_ma"))
    assert "4 to 1" in why and "3 to 1" in why
    assert "4 to 1" in found["agreement"]["verdict"]
    assert found["agreement"]["en"] is None
    assert found["measured"]["actual_ma"]["value"] == pytest.approx(2.71, rel=0.01)


@pytest.mark.parametrize(
    ("factor", "unit", "sent"),
    [(1 / 9.80665, "N", "kg"), (2.20462, "kgf", "lbf"), (1 / 2.20462, "lbf", "kg")],
)
def test_a_haul_cell_in_another_unit_is_named(factor, unit, sent):
    """The device sends `sent`, the file says `unit`; factor: force by the file / true force."""
    line = {"N": 1.0, "kgf": 9.80665, "lbf": 4.4482216}[unit]
    assert f"looks like {sent}" in refused(_in_unit(factor, unit, line), keeps=("load_force_N",))


def _in_unit(factor, unit, line):
    t, x, force = pull(20, lambda x: 400 + 30 * np.sin(9 * x), rope=8.0)
    series = {"haul": (t, force * factor / line), "rope": (t, x), "way": (t, x / 3)}
    made = sensors(*series, haul=U, rope="u = 0.01", way="u = 0.005")
    channels = tuple(replace(c, unit=unit) if c.name == "haul" else c for c in made.channels)
    return review(three(1084.0, 10.0), replace(made, channels=channels), block(**series))


@pytest.mark.parametrize(("e_u", "named"), [(0.02, True), (0.15, False)])
def test_a_unit_is_named_where_the_pulleys_are_known_too_well_to_be_the_cause(e_u, named):
    """9:1 with e = 0.97: (1 + e + e^2)^2 = 8.473 (T-method); lbf called kgf leaves 3.843, or e = 0.601, worse than no
    wheel is.  Pulleys known to 0.02 cannot be the cause, pulleys known to 0.15 may."""
    text = (files("analysis") / "rigs" / "3-on-3.toml").read_text(encoding="utf-8")
    e = f"[defaults]\npulley_efficiency = 0.97\npulley_efficiency_u = {e_u}\n"
    load = "[load]\nresistance_N = 3389.0\nresistance_u_N = 34.0\n"
    rig = parse_rig(text.replace("[[rope]]", e + load + "[[rope]]", 1), "rig.toml")
    t, x, force = pull(20, lambda x: 400 + 30 * np.sin(9 * x), rope=8.0)
    series = {"haul": (t, force / 4.4482216), "rope": (t, x), "way": (t, x / 9)}
    made = sensors(*series, haul=U, rope="u = 0.01", way="u = 0.005")
    channels = tuple(replace(c, unit="kgf") if c.name == "haul" else c for c in made.channels)
    found = review(rig, replace(made, channels=channels), block(**series))
    assert ("looks like lbf" in found["measured"]["why_not"]) == named
    assert (found["measured"]["efficiency"] is None) == named


def test_a_haul_cell_at_the_load_is_named():
    assert "load's side" in refused(session(haul=2.71), keeps=("load_force_N",))
    assert "load's side" in refused(session(haul=2.71, cell=1.0))


def test_a_cell_at_the_anchor_that_is_said_to_be_at_the_load_is_named():
    """With e = 0.85 the load pulls 2.57 S, the anchor holds 1.57 S: as a load cell's it takes e = 0.41."""
    found = session(cell=1.5725 / 2.71)
    assert "at the anchor" in refused(found)


def test_a_haul_cell_with_a_wrong_sign_is_named():
    assert "its sign is wrong" in refused(session(haul=-1.0))


def test_a_load_cell_with_a_wrong_sign_gives_no_load():
    assert "signs" in refused(session(cell=-1.0), keeps=("haul_force_N",))


def test_an_advantage_that_no_pulleys_explain_is_refused_without_a_guess():
    assert "efficiency below 0.4" in refused(session(haul=1.9), keeps=("load_force_N",))


@pytest.mark.parametrize("capacity", ["", "\ncapacity = 440.0"])
def test_a_cell_at_the_end_of_its_range_gives_no_forces(capacity):
    t, x, _ = pull(20, 0.0, rope=12.0)
    force = np.where(x > 0, 400 + 120 * np.sin(9 * x), 0.0) * (x < 12)
    series = {"haul": (t, np.minimum(force, 440.0)), "rope": (t, x), "way": (t, x / 3)}
    found = review(three(1084.0), sensors(*series, haul=U + capacity), block(**series))
    assert refused(found, keeps=("load_force_N",))
    assert not {m["code"] for m in found["messages"]} & {"travel_of_another_rig", "grab_crept"}


def test_a_zero_that_drifts_is_said_and_is_in_the_budget():
    """40 N in 12 rests against 400 N: more than u = 2 N; rope and load agree."""
    t, x, force, way, hauled = [], [], [], [], 0.0
    for k in range(12):
        at, rope, pulled = pull(20, 400.0, rope=3.0)
        t.append(at + 11.5 * k)
        x.append(rope - np.clip((at - 9.0) * 2.0, 0, 3.0))
        force.append(pulled)
        way.append((rope + hauled) / 3)
        hauled += 3.0
    t, x, force, way = (np.concatenate(each) for each in (t, x, force, way))
    series = {"haul": (t, force + 40 * t / t[-1]), "rope": (t, x), "way": (t, way)}
    lines = {"haul": U, "rope": "u = 0.01", "way": "u = 0.005"}
    found = review(three(1084.0), sensors(*series, **lines), block(**series))
    assert "zero_drifts" in {m["code"] for m in found["messages"]}
    assert (
        abs(found["measured"]["haul_force_N"]["value"] - 400)
        <= found["measured"]["haul_force_N"]["U95"]
    )


def test_a_tare_with_the_ropes_weight_in_it_is_in_the_budget():
    """Zeroed with 24 N of rope on it: every force reads 24 N too little."""
    t, x, force = pull(20, lambda x: 400 + 30 * np.sin(9 * x), rope=8.0)
    series = {"haul": (t, force - 24.0), "rope": (t, x), "way": (t, x / 3)}
    found = review(three(1084.0), sensors(*series, haul=U), block(**series))
    got = found["measured"]["haul_force_N"]
    assert "zero_too_low" in {m["code"] for m in found["messages"]}
    assert abs(got["value"] - 400) <= got["U95"]


@pytest.mark.parametrize(("least_N", "left"), [(-12.0, False), (-40.0, True)])
def test_a_zero_that_is_off_by_the_unit_alone_is_not_blamed(least_N, left):
    """-12 N in kgf that are lbf are -5.4 N (1 lbf = 0.4536 kgf): below 3.5 x 2 N; -40 N are -18 N."""
    unit = message("cell_sends_another_unit", cell="haul", sent="lbf", unit="kgf")
    refused_for = message("cells_contradict_rig", causes=(unit,), advantage=1.2, ideal=3.0)
    zero = message("zero_too_low", cell="haul", least_N=least_N, u_N=2.0)
    assert unexplained(refused_for, [zero]) == ([zero] if left else [])
    assert unexplained(None, [zero]) == [zero]


def test_a_haul_that_is_cut_off_throughout_blames_the_capacity_alone():
    """400 N on a cell that ends at 300 N: a force that stays where it is looks like a load that stands."""
    t, x, force = pull(20, lambda x: 400 + 30 * np.sin(9 * x), rope=8.0)
    series = {"haul": (t, np.minimum(force, 300.0)), "rope": (t, x), "way": (t, x / 3)}
    found = review(three(1084.0), sensors(*series, haul=f"{U}\ncapacity = 290.0"), block(**series))
    assert "beyond its capacity" in refused(found, keeps=("load_force_N",))
    codes = {m["code"] for m in found["messages"]}
    assert not codes & {"load_stood", "never_steady", "travel_of_another_rig"}
