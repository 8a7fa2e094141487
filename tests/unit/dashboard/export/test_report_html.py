"""The printed report: one valid file that asks for nothing, says what the review says, runs nothing."""

from __future__ import annotations

import re
import sys
import time

import pytest
from support.paper_pages import Seen, check_asks_for_nothing, check_valid
from support.places import SAMPLES
from support.readings import three
from support.sealed_sessions import made

from analysis.efficiency.uncertainty import Component, Quantity
from analysis.efficiency.verdict import Agreement, Change, agreement
from analysis.live.haul_levels import haul_levels
from analysis.mechanics.model import model
from analysis.messages.message import message
from analysis.review.review import review_session, reviewed
from analysis.review.reviewed_session import whole_session
from dashboard.export import report_tables as tables
from dashboard.export.report_html import report
from dashboard.text.summary_sentences import look_at, three_sentences
from dashboard.text.units import METRIC, US
from logger.session.verify import verify

HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(1)>&amp;'"


@pytest.mark.parametrize("session", SAMPLES, ids=lambda p: p.name)
def test_the_report_of_every_sample_is_valid_and_asks_for_nothing(session):
    text = report(session)
    check_valid(text)
    check_asks_for_nothing(text)


@pytest.mark.parametrize("session", SAMPLES, ids=lambda p: p.name)
def test_it_shows_what_the_review_says(session):
    words = " ".join(Seen(report(session)).words.split())
    review = review_session(session)
    for key in ("actual_ma", "efficiency", "pulley_efficiency"):
        assert METRIC.quantity("number", review["measured"][key]) in words
    assert METRIC.quantity("force", review["measured"]["haul_force_N"]) in words
    for row in review["peaks"][:3]:
        assert METRIC.force(row["force_N"]) in words
    assert verify(session).digest in words
    for channel in review["readings"]:
        assert channel in words
    assert review["title"] in words


@pytest.mark.parametrize("session", SAMPLES, ids=lambda p: p.name)
def test_the_review_behind_it_is_the_review(session):
    assert whole_session(session).review == review_session(session)


def test_no_text_from_a_file_becomes_a_tag(tmp_path):
    clean = Seen(report(made(tmp_path / "clean", marks=1, mark="x"))).tags
    session = made(
        tmp_path / "s",
        title=HOSTILE,
        note=HOSTILE,
        item=HOSTILE,
        counter="<b>rope",
        marks=1,
        mark=HOSTILE,
    )
    text = report(session)
    check_valid(text)
    check_asks_for_nothing(text)
    assert sorted(Seen(text).tags) == sorted([*clean, "p"])  # the note's paragraph
    assert "onerror" in Seen(text).words


def test_a_session_in_which_nothing_was_hauled_says_why(tmp_path):
    text = report(made(tmp_path / "s", strokes=0))
    check_valid(text)
    assert "not known" in Seen(text).words and "never rose above" in Seen(text).words


def test_a_what_if_says_so(tmp_path):
    session = made(tmp_path / "s")
    other = tmp_path / "other.toml"
    other.write_text((session / "rig.toml").read_text("utf-8").replace("0.9\n", "0.8\n"), "utf-8")
    words = Seen(report(session, other)).words
    assert "WHAT IF" in words and "2.44" in words  # 1 + 0.8 + 0.64


def test_us_units_all_the_way(tmp_path):
    words = Seen(report(made(tmp_path / "s"), units=US)).words
    assert "haul force, lbf" in words and "rope at the haul, ft" in words


def test_a_stated_delay_stands_beside_what_a_reading_is_worth(tmp_path):
    session = made(tmp_path / "s")
    assert " s late" not in Seen(report(session)).words
    file = session / "sensors.toml"
    first, _, rest = file.read_text("utf-8").partition("[[channel]]\n")
    file.write_text(f"{first}[[channel]]\ndelay_s = 0.05\ndelay_u_s = 0.02\n{rest}", "utf-8")
    assert "; 0.05 s late (u 0.02 s)" in Seen(report(session)).words


def test_three_sentences_name_result_method_and_what_to_look_at(tmp_path):
    quiet = reviewed(made(tmp_path / "quiet", e=0.9, load_N=1100.0))
    first, second, third = three_sentences(quiet, METRIC)
    assert all(s.endswith(".") for s in (first, second, third))
    assert "2.7" in first and "agrees" in first  # 1 + 0.9 + 0.81 = 2.71
    assert "known" in second and "0.90" in second
    assert third.startswith("Nothing stands out") and "inspected by a person" in third
    worn = reviewed(made(tmp_path / "worn", e=0.6, load_N=1500.0))
    assert "less than the uncertainty of both can explain" in three_sentences(worn, METRIC)[0]
    assert "drags" in look_at(worn.json, worn.main.agreement, METRIC)


def test_what_carried_too_much_is_named_first(tmp_path):
    # A1 turns the rope round: twice the haul force without friction; 9 kN / 10 = 900 N allowed
    review = reviewed(made(tmp_path / "s", load_N=1500.0))
    found = look_at(review.json, review.main.agreement, METRIC)
    assert found.startswith(
        "Look at what may have carried more than it is allowed to: A1 (at most "
    )


