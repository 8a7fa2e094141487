"""The review page: its figures are those of `haul review`, of the live page at the end, and of the readings."""

import json
import re
import shutil

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.channels import json_channel
from support.chapter_sessions import RigPlan, SessionPlan, recorded
from support.growing_session import DemoPull, Growing
from support.http_server import OpenServer
from support.places import SAMPLES
from support.waiting import until

from analysis.live.minmax_pyramid import MOST_BINS
from analysis.review.review import review_session
from analysis.review.reviewed_session import whole_session
from analysis.review.si_series import rope_at_haul
from analysis.simulation.demo_haul import demo_text
from dashboard.live.state_feed import sig
from dashboard.live.watcher import Watch
from dashboard.review.figures import grouped, over_time, plain
from dashboard.review.figures import loop as work_loop
from dashboard.review.session_review import SessionReview
from dashboard.review.tables import page_data
from dashboard.review.windowed_series import MOST_RAW, MOST_SCANNED, Series
from dashboard.text.units import SYSTEMS
from logger.channels.sensors_file import parse_sensors
from logger.session.records import ChannelReadings

HOSTILE = '<img src=x onerror="window.broken=1">&amp;'


def close(one, other):
    """Equal, numbers to 1e-9: cutting changes the order of a few sums."""
    if isinstance(one, dict):
        assert one.keys() == other.keys()
        return all(close(one[k], other[k]) for k in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(close, one, other))
    if isinstance(one, float) and isinstance(other, float):
        return one == pytest.approx(other, rel=1e-9, abs=1e-12)
    return one == other


# -- the same figures everywhere -------------------------------------------------------------------
@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.name)
def test_the_page_reviews_as_the_command_does(path):
    assert SessionReview(path).reviewed().review == review_session(path)


@pytest.mark.parametrize("units", sorted(SYSTEMS))
def test_every_number_of_the_review_stands_on_the_page_with_its_unit_and_uncertainty(units):
    path, shown = SAMPLES[0], SYSTEMS[units]
    found, told = review_session(path), page_data(SessionReview(path).reviewed(), SYSTEMS[units])
    said = {row[0]: row for row in told["results"]}
    measured = found["measured"]
    for name, key, kind in (
        ("mechanical advantage", "actual_ma", "number"), ("efficiency", "efficiency", "number"),
        ("haul force", "haul_force_N", "force"), ("load force", "load_force_N", "force"),
        ("efficiency of one pulley", "pulley_efficiency", "number"),
        ("travel efficiency", "travel_efficiency", "number"), ("work efficiency", "work_efficiency", "number"),
    ):  # fmt: skip
        assert said[name][1] == shown.quantity(kind, measured[key])
        assert " ± " in said[name][1] and said[name][3] == str(measured[key]["n"]) and said[name][4]
    assert said["rope hauled"][1] == shown.length(measured["haul_travel_m"])
    assert said["work in"][1] == shown.work(measured["work_in_J"])
    assert [s["cells"][6] for s in told["strokes"]] == [
        shown.force(s["peak_force_N"]) for s in found["strokes"]
    ]
    assert [s["cells"][8] for s in told["strokes"]] == [
        shown.quantity("number", s["efficiency"]) for s in found["strokes"]
    ]
    assert told["warnings"] == found["warnings"]
    assert measured["load_force_method"] in said["load force"][4]
    assert len(told["sentences"]) == 3


