"""What marked gear went through: peaks, counts, metres, hours, against hand calculation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.channels import force, json_channel, rope
from support.readings import pull
from support.sealed_sessions import ma, made

from analysis.review.reviewed_session import whole_session
from analysis.sessions.gear_log import as_row, items_used, times_above, totals
from logger.session.csv_import import import_table


def test_one_session_by_hand(tmp_path):
    # 3:1: A1 turns the haul strand round (2 S without friction), T1 too; G1 carries 3 S - S = 2 S
    whole = whole_session(made(tmp_path / "s", strokes=3, peak_N=800.0))
    uses = {u.item: u for u in items_used(whole)}
    assert set(uses) == {"P-07", "P-08", "G-1"}
    pulley, rider, grab = uses["P-07"], uses["P-08"], uses["G-1"]
    assert pulley.peak_N == pytest.approx(2 * 800.0) == rider.peak_N == grab.peak_N
    assert (pulley.limit_N, rider.limit_N, grab.limit_N) == (
        900.0,
        4000.0,
        4000.0,
    )  # 9 kN / 10, WLL, slips
    # 1200 N / 2.71 = 443 N at the haul: 886 N is above half of 900 N in each stroke, once above it all
    assert 2 * 1200 / ma(0.9) == pytest.approx(885.6, abs=0.1)
    # after each stroke the load, at most 3 x 443 N, rests or is eased with friction turned round:
    # A1 then holds 1 / 0.9 + 1 / 0.81 of 1 + 1 / 0.9 + 1 / 0.9^2 of it
    turned = (1 / 0.9 + 1 / 0.81) / (1 + 1 / 0.9 + 1 / 0.81)
    assert 3 * 1200 / ma(0.9) * turned == pytest.approx(931.6, abs=0.5)
    assert (pulley.half, pulley.full) == (3, 3)
    assert (rider.half, rider.full) == (0, 0)
    # 3 m of rope at the haul in each stroke: T1 rides, all of it runs over T1 less its own way
    strokes = sum(s["haul_travel_m"] for s in whole.review["strokes"])
    assert strokes == pytest.approx(9.0, abs=0.2)
    flow = {
        whole.rig.stations[s].name: abs(whole.rig_model.motion.flow[s]) for s in whole.rig.turns
    }
    assert rider.run_m == pytest.approx(strokes * flow["T1"] / 3)
    assert pulley.run_m == pytest.approx(strokes * flow["A1"] / 3)
    assert (flow["T1"], flow["A1"]) == pytest.approx(
        (2.0, 1.0)
    )  # rope past each per metre of load travel
    assert grab.run_m is None
    assert pulley.loaded_s == pytest.approx(18.0, abs=0.5)  # 3 strokes of 6 s


def test_where_nothing_bounds_the_force_no_peak_is_told_but_the_reason(tmp_path):
    """The haul cell is beyond its capacity in one of two sessions: what it read is no bound."""
    rows = []
    for name, capacity in (("s0", None), ("s1", 420.0)):
        session = made(tmp_path / name, peak_N=800.0, seal=capacity is None)
        if capacity:  # 443 N is pulled, once 800 N
            text = (session / "sensors.toml").read_text("utf-8")
            head, tail = text.split('name = "haul_force"\n', 1)
            line = f'name = "haul_force"\ncapacity = {capacity}\n'
            (session / "sensors.toml").write_text(head + line + tail, "utf-8")
        whole = whole_session(session)
        rows += [(name, whole.review["started_at"], as_row(u)) for u in items_used(whole)]
    uses = {(path, use["item"]): use for path, _, use in rows}
    assert uses["s0", "P-08"]["peak_N"] == pytest.approx(1600.0)
    assert uses["s0", "P-08"]["why_not"] == ""
    open_ended = uses["s1", "P-08"]
    assert (
        open_ended["peak_N"] is None
        and "haul_force was beyond its capacity" in open_ended["why_not"]
    )
    # 800 of 4000 N was read: it may have been above half of that, but no reading shows it
    assert (open_ended["half"], open_ended["full"]) == (None, None)
    # P-07 was above its 900 N by what was read, whatever more there was
    assert uses["s1", "P-07"]["full"] >= 1
    records = {r.item: r for r in totals(rows)}
    assert records["P-08"].peak_N is None and records["P-08"].peak_session == ""
    assert records["P-08"].why_not.startswith("s1: ")


def test_over_many_sessions(tmp_path):
    rows = []
    for k, (item, peak) in enumerate((("P-07", 500.0), ("P-07", 700.0), ("P-99", 600.0))):
        session = made(
            tmp_path / f"s{k}", item=item, peak_N=peak, started_at=f"2026-0{k + 3}-01T10:00:00.000Z"
        )
        whole = whole_session(session)
        rows += [(session.name, whole.review["started_at"], as_row(u)) for u in items_used(whole)]
    records = {r.item: r for r in totals(rows)}
    assert list(records) == ["G-1", "P-07", "P-08", "P-99"]
    first = records["P-07"]
    assert (first.sessions, first.since[:10], first.last[:10]) == (2, "2026-03-01", "2026-04-01")
    assert first.peak_N == pytest.approx(1400.0) and first.peak_session == "s1"
    # two strokes a session above half of 900 N; at rest after each, at most 932 N
    assert (first.half, first.full) == (4, 4)
    assert records["P-08"].sessions == 3 and records["P-08"].loaded_h == pytest.approx(
        3 * 12 / 3600, rel=0.05
    )
    assert records["P-99"].sessions == 1 and records["G-1"].run_m is None


def test_noise_about_a_level_is_not_counted_again():
    force = np.array([0, 101, 99, 101, 95, 101, 80, 101, 0.0])
    assert times_above(force, 100.0) == 2
    assert times_above(np.empty(0), 100.0) == 0
    assert times_above(np.array([150.0]), 100.0) == 1


@given(st.lists(st.floats(0, 200), max_size=60))
def test_counts_as_a_plain_loop_counts(values):
    count, above = 0, False
    for v in values:
        if v > 100.0 and not above:
            count, above = count + 1, True
        elif v < 90.0:
            above = False
    assert times_above(np.array(values), 100.0) == count


def test_without_readings_nothing_is_claimed(tmp_path):
    session = made(tmp_path / "s")
    (session / "readings.csv").write_text("time_s,channel,reading\n", "utf-8")
    for use in items_used(whole_session(session)):
        assert (use.peak_N, use.half, use.full, use.loaded_s) == (None, None, None, None)
        assert use.run_m in (None, 0.0)


def test_where_the_rig_was_changed_each_item_counts_what_it_was_part_of(tmp_path):
    # P-07 is taken out after the first of three strokes, and P-50 put in its place
    session = made(tmp_path / "s", strokes=3, seal=False)
    text = (session / "rig.toml").read_text("utf-8").replace("P-07", "P-50")
    (session / "rig-2.toml").write_text(text, "utf-8")
    with (session / "events.csv").open("a", encoding="utf-8") as events:
        events.write("12.5000,r000099,rig,,,rig-2.toml\n")
    uses: dict[str, list] = {}
    for use in items_used(whole_session(session)):
        uses.setdefault(use.item, []).append(use)
    (old,), (new,) = uses["P-07"], uses["P-50"]
    assert (old.half, new.half) == (1, 2)
    assert (old.loaded_s, new.loaded_s) == (
        pytest.approx(6.0, abs=0.3),
        pytest.approx(12.0, abs=0.3),
    )
    assert new.run_m == pytest.approx(2 * old.run_m, rel=0.05)
    assert sum(u.half + (u.run_m or 0) for u in uses["P-08"]) > 0 and len(uses["P-08"]) == 2


def test_a_marked_anchor_beside_the_axis_counts_what_pulls_on_it_sideways_too(tmp_path):
    """Strand along the axis, haul at a right angle, e 0.9: a cell at P1 reads 0.9 T, on P1 pulls
    hypot(0.9, 1) T = 538 N at 400 N of haul tension (statics): at most sqrt(2) T, from the haul."""
    rig = """anchor_to_load_m = 100.0
[defaults]
pulley_efficiency = 0.9
[further_anchor.P1]
at_m = 0.0
wll_kN = 1.0
item = "S-01"
[[rope]]
name = "main"
path = [ { tie = "load" }, { pulley = "S", on = "P1" }, { haul = "team", toward_deg = 90 } ]
"""
    t, x, force_N = pull(20, 400.0)
    rows = [f"{a:.3f},{b},{c:.3f},{0.9 * b}" for a, b, c in zip(t, force_N, x, strict=True)]
    for name, text in (
        ("rig.toml", rig), ("data.csv", "\n".join(["time_s,haul_force,rope_out,cell", *rows])),
        ("sensors.toml", force() + rope() + json_channel("cell", "force", "c", at="P1")),
    ):  # fmt: skip
        (tmp_path / name).write_text(text, "utf-8")
    session = import_table(
        tmp_path / "data.csv", tmp_path / "rig.toml", tmp_path / "sensors.toml", tmp_path / "s"
    )
    (anchor,) = items_used(whole_session(session))
    assert (anchor.item, anchor.half, anchor.full) == ("S-01", 1, 0)
    assert anchor.peak_N == pytest.approx(400 * np.sqrt(2.0))
