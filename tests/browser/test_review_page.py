"""The review page in a real browser, over a sample session and over one that was just watched live."""

import re
from urllib.parse import urlsplit

import numpy as np
import pytest
from support.growing_session import Growing
from support.places import LAUNCH
from support.processes import Watched
from support.screens import SCREENS
from support.waiting import until

from analysis.review.review import review_session
from analysis.simulation.demo_haul import demo_text
from dashboard.text.units import METRIC

HOSTILE = '<img src=x onerror="window.broken=1">'


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    rig = tmp_path_factory.mktemp("rigs") / "better.toml"
    rig.write_text(
        demo_text("rig.toml").replace("pulley_efficiency = 0.90", "pulley_efficiency = 0.96"),
        "utf-8",
    )
    with Watched(LAUNCH, "--rig", rig) as serving:
        yield serving


def opened(browser, url):
    browser.open("about:blank")  # a page of the test before asks no more
    browser.open(url + "review")
    until(
        lambda: browser.js("return !!(window.haulTest && haulTest.stats.loads)"),
        15,
        "the review",
    )


def view(browser):
    return browser.js("return document.getElementById('time-plot').layout.xaxis.range.map(Number)")


@pytest.mark.parametrize(
    ("width", "height", "scheme"),
    [*SCREENS, pytest.param(1920, 1080, "dark", marks=pytest.mark.many)],
)
def test_it_fits_every_screen_and_can_be_touched(browser, page, shots, width, height, scheme):
    browser.size(width, height, scheme)
    opened(browser, page.url)
    assert browser.js("return document.documentElement.scrollWidth") <= width
    small = browser.js(
        "return [...document.querySelectorAll('button, input, select, a')].filter(n => n.offsetParent)"
        ".map(n => [n.textContent || n.id, n.getBoundingClientRect().width, n.getBoundingClientRect().height])"
        ".filter(n => n[1] < 44 || n[2] < 44)"
    )
    assert small == []
    measured = review_session(LAUNCH)["measured"]
    assert METRIC.quantity("force", measured["haul_force_N"]) in browser.text("sentences")
    assert (
        browser.js("return document.querySelectorAll('#time-plot .scatterlayer .trace').length")
        >= 3
    )
    browser.shot(shots / f"review-{width}-{scheme}.png")
    assert browser.console() == []
    hosts = {urlsplit(url).netloc for url in browser.requested() if url.startswith("http")}
    assert hosts == {urlsplit(page.url).netloc}


def test_zooming_brings_every_reading_and_the_pointer_reads_it(browser, page):
    browser.size(1280, 900)
    opened(browser, page.url)
    assert "lowest and highest" in browser.text("time-note")
    browser.js(
        "document.getElementById('go-to').value = '18.7';"
        "document.getElementById('go').requestSubmit()"
    )
    until(lambda: browser.text("time-note").startswith("every reading"), 5, "full resolution")
    begin, end = view(browser)
    assert begin < 18.7 < end and end - begin <= 4.01
    until(
        lambda: re.search(r"18\.7\d\d s|18\.69\d s", browser.text("time-read")), 3, "numbers there"
    )
    assert re.search(
        r"haul_force [0-9.]+ N", browser.text("time-read")
    ) and "stroke 3" in browser.text("time-read")
    # keys: along the readings, out, and the whole session
    before = browser.text("time-read")
    press = "document.getElementById('time-plot').dispatchEvent(new KeyboardEvent('keydown', {key: arguments[0]}))"
    browser.js(press, "ArrowRight")
    until(lambda: browser.text("time-read") != before, 3, "the next reading")
    browser.js(press, "0")
    until(lambda: "lowest and highest" in browser.text("time-note"), 5, "the whole session")
    # a stroke of the table is shown on both plots
    browser.js("document.querySelector('#strokes .jump').click()")
    first = review_session(LAUNCH)["strokes"][0]
    until(lambda: view(browser)[1] < first["end_s"] + 1, 5, "the first stroke")
    until(lambda: browser.text("loop-said").startswith("Work in"), 5, "its loop")
    assert browser.console() == []