def test_the_live_page_at_the_end_says_what_the_review_says(tmp_path):
    pull = DemoPull(tmp_path / "s", seed=5, for_s=25)
    watch = Watch(tmp_path / "s")
    page = SessionReview(tmp_path / "s")
    for end_s in np.arange(2.5, 40, 2.5):  # live: in slices, as it grows
        pull.feed(float(end_s))
        watch.tick()
    page.refresh()
    pull.session.seal()
    until(lambda: watch.tick() or watch.finished, 3, "the end is seen")
    found = review_session(tmp_path / "s")
    parts = {key: json.loads(data) for key, (_, data) in watch.publisher.board._parts.items()}
    measured = found["measured"]
    for name in ("actual_ma", "efficiency", "load_force_N"):
        q = measured[name]
        assert parts[name] == {"value": sig(q["value"]), "U95": sig(q["U95"], 3), "n": q["n"]}
    assert parts["load_force_method"] == measured["load_force_method"]
    assert parts["verdict"] == found["agreement"]["verdict"]
    assert parts["strokes"] == {
        "haul_strokes": sum(s["direction"] == "haul" for s in found["strokes"]), "resets": found["resets"],
        "haul_travel_m": sig(measured["haul_travel_m"]), "load_travel_m": sig(measured["load_travel_m"]),
    }  # fmt: skip
    page._due = 0.0
    assert page.reviewed().review["state"] == "sealed"
    assert close(page.reviewed().review, found)


def test_a_growing_session_costs_what_is_new_and_ends_as_if_read_at_once(tmp_path):
    session = Growing(tmp_path / "s")
    session.rows("haul_force", np.arange(0, 2, 0.01), np.full(200, 50.0))
    session.clock(2.0)
    page = SessionReview(tmp_path / "s")
    page.refresh()
    assert page.info.state == "growing" and len(page.forces[0].series) == 200
    # a zero that is told after later readings were taken up still holds for them
    session.rows("haul_force", np.arange(2, 4, 0.01), np.full(200, 80.0))
    session.clock(4.0)
    page._due = 0.0
    page.refresh()
    zero = page.info.sensors.channels[0].zero
    session.event(3.0, "zero", "haul_force", zero + 30.0, "zeroed")
    session.seal()
    page._due = 0.0
    page.refresh()
    whole = SessionReview(tmp_path / "s")
    whole.refresh()
    for k, series in enumerate(s.series for s in page.series):
        for a, b in zip(
            series.between(-1, 99), whole.series[k].series.between(-1, 99), strict=True
        ):
            np.testing.assert_allclose(a, b)
    low = page.forces[0].series.pyramid.bins(0)[1]
    np.testing.assert_allclose(low, whole.forces[0].series.pyramid.bins(0)[1])
    _, value = whole.forces[0].series.between(0, 9)
    assert value[-1] == pytest.approx(value[250] - 30.0, abs=1e-6)


def test_a_rig_changed_on_the_way_is_reviewed_as_the_command_does_what_if_too(tmp_path):
    pull = DemoPull(tmp_path / "s", seed=5, for_s=25)
    pull.feed(14.0)
    later = demo_text("rig.toml").replace("pulley_efficiency = 0.9", "pulley_efficiency = 0.85")
    (tmp_path / "s" / "rig-2.toml").write_text(later, "utf-8")
    pull.session.event(13.0, "rig", "", None, "rig-2.toml")
    pull.feed(40.0)
    pull.session.seal()
    page, found = SessionReview(tmp_path / "s"), review_session(tmp_path / "s")
    assert page.reviewed().review == found
    assert any("rig" in warning and "changed" in warning for warning in found["warnings"])
    ideal = page.reviewed(e=1.0).review
    assert ideal["predicted"]["model_ma"] == pytest.approx(ideal["ideal_ma"])


# -- any second at full resolution ------------------------------------------------------------------
CELL = json_channel("f", "force", "f")


def series_of(time_s, value):
    made = Series(parse_sensors(CELL, "sensors.toml").channels[0])
    for part in np.array_split(np.arange(len(time_s)), 7):
        made.push(ChannelReadings(time_s[part], value[part]))
    return made


@pytest.fixture(scope="module")
def long_one():
    """400,000 readings in 400 s, a shock of one reading at 222.222 s and a drop at 333.3 s."""
    rng = np.random.default_rng(3)
    time_s = np.arange(400_000) / 1000
    value = 400 + 20 * np.sin(time_s) + rng.normal(0, 2, len(time_s))
    value[222_222], value[333_300] = 2500.0, -700.0
    return series_of(time_s, value), time_s, value


