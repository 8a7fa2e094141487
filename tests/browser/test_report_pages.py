"""The report as paper: Chromium prints it; at most four pages on A4 and on Letter."""

from __future__ import annotations

import copy
import dataclasses

import pytest
from support.chapter_sessions import RigPlan, SessionPlan, recorded
from support.paper_pages import PAPER_PT, pages, printed, size
from support.places import SAMPLES
from support.sealed_sessions import made

from analysis.review.review import Reviewed
from analysis.review.reviewed_session import whole_session
from dashboard.export.event_room import LEAST_WITH_CHAPTERS
from dashboard.export.report_html import report
from dashboard.export.report_tables import MOST_EVENTS
from dashboard.text.units import SYSTEMS

pytestmark = pytest.mark.many  # further screens, units and paper of pages that other tests open


@pytest.mark.parametrize("paper", PAPER_PT)
def test_a_sample_prints_on_at_most_four_pages(tmp_path, paper):
    for session in SAMPLES[:1]:
        pdf = printed(report(session), tmp_path, paper)
        assert 1 <= pages(pdf) <= 4
        assert all(abs(a - b) <= 1 for a, b in zip(size(pdf), PAPER_PT[paper], strict=True))


def test_so_does_a_long_session_of_long_words(tmp_path):
    words = "a long word about the slipway " * 4
    stations = ['{ tie = "anchor" }', '{ pulley = "L0", on = "load" }']
    for k in range(1, 9):
        stations += [f'{{ pulley = "A{k}", on = "anchor" }}', f'{{ pulley = "L{k}", on = "load" }}']
    stations.append('{ haul = "team", toward_deg = 180 }')
    session = made(
        tmp_path / "s",
        stations=stations,
        ratings="",
        strokes=40,
        stroke_s=5.0,
        rest_s=4.0,
        hz=10.0,
        title=words,
        note=words * 3,
        marks=200,
        mark=words,
        load_N=3000.0,
    )
    html = report(session)
    assert "more strokes" in html and "more events" in html
    assert 2 <= pages(printed(html, tmp_path, "Letter")) <= 4


# width between the margins of report.css, CSS px (96 an inch): 210 mm and 8.5 in, less 2 x 12 mm
PRINTED_PX = {"A4": 186 / 25.4 * 96, "Letter": (8.5 - 24 / 25.4) * 96}
STICK_OUT = """const own = document.body, style = getComputedStyle(own);
const right = own.getBoundingClientRect().right - parseFloat(style.paddingRight);
return [...document.querySelectorAll("table")]
  .filter(table => table.getBoundingClientRect().right > right + 0.5).map(table => table.className);"""
LONG = {
    "26.0 s": "12754.9 s",
    "50.5 s": "13986.0 s",
    "Launch, 5:1": "Launch on its cradle, 5:1 with rollers",
}


@pytest.mark.parametrize("units", SYSTEMS)
@pytest.mark.parametrize("paper", PAPER_PT)
def test_no_table_of_a_session_with_three_rigs_sticks_out(tmp_path, browser, paper, units):
    rigs = (
        RigPlan("3:1", (3.0, 3.0), conversion_m=2.0),
        RigPlan("5:1", ()),
        RigPlan("2:1", (2.0, 1.5)),
    )
    html = report(recorded(tmp_path / "s", SessionPlan(rigs)), units=SYSTEMS[units])
    for short, long in LONG.items():
        html = html.replace(f">{short}<", f">{long}<")
    (tmp_path / "report.html").write_text(html, "utf-8")
    assert "12754.9 s" in html
    try:
        for medium, width in (("print", int(PRINTED_PX[paper])), ("screen", 1280)):
            browser.size(width, 900)
            browser.media(medium)
            browser.open((tmp_path / "report.html").as_uri())
            assert browser.js(STICK_OUT) == []
    finally:
        browser.media("")


WORDS = "wide words WWW " * 20  # longer than any text that a file may hold


def filled(
    monkeypatch, *, chapters=1, warnings=60, strokes=20, peaks=4, events=10, channels=20, text=WORDS
) -> str:
    """The report of a sample whose lists are so many times as long, each text as long as files allow."""
    whole = whole_session(SAMPLES[0])
    review = copy.deepcopy(whole.review)
    review["title"] = WORDS
    review["warnings"] = [f"{k} {WORDS}" for k in range(warnings)]
    review["strokes"] = review["strokes"] * strokes
    review["peaks"] = [
        {**row, "name": f"{WORDS[:50]}{k}"} for k in range(peaks) for row in review["peaks"]
    ]
    review["measured"]["why_not"] = WORDS * 3
    (chapter,) = review["chapters"]
    review["chapters"] = [
        {**chapter, "title": WORDS, "peaks": review["peaks"], "strokes": []}
        for _ in range(chapters)
    ]
    review["chapters"][0]["strokes"] = list(range(len(review["strokes"])))
    for event in review["events"]:
        event["text"], event["channel"] = text, text
    review["events"] = review["events"] * events
    channel = dataclasses.replace(whole.info.sensors.channels[0], name=WORDS[:60], at=WORDS[:200])
    sensors = dataclasses.replace(whole.info.sensors, channels=(channel,) * channels)
    rig = dataclasses.replace(whole.rig, note=WORDS * 10)
    main = dataclasses.replace(whole.main, rig=rig)
    monkeypatch.setattr(Reviewed, "shown", lambda self, units: review)
    full = dataclasses.replace(
        whole,
        reviewed=dataclasses.replace(whole.reviewed, main=main, chapters=(main,) * chapters),
        info=dataclasses.replace(whole.info, sensors=sensors),
    )
    monkeypatch.setattr("dashboard.export.report_html.whole_session", lambda *args: full)
    return report(SAMPLES[0])


@pytest.mark.parametrize("paper", PAPER_PT)
@pytest.mark.parametrize("chapters", [1, 2, 6])
def test_even_where_everything_is_as_much_as_it_can_be(tmp_path, paper, chapters, monkeypatch):
    html = filled(monkeypatch, chapters=chapters)
    assert "OVER THE LIMIT" in html and "more events" in html
    assert pages(printed(html, tmp_path, paper)) <= 4


@pytest.mark.parametrize("paper", PAPER_PT)
@pytest.mark.parametrize(
    "less", [{"strokes": 1}, {"peaks": 1, "channels": 2}, {"warnings": 1},
     {"chapters": 6, "strokes": 1}, {"warnings": 0, "strokes": 1, "peaks": 1, "channels": 2}]
)  # fmt: skip
def test_room_that_other_tables_leave_is_taken_by_events_and_no_more(
    tmp_path, paper, less, monkeypatch
):
    html = filled(monkeypatch, events=60, text="short", **less)
    least = LEAST_WITH_CHAPTERS if less.get("chapters") else MOST_EVENTS
    assert html.count(">short<") > 2 * least and "more events" in html
    assert pages(printed(html, tmp_path, paper)) <= 4


def test_every_event_is_shown_where_there_is_room(tmp_path):
    session = made(tmp_path / "s", marks=24, mark="stone under the keel")
    html = report(session)
    assert html.count("stone under the keel") == 24 and "more events" not in html
    assert pages(printed(html, tmp_path, "Letter")) <= 4
