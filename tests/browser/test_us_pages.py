"""The pages under `--units us`: whatever a person can read on them, no metric quantity is among it."""

import re
import subprocess
import time

import pytest
from support.places import LAUNCH
from support.processes import Demo, Watched, ended, start_haul
from support.waiting import until

pytestmark = pytest.mark.many  # further screens, units and paper of pages that other tests open

METRIC_SEEN = re.compile(
    r"\d[\s\u00a0]*(?:kN|N|mm|cm|m|kg|kJ|J|kW|W)(?:/(?:m|s|min))?(?![\w\u00b0])"
)
AXES = "return [...document.querySelectorAll('.g-ytitle, .g-y2title, .ytitle, .y2title')].map(n => n.textContent)"


def metric(browser) -> list[str]:
    """Lines of the page, its drawings and plots included, with a metric quantity."""
    text = browser.js("return document.body.innerText + '\\n' + "
                      "[...document.querySelectorAll('svg text, svg title')].map(n => n.textContent).join('\\n')")  # fmt: skip
    assert "lbf" in text
    return [line for line in text.splitlines() if METRIC_SEEN.search(line)]


def number(text: str) -> float:
    return float(re.search(r"[0-9.]+", text)[0])


def test_the_live_page_of_a_running_haul(browser, tmp_path):
    with Demo(tmp_path / "s", 60) as demo, Watched(demo.out, "--units", "us") as page:
        browser.size(1280, 900)
        browser.open(page.url)
        until(lambda: "HAULING" in browser.text("state"), 20, "the pull")
        seen, end = [], time.monotonic() + 12
        while time.monotonic() < end:
            seen += metric(browser)
            time.sleep(0.5)  # the whole page is read twice a second over a pull and its reset
        assert seen == []
        # the number is the one of the metric page: both were told the same newtons
        peak_N, shown = browser.js(
            "return [haulTest.page.now.peak_N, haulTest.forceText(haulTest.page.now.peak_N)]"
        )  # of one moment
        assert number(shown) == pytest.approx(peak_N / 4.4482216, rel=0.06)
        assert "a foot and a half to two-blocked" in browser.text("legend")
        assert "metre" not in browser.js("return document.body.innerText")
        assert re.fullmatch(r"[0-9.]+\s*lbf", browser.text("peak"))
        assert re.fullmatch(r"[0-9.]+\s*ft", browser.text("travel"))
        titles = browser.js(AXES)
        assert {"lbf", "ft"} <= set(titles) and not {"N", "kN", "m"} & set(titles)
        # the highest bin on the plot is the peak in the same unit, as soon as a new peak is drawn
        both = "return [Math.max(...document.querySelector('#live-graph .js-plotly-plot').data[0].y), haulTest.graph.view.high]"

        def the_same():
            high, high_N = browser.js(both)
            return high == pytest.approx(high_N / 4.4482216, rel=1e-6)

        until(the_same, 5, "the highest bin of the plot in lbf")
        assert browser.console() == []


def test_the_live_page_over_a_finished_session(browser, shots):
    with Watched(LAUNCH, "--units", "us") as page:
        browser.size(390, 844)
        browser.open(page.url)
        until(lambda: "lbf" in browser.text("peak"), 10, "the peak")
        until(lambda: browser.js("return !!document.querySelector('#rig svg')"), 10, "the rig")
        browser.steady("return [document.body.innerText, document.documentElement.scrollWidth]")
        assert metric(browser) == []
        assert browser.js("return document.documentElement.scrollWidth") <= 390
        browser.shot(shots / "live-us-390.png")
        assert browser.console() == []


def test_the_review_page_begins_in_the_servers_units_and_can_be_turned(browser):
    with Watched(LAUNCH, "--units", "us") as page:
        browser.size(1280, 900)
        browser.open(page.url + "review")
        loaded = "return window.haulTest ? haulTest.stats.loads : 0"
        until(lambda: browser.js(loaded), 15, "the review")
        assert metric(browser) == []
        assert "ft of rope fed back" in browser.text("events")
        browser.js("document.querySelector('[data-units=metric]').click()")
        until(lambda: " N" in browser.text("results"), 10, "metric units")
        assert "m of rope fed back" in browser.text("events") and "lbf" not in browser.text(
            "events"
        )
        assert browser.console() == []


def test_the_plan_page(browser, tmp_path):
    rig = tmp_path / "rig.toml"  # with warnings: too little rope, and a team that is too weak
    text = (LAUNCH / "rig.toml").read_text("utf-8")
    rig.write_text(
        re.sub(
            r"pull_N = \S+", "pull_N = 60.0", re.sub(r"length_m = \S+", "length_m = 20.0", text)
        ),
        "utf-8",
    )
    process = start_haul("plan", rig, "--units", "us", stderr=subprocess.DEVNULL)
    try:
        browser.size(1280, 900)
        browser.open(process.stdout.readline().strip())
        until(lambda: "in the bag" in browser.js("return document.body.innerText"), 10, "the plan")
        assert metric(browser) == []
        assert "the team can keep up 13.5 lbf" in browser.js("return document.body.innerText")
        assert browser.console() == []
    finally:
        process.terminate()
        ended(process)