@settings(max_examples=60, deadline=None)
@given(st.floats(0, 222.2), st.floats(222.3, 400))
def test_a_shock_of_one_reading_shows_at_every_zoom(long_one, begin, end):
    series, time_s, value = long_one
    window = series.window(begin, end)
    inside = value[(time_s >= begin) & (time_s <= end)]
    assert window.high.max() == inside.max() == 2500.0
    assert window.low.min() <= inside.min()
    at = window.time_s[np.argmax(window.high)]
    assert at - 1e-9 <= 222.222 <= at + max(window.width_s, 1e-6)
    x, y = window.path(1.0)
    assert np.nanmax(y) == 2500.0
    assert len(x) == len(y) <= 2 * MOST_BINS + 4 + MOST_RAW  # a few of a second's tail
    assert len(x) <= 1210


@settings(max_examples=60, deadline=None)
@given(st.floats(0, 399), st.floats(0.01, 1.1))
def test_a_second_is_shown_reading_by_reading(long_one, begin, span):
    series, time_s, value = long_one
    window = series.window(begin, begin + span)
    assert window.width_s == 0.0
    inside = (time_s >= begin) & (time_s <= begin + span)
    kept = (window.time_s >= begin) & (window.time_s <= begin + span)
    np.testing.assert_array_equal(window.time_s[kept], time_s[inside])
    np.testing.assert_allclose(window.low[kept], value[inside])


def test_columns_hold_the_extremes_of_their_own_readings(long_one):
    series, time_s, value = long_one
    for begin, end in ((100.0, 150.0), (0.0, 400.0)):  # scanned, and from the pyramid
        window = series.window(begin, end)
        assert (end - begin) * 1000 > MOST_SCANNED or window.width_s < 0.125
        for k in range(3, len(window.time_s) - 3, 37):
            inside = value[
                np.floor(time_s / window.width_s) == round(window.time_s[k] / window.width_s)
            ]
            assert (window.low[k], window.high[k]) == pytest.approx((inside.min(), inside.max()))


def test_a_silence_breaks_the_line():
    series = series_of(np.r_[np.arange(0, 5, 0.1), np.arange(9, 12, 0.1)], np.full(80, 7.0))
    x, y = series.window(0, 12).path(1.0)
    assert np.isnan(y[(x > 5) & (x < 9)]).all() and np.isnan(y).sum() == 1


@given(st.lists(st.tuples(st.floats(allow_nan=True), st.floats(allow_nan=True)), max_size=60))
def test_whatever_a_file_holds_times_stay_in_order(rows):
    made = Series(parse_sensors(CELL, "sensors.toml").channels[0])
    for t, v in rows:
        made.push(ChannelReadings(np.array([t]), np.array([v])))
    time_s, value = made.between(-1e12, 1e12)
    assert (np.diff(time_s) >= 0).all() and np.isfinite(value).all()
    window = made.window(0.0, 10.0)
    assert len(window.time_s) == len(window.low) == len(window.high)


# -- plots -----------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def launch():
    page = SessionReview(SAMPLES[0])
    page.refresh()
    return page


def test_the_area_of_a_strokes_loop_is_its_work(launch):
    """Work is the integral of force over travel; the trapezoid rule here is numpy's."""
    now = launch.reviewed()
    for k, stroke in enumerate(now.review["strokes"], 1):
        figure, said = work_loop(launch, now, SYSTEMS["metric"], k)
        x, y = figure["data"][0]["x"], figure["data"][0]["y"]
        good = np.isfinite(x) & np.isfinite(y)
        assert np.trapezoid(y[good], x[good]) == pytest.approx(stroke["work_J"], rel=0.03)
        assert SYSTEMS["metric"].work(stroke["work_J"]) in said and "predicted" in said