def test_what_its_own_cell_read_above_its_limit_is_no_guess():
    over = {"name": "load>G1", "use": 1.2, "how": "cell"}
    review = {"state": "sealed", "peaks": [over], "events": [], "dropped": {}}
    same = Agreement(None, message("advantage_not_measured"), None)
    found = look_at(review, same, METRIC)
    assert (
        found
        == "Look at what carried more than it is allowed to: load>G1 (120 %, by its own cell)."
    )


@pytest.mark.parametrize(
    ("within", "between", "change"),
    [
        (0.3, 0.0, "rose by 30 % along each stroke, as it does where the ground changes"),
        (0.0, -0.3, "fell by 30 % from the first stroke to the last with the same rig"),
    ],
)
def test_ground_that_changes_is_looked_at_in_a_whole_sentence(within, between, change):
    rig = model(three())
    for measured in (0.8 * rig.model_ma, 1.2 * rig.model_ma):
        quantity = Quantity(measured, (Component("scatter", 0.01),), 4)
        agreed = agreement(rig, quantity, "known", Change(within, between))
        assert look_at(
            {"state": "sealed", "peaks": [], "events": [], "dropped": {}}, agreed, METRIC
        ) == (
            f"Look at the ground: the haul force {change}, which pulleys do not cause: measure the load "
            "force before you blame the pulleys."
        )


def test_faults_are_one_line(haul, tmp_path):
    session = made(tmp_path / "s")
    for target in (session / "report.html", tmp_path / "missing" / "r.html", tmp_path):
        said = haul("review", session, "--html", target)
        assert said.status == 2 and said.err.count("\n") == 1 and "haul: " in said.err
    said = haul("review", session, "--html", tmp_path / "r.html", "--json")
    assert said.status == 0 and said.out.startswith("{")
    assert (tmp_path / "r.html").read_text("utf-8").startswith("<!DOCTYPE html>")


def test_what_is_over_its_limit_stands_in_the_cautions_in_place_of_no_warning(tmp_path):
    session = made(tmp_path / "s", load_N=1500.0)
    review = review_session(session)
    over = [peak for peak in review["peaks"] if peak["use"] is not None and peak["use"] > 1]
    assert over
    words = " ".join(Seen(report(session)).words.split())
    said = words[words.index("OVER THE LIMIT: ") :]
    for peak in sorted(over, key=lambda peak: -peak["use"])[: tables.MOST_OVER]:
        at_most = f"{peak['use'] * peak['limit_N']:.0f} N of {peak['limit_N']:.0f} N"
        assert f"{peak['name']} at most {at_most} ({100 * peak['use']:.0f} %)" in said
    assert "The review has no warning" not in words


def test_a_part_that_its_own_cell_measured_is_said_to_be_so():
    peak = {"name": "load>G1", "use": 1.2, "limit_N": 5000.0, "how": "cell", "at_most_N": 6000.0}
    over = [{**peak, "name": f"part {k}", "use": 1.1, "how": "model"} for k in range(5)]
    said = tables.over_limits({"peaks": [*over, peak]}, US)
    assert said.startswith("OVER THE LIMIT: load>G1 1349 lbf of 1124 lbf by its own cell (120 %); ")
    assert "part 0 at most 1236 lbf of 1124 lbf (110 %)" in said
    assert "and 2 more parts. A person inspects them" in said
    open_ended = tables.over_limits({"peaks": [{**over[0], "at_most_N": None}]}, US)
    assert "part 0 about 1236 lbf of 1124 lbf (110 %), maybe more" in open_ended
    assert tables.over_limits({"peaks": [{**peak, "use": 0.9}, {**peak, "use": None}]}, US) == ""


def test_there_is_room_for_site_crew_and_signature(tmp_path):
    text = report(made(tmp_path / "s"))
    for label in ("site", "crew", "inspected by", "signature", "date"):
        assert f"<span>{label}</span><i></i>" in text


def test_both_force_plots_show_the_stop_level(tmp_path):
    session = made(tmp_path / "s")
    whole = whole_session(session)
    level_N = haul_levels(whole.result.roles, whole.rig_model).stop_N
    assert level_N is not None
    words = Seen(report(session)).words
    assert words.count(f"stop level {METRIC.force(level_N)}") == 2


@pytest.mark.skipif(sys.platform == "win32", reason="other system: no tzset")
def test_times_of_day_are_local_with_their_offset(tmp_path, monkeypatch):
    session = made(tmp_path / "s", started_at="2026-05-04T10:00:00.000Z")
    monkeypatch.setenv("TZ", "XXX-5:30")  # POSIX: five and a half hours before UTC
    time.tzset()
    try:
        words = " ".join(Seen(report(session)).words.split())
    finally:
        monkeypatch.undo()
        time.tzset()
    assert "2026-05-04 15:30:00 +05:30" in words
    assert re.search(r"by haul \S+ on \d{4}-\d\d-\d\d \d\d:\d\d:\d\d \+05:30", words)
    assert "10:00:00.000Z" not in words


def test_a_session_of_a_rig_without_a_title_is_headed_by_its_own_name(tmp_path):
    from dashboard.review.session_review import Reviews
    from dashboard.review.tables import page_data

    session = tmp_path / "launch day"
    made(session, strokes=2, title="")
    assert "<h1>launch day</h1>" in report(session)
    assert page_data(Reviews().session(session).reviewed(), METRIC)["title"] == "launch day"
