"""Sessions side by side: who gave what, what it cost, whether the bigger ratio was worth it."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from support.rigs import HAUL
from support.sealed_sessions import STATIONS, made

from analysis.review.reviewed_session import whole_session
from analysis.rig.rig import Load
from analysis.sessions.compare import (
    not_compared,
    pairs,
    same_load,
    side,
    stated_load,
    worth_it,
)
from analysis.sessions.session_row import columns
from analysis.sessions.trend import rig_trends
from dashboard import cli

FIVE = [*STATIONS[:-1], '{ pulley = "A2", on = "anchor" }', '{ pulley = "T2", on = "G1" }', HAUL]


def look(path, **more):
    return side(whole_session(made(path, **more)))


def test_figures_of_a_session(tmp_path):
    whole = whole_session(made(tmp_path / "s", strokes=2))
    found = side(whole)
    assert columns(whole)["actual_ma"] == pytest.approx(2.71, abs=0.03)
    assert found.resets == 2
    assert found.rope_m == pytest.approx(12.0, abs=0.4)  # 2 x 3 m hauled, 2 x 3 m fed back
    # 23 s for 2 m of load travel (6 m of rope / 3)
    assert found.minutes_a_metre == pytest.approx(22.95 / 60 / 2, rel=0.03)
    assert found.rope_a_metre == pytest.approx(6.0, rel=0.05)
    assert found.team_N == 600.0


def test_the_same_rig_is_told_by_what_is_laid_out_not_by_the_load(tmp_path):
    one, other = look(tmp_path / "a", load_N=1200.0), look(tmp_path / "b", load_N=1500.0)
    worn = look(tmp_path / "c", item="P-99")
    assert one.rig == other.rig != worn.rig


def test_a_rig_that_wears_is_seen_over_months(tmp_path):
    rows = [
        columns(whole_session(made(
            tmp_path / f"s{k}", e=0.92 - 0.02 * k, hz=10.0, load_u_N=3.0,
            started_at=f"2026-{k + 1:02d}-01T08:00:00.000Z",
        )))
        for k in range(6)
    ]  # fmt: skip
    ((_, title, found),) = rig_trends(rows)
    assert title == "Launch, 3:1" and found.n == 6
    assert found.per_year + found.U95 < 0 and "falls" in found.verdict.text()


def test_a_bigger_ratio_that_was_needed_and_one_that_was_not(tmp_path):
    # ideal 3 and 5: 1500 N needs 553 N with 1 + 0.9 + 0.81, which a team of 600 N keeps up
    small = look(tmp_path / "three", load_N=1500.0)
    big = look(tmp_path / "five", load_N=1500.0, stations=FIVE, e=1.4, title="Launch, 5:1")
    assert (small.ideal_ma, big.ideal_ma) == (3.0, 5.0)
    assert pairs([small, big]) == [(big, small)]
    text = worth_it(big, small).text()
    assert text.startswith("5 : 1 against 3 : 1 on the same load: ") and text.count(".") >= 1
    assert "not needed" in text and "resets" in text and "times the rope" in text
    heavy = look(tmp_path / "heavy", load_N=2000.0)
    big = look(tmp_path / "big", load_N=2000.0, stations=FIVE, e=1.4, title="Launch, 5:1")
    needs = re.search(
        r"; worth it: the smaller ratio needs ([0-9]+) N", worth_it(big, heavy).text()
    )
    assert needs and float(needs[1]) == pytest.approx(2000 / 2.71, rel=0.01)
    dragging = look(tmp_path / "drag", load_N=2000.0, stations=FIVE, e=0.85, title="Launch, 5:1")
    said = worth_it(dragging, heavy).text()
    assert "5 % more haul force" in said and "not worth it: friction" in said


def test_a_difference_that_is_not_shown_is_neither_a_verdict_nor_none(tmp_path):
    small = look(tmp_path / "three", load_N=2000.0)
    same = worth_it(look(tmp_path / "five", load_N=2000.0, stations=FIVE, e=0.9), small).text()
    assert (
        "no difference of the haul force is shown" in same and "not mean that there is none" in same
    )
    assert "the 40 % less that the ratios promise is ruled out" in same and "worth it" not in same
    unsure = {"value": 700.0, "u": 140.0, "U95": 280.0, "n": 2}
    big = look(tmp_path / "big", load_N=2000.0, stations=FIVE, e=1.0)
    found = worth_it(replace(big, haul_N=unsure), small).text()  # 5 % less, 38 % of doubt
    assert "no difference of the haul force is shown" in found and "worth it" not in found
    assert "the ratios promise 40 % less" in found


def test_another_load_is_not_compared(tmp_path):
    small, big = (
        look(tmp_path / "a", load_N=1200.0),
        look(tmp_path / "b", load_N=1600.0, stations=FIVE, e=1.4),
    )
    assert not same_load(small, big) and pairs([small, big]) == []
    (why,) = not_compared([small, big])
    assert why.text() == (
        "5 : 1 against 3 : 1: no verdict, because the rig files state different loads; if both moved the "
        "same load, add --same-load."
    )


def test_two_loads_whose_intervals_overlap_are_not_the_same(tmp_path):
    """300 kg and 340 kg, each measured to within 30 %: the forces agree within their U95."""
    small, big = look(tmp_path / "a", load_N=1200.0), look(tmp_path / "b", stations=FIVE, e=1.4)
    wide = {"value": 2900.0, "u": 450.0, "U95": 900.0, "n": 3}
    other = {"value": 3300.0, "u": 450.0, "U95": 900.0, "n": 3}
    one = replace(small, load_N=wide, load_method="cell", load=stated_load(Load("hanging", 300.0)))
    two = replace(big, load_N=other, load_method="cell", load=stated_load(Load("hanging", 340.0)))
    assert pairs([one, two]) == []
    assert pairs([one, two], said=True) == [(two, one)]
    assert not_compared([one, two], said=True) == []
    assert pairs([one, replace(two, load=one.load)]) == [(replace(two, load=one.load), one)]


def test_a_load_that_no_file_states_is_nobodys_same_load(tmp_path):
    assert stated_load(Load("hanging")) is None
    nothing = replace(look(tmp_path / "a"), load=None)
    big = replace(look(tmp_path / "b", stations=FIVE, e=1.4), load=None)
    (why,) = not_compared([nothing, big])
    assert "not both rig files state" in why.text()


def test_files_that_agree_are_not_believed_where_cells_disagree(tmp_path):
    one = look(tmp_path / "a", load_N=1200.0)
    two = look(tmp_path / "b", load_N=1200.0, stations=FIVE, e=1.4)
    cell = {"value": 1200.0, "u": 5.0, "U95": 10.0, "n": 3}
    one = replace(one, load_N=cell, load_method="cell")
    two = replace(two, load_N=cell | {"value": 1500.0}, load_method="cell")
    (why,) = not_compared([one, two])
    assert "1500 N and 1200 N were measured" in why.text()


def test_an_earlier_session_on_the_same_load_is_found(tmp_path):
    early = look(tmp_path / "a", load_N=1200.0)
    late = look(tmp_path / "b", load_N=1500.0, started_at="2026-06-04T10:00:00.000Z")
    big = look(tmp_path / "c", load_N=1200.0, stations=FIVE, e=1.4)
    assert pairs([late, big, early]) == [(big, early)]


def test_the_command_takes_the_users_word(tmp_path, capsys):
    small = made(tmp_path / "a", load_N=1500.0)
    big = made(tmp_path / "b", load_N=1500.5, stations=FIVE, e=1.4, title="Launch, 5:1")
    assert cli.main(["compare", str(small), str(big)]) == 0
    said = capsys.readouterr().out
    assert "no verdict" in said and "on the same load" not in said and "--same-load" in said
    assert cli.main(["compare", str(small), str(big), "--same-load"]) == 0
    said = capsys.readouterr().out
    assert "5 : 1 against 3 : 1 on the same load: " in said and "no verdict" not in said


def test_the_command_gives_no_verdict_on_two_loads_whose_intervals_overlap(tmp_path, capsys):
    """1200 N and 1300 N, each stated to 200 N: their intervals overlap, and the loads are two."""
    small = made(tmp_path / "a", load_N=1200.0, load_u_N=200.0)
    big = made(
        tmp_path / "b", load_N=1300.0, load_u_N=200.0, stations=FIVE, e=1.4, title="Launch, 5:1"
    )
    assert cli.main(["compare", str(small), str(big)]) == 0
    said = capsys.readouterr().out
    assert "on the same load" not in said and "worth it" not in said
    assert "the rig files state different loads" in said