def test_strokes_resets_and_marks_lie_where_they_happened(launch):
    now = launch.reviewed()
    figure, traces, _ = over_time(launch, now, SYSTEMS["metric"], *launch.span(), 1200)
    shapes = figure["layout"]["shapes"]
    bands = [(s["x0"], s["x1"]) for s in shapes if s["name"] == "stroke"]
    assert bands == [(s["start_s"], s["end_s"]) for s in now.review["strokes"]]
    resets = [e for e in now.review["events"] if e["kind"] == "reset"]
    assert len([s for s in shapes if s["name"] == "reset"]) == len(resets) == now.review["resets"]
    labels = [n for n in figure["layout"]["annotations"] if n["name"] == "event"]
    for note in labels:
        event = now.review["events"][int(re.match(r"\d+", note["text"])[0]) - 1]
        assert event["time_s"] == note["x"]
    assert {t["unit"] for t in traces} == {"N", "m"}
    for s in figure["layout"][
        "annotations"
    ]:  # plotly takes markup in texts: numbers and signs alone
        assert re.fullmatch(r"[▲▼]?[0-9]+(…[0-9]+)?", s["text"])


def test_labels_that_would_lie_on_each_other_become_one():
    assert grouped([(0, "1"), (1, "2"), (1.5, "3"), (9, "4")], 0.125) == [(0, "1…3"), (9, "4")]
    assert grouped([(0, "7"), (1, "16"), (3.9, "17")], 0.125) == [
        (0, "7…17")
    ]  # a longer one needs more
    assert grouped([(0, "7"), (3, "16")], 0.125) == [(0, "7"), (3, "16")]
    assert grouped([], 1) == []


def test_a_budget_is_sorted_by_share_and_its_shares_add_up_to_one():
    told = page_data(SessionReview(SAMPLES[-1]).reviewed(), SYSTEMS["metric"])
    assert {"mechanical advantage", "haul force"} <= {b["name"] for b in told["budgets"]}
    for budget in told["budgets"]:
        shares = budget["shares"]
        assert shares == sorted(shares, reverse=True) and sum(shares) == pytest.approx(1.0)
        assert " ± " in budget["said"]


def test_peaks_are_sorted_by_share_and_what_is_unrated_says_so():
    told = page_data(SessionReview(SAMPLES[-1]).reviewed(), SYSTEMS["metric"])
    shares = [p["use"] for p in told["peaks"] if p["use"] is not None]
    assert shares == sorted(shares, reverse=True) and 0 < len(shares) < len(told["peaks"])
    unrated = [p for p in told["peaks"] if p["use"] is None]
    assert all(p["cells"][3] == "unrated" for p in unrated)
    assert told["unrated"].startswith(f"{len(unrated)} of {len(told['peaks'])} ")


# -- what if ---------------------------------------------------------------------------------------
def digests(path):
    return {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in path.rglob("*") if p.is_file()}


def test_what_if_pulleys_were_ideal_everything_is_the_ideal_and_the_record_stays(launch):
    before = digests(SAMPLES[0])
    now, then = launch.reviewed(), launch.reviewed(e=1.0)
    assert then.review["predicted"]["model_ma"] == pytest.approx(then.review["ideal_ma"])
    assert then.review["measured"]["actual_ma"] == now.review["measured"]["actual_ma"]
    assert then.assumptions and not now.assumptions
    assert launch.reviewed().review == review_session(SAMPLES[0])
    assert digests(SAMPLES[0]) == before


def test_what_if_another_rig_is_what_the_command_says_of_it(tmp_path):
    rig = tmp_path / "other.toml"
    rig.write_text(
        demo_text("rig.toml").replace("design_factor = 7.0", "design_factor = 3.0"), "utf-8"
    )
    page = SessionReview(SAMPLES[0], (rig,))
    assert page.reviewed(rig=0).review == review_session(SAMPLES[0], rig)
    assert "other.toml" in page.reviewed(rig=0).assumptions[0].text()
    both = page.reviewed(e=0.8, rig=0)
    assert "other.toml" in both.assumptions[0].text() and "0.80" in both.assumptions[1].text()
    # the file is read again once it has changed
    rig.write_text(rig.read_text("utf-8").replace('title = "', 'title = "Changed, '), "utf-8")
    assert page.reviewed(rig=0).review["title"].startswith("Changed, ")