def test_dragging_over_the_plot_zooms_into_it(browser, page):
    from selenium.webdriver import ActionChains

    browser.size(1280, 900)
    opened(browser, page.url)
    plot = browser.driver.find_element("id", "time-plot")
    browser.js("arguments[0].scrollIntoView({block: 'center'})", plot)
    ActionChains(browser.driver).move_to_element_with_offset(
        plot, -100, -150
    ).click_and_hold().move_by_offset(180, 5).release().perform()
    until(lambda: view(browser)[1] - view(browser)[0] < 8, 5, "the dragged window")
    until(lambda: browser.text("time-note").startswith("every reading"), 5, "its detail")


def test_what_if_is_marked_changes_the_numbers_and_goes_away(browser, page, shots):
    browser.size(1280, 900, "light")
    opened(browser, page.url)
    record = browser.text("results")
    assert "WHAT IF" not in browser.js("return document.getElementById('page').innerText")
    browser.js(
        "const e = document.getElementById('e'); e.value = 0.75; e.dispatchEvent(new Event('input'))"
    )
    until(lambda: "0.75" in browser.text("what-if"), 5, "what if")
    assert "WHAT IF" in browser.text("what-if") and browser.js("return document.title").startswith(
        "WHAT IF"
    )
    assert browser.text("results") != record and "WHAT IF" in browser.text("compare")
    browser.shot(shots / "review-what-if.png")
    browser.js("[...document.querySelectorAll('[data-rig]')].at(-1).click()")
    until(lambda: "better.toml" in browser.text("what-if"), 5, "the other rig")
    browser.js("document.getElementById('what-if-off').click()")
    until(
        lambda: browser.js("return document.getElementById('what-if').hidden"),
        5,
        "the record again",
    )
    assert browser.text("results") == record
    browser.js("document.querySelector('[data-units=us]').click()")
    until(lambda: "lbf" in browser.text("results"), 5, "US units")
    until(
        lambda: (
            "force, lbf" in browser.js("return document.getElementById('time-plot').textContent")
        ),
        5,
        "axes",
    )
    assert browser.console() == []


def shown(text: str) -> tuple[float, float]:
    """A number and what its last digit is worth."""
    digits = re.search(r"[0-9]+\.?[0-9]*", text)[0]
    return float(digits), 10.0 ** -len(digits.partition(".")[2])


def test_the_live_page_at_the_end_shows_the_reviews_figures_and_each_leads_to_the_other(
    browser, page
):
    browser.size(1280, 900)
    browser.open(page.url)
    until(lambda: "ended" in browser.text("left"), 8, "the end")
    until(lambda: "efficiency" in browser.text("ma-note"), 8, "the live estimate")
    value, place = shown(browser.text("ma"))
    efficiency = re.search(r"efficiency ([0-9]+)", browser.text("ma-note"))[1]
    browser.js("document.getElementById('to-review').click()")
    until(
        lambda: browser.js("return !!(window.haulTest && haulTest.stats.loads)"),
        15,
        "the review",
    )
    lines = [line.split("\t") for line in browser.text("results").splitlines()]
    rows = {line[0]: line[1] for line in lines if len(line) > 2}
    assert abs(shown(rows["mechanical advantage"])[0] - value) <= 0.501 * place
    assert abs(100 * shown(rows["efficiency"])[0] - float(efficiency)) <= 0.501
    browser.js("document.querySelector('a.way').click()")
    until(lambda: browser.text("ma"), 8, "the live page again")
    assert browser.js("return location.pathname") == "/"


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    path = tmp_path_factory.mktemp("hostile") / "s"
    rig = re.sub('title = ".*"', lambda _: f"title = '{HOSTILE}'", demo_text("rig.toml"), count=1)
    session = Growing(path, rig=rig)
    session.rows("haul_force", np.arange(0, 5, 0.1), np.full(50, 300.0))
    session.event(2.0, "mark", "", None, HOSTILE)
    session.seal()
    with Watched(path) as serving:
        yield serving


@pytest.mark.many
def test_hostile_text_stays_text(browser, hostile):
    opened(browser, hostile.url)
    assert browser.text("title") == HOSTILE and HOSTILE in browser.text("events")
    assert browser.js("return document.querySelectorAll('img').length") == 0
    assert browser.js("return window.broken") is None
    assert browser.console() == []


@pytest.mark.many
def test_a_server_that_is_gone_is_said(browser, hostile):
    opened(browser, hostile.url)
    hostile.process.kill()
    hostile.process.wait(600)
    browser.js("document.querySelector('[data-move=in]').click()")
    until(lambda: "No answer" in browser.text("fault"), 5, "the fault")