# -- the server ------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def served():
    opened = OpenServer(SAMPLES[0])
    yield opened
    opened.close()


def asked(served, path):
    status, data, _ = served.ask(path)
    assert status == 200, data
    return json.loads(data)


def test_the_page_is_served_under_the_gate_and_holds_no_script_of_its_own(served):
    status, data, headers = served.ask("/review")
    text = data.decode()
    assert status == 200 and "script-src 'self'" in headers["Content-Security-Policy"]
    assert re.findall(r"<script(?![^>]* src=)", text) == [] and " on" + "click" not in text
    for address in re.findall(r'(?:src|href)="(/[^"]+)"', text):
        assert served.ask(address)[0] == 200, address
    assert 'href="./"' in text  # back to the live page


def test_a_window_is_bounded_whatever_is_asked(served):
    for query in (
        "",
        "?from=1&to=2",
        "?from=-100000&to=100000",
        "?from=3.0&to=3.02",
        "?from=20&to=999999",
    ):
        status, data, _ = served.ask("/window" + query)
        assert status == 200 and len(data) < 150_000
        told = json.loads(data)
        for trace in told["figure"]["data"]:
            assert len(trace["x"]) == len(trace["y"]) <= 1300
    begin, end = told["from_s"], told["to_s"]
    assert begin == 20 and end < 100


@pytest.mark.parametrize(
    "query",
    [
        "/window?from=nan&to=2", "/window?from=1e999", "/window?from=2&to=1", "/window?from=1&to=1.001",
        "/window?from=1%00", "/window?to=99999999999999", "/window?from=--1", "/window?from=1;to=2",
        "/window?w=-5", "/window?w=x", "/window?units=stone", "/window?e=2", "/window?e=0.4", "/window?e=nan",
        "/window?from=50000&to=50001",
        "/review-data?e=1.5", "/review-data?rig=/etc/passwd", "/review-data?rig=-1", "/review-data?units=",
        "/loop?stroke=x", "/loop?stroke=-1",
    ],
)  # fmt: skip
def test_a_hostile_query_is_refused_in_one_line(served, query):
    status, data, _ = served.ask(query)
    assert status == 400 and 0 < len(data) < 200 and b"\n" not in data


@pytest.mark.parametrize(
    "query", ["/review-data?rig=1", "/loop?stroke=99", "/review-data?s=../x", "/window?s=x"]
)
def test_what_is_not_there_is_not_found(served, query):
    assert served.ask(query)[0] == 404


def test_a_post_changes_nothing(served):
    for path in ("/review", "/review-data", "/window", "/loop"):
        assert served.ask(path, "POST", {"Content-Type": "application/json"}, b"{}")[0] == 405


def test_a_rig_file_that_is_wrong_is_said_before_anything_is_served(tmp_path, haul, rig):
    said = haul("watch", SAMPLES[0], "--rig", tmp_path / "none.toml")
    assert said.status == 2 and "none.toml" in said.err and said.err.count("\n") == 1
    rig.write_text("title = 3", "utf-8")
    said = haul("watch", SAMPLES[0], "--rig", rig)
    assert said.status == 2 and said.err.count("\n") == 1 and said.out == ""


def test_a_rig_that_has_no_place_for_a_cell_is_refused_in_a_line(tmp_path, rig):
    session = Growing(
        tmp_path / "s", sensors=CELL + CELL.replace('"f"', '"g"').replace('"haul"', '"A2"')
    )
    session.seal()
    served = OpenServer(tmp_path / "s", [rig])  # a rig without A2
    try:
        status, data, _ = served.ask("/review-data?rig=1")
        assert status == 409 and b"A2" in data and b"\n" not in data
        assert asked(served, "/review-data")["rigs"] == [f"{tmp_path.name}/rig.toml"]
    finally:
        served.close()


def test_what_if_over_the_wire_says_so(served):
    record, then = asked(served, "/review-data"), asked(served, "/review-data?e=0.75")
    assert record["what_if"] == "" and "0.75" in then["what_if"]
    assert record["results"][0][1] == then["results"][0][1]  # measured
    assert record["results"][0][2] != then["results"][0][2]  # predicted
    assert [row[0] for row in record["summary"]] == [row[0] for row in then["summary"]]


def test_in_a_folder_every_session_has_its_own_page(tmp_path):
    for path in SAMPLES:
        shutil.copytree(path, tmp_path / "all" / path.name)
    served = OpenServer(tmp_path / "all")
    try:
        listed = served.ask("/")[1].decode()
        assert all(f'href="/s/{p.name}/review"' in listed for p in SAMPLES)
        assert served.ask(f"/s/{SAMPLES[0].name}/review")[0] == 200
        assert served.ask("/review")[0] == 404 and served.ask("/s/none/review")[0] == 404
        titles = {asked(served, f"/review-data?s={p.name}")["title"] for p in SAMPLES}
        assert titles == {review_session(p)["title"] for p in SAMPLES}
        assert served.ask("/review-data?s=..")[0] == 404
    finally:
        served.close()


def test_texts_of_files_stay_data(tmp_path):
    rig = re.sub('title = ".*"', lambda _: f"title = '{HOSTILE}'", demo_text("rig.toml"), count=1)
    session = Growing(tmp_path / "s", rig=rig)
    session.rows("haul_force", np.arange(0, 5, 0.1), np.full(50, 300.0))
    session.event(2.0, "mark", "", None, HOSTILE)
    session.seal()
    served = OpenServer(tmp_path / "s")
    try:
        told = asked(served, "/review-data")
        assert HOSTILE in [e["cells"][4] for e in told["events"]] and told["title"] == HOSTILE
        for path in ("/window", "/loop", "/review"):
            assert b"onerror" not in served.ask(path)[1]
    finally:
        served.close()


@pytest.mark.parametrize("rows", [0, 1, 2])
def test_a_session_with_next_to_nothing_in_it_has_a_page(tmp_path, rows):
    session = Growing(tmp_path / "s")
    session.rows("haul_force", np.arange(rows) / 10, np.full(rows, 5.0))
    session.seal()
    served = OpenServer(tmp_path / "s")
    try:
        told = asked(served, "/review-data")
        assert told["strokes"] == [] and told["state"] == "sealed"
        for path in ("/window", "/loop", "/window?e=0.9"):
            asked(served, path)
    finally:
        served.close()


def test_numbers_on_the_wire_are_plain():
    told = plain({"x": np.array([1.23456789, np.nan, np.inf]), "y": [float("nan"), "text", 3]})
    assert told == {"x": [1.234568, None, None], "y": [None, "text", 3]}


def test_a_counter_at_a_pulley_counts_by_the_gain_of_each_rig(tmp_path):
    """By hand: rope over A1 moves with the load, so a metre there is 3 m of rope at the haul, then 5 m."""
    plan = SessionPlan(rigs=(RigPlan("3:1", (3.0, 3.0)), RigPlan("5:1", (2.5, 2.5))), at_A1=True)
    page = SessionReview(recorded(tmp_path / "s", plan))
    strokes = page.reviewed().review["strokes"]
    hauled = [s["haul_travel_m"] for s in strokes]
    assert hauled == pytest.approx([3.0, 3.0, 2.5, 2.5], abs=0.1)
    for one in strokes:
        drawn = page.travel_at([one["start_s"], one["end_s"]])
        assert drawn[1] - drawn[0] == pytest.approx(one["haul_travel_m"], abs=0.05)
    # in one line: nothing jumps at the change, and the report's plot draws the same
    whole = whole_session(page.path)
    rope_s, rope = rope_at_haul(whole.block, whole.result)
    assert page.travel_at(rope_s) == pytest.approx(rope, abs=1e-6)
    assert float(np.max(np.abs(np.diff(rope)))) < 0.1
