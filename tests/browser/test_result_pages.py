"""The result of a haul and the list of all, in a real browser: phone and screen, light and dark."""

from __future__ import annotations

import json
import shutil
from itertools import pairwise
from pathlib import Path

import pytest
from support.places import LAUNCH
from support.processes import PageProcess
from support.sealed_sessions import made as sealed_session
from support.waiting import until

AXE = Path(__file__).parent / "axe-core-4.14.1.min.js"
LOOKS = [(390, 844, "light"), (1280, 800, "light"), (1280, 800, "dark"), (390, 844, "dark")]
WITHIN_S = 30
HOSTILE = '<img src=x onerror="window.broken=1">'
PLAIN = "plain haul"


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """The desk of a folder with two hauls."""
    folder = tmp_path_factory.mktemp("hauls")
    shutil.copytree(LAUNCH, folder / LAUNCH.name)
    sealed_session(folder / PLAIN, strokes=3)
    with PageProcess("desk", folder) as serving:
        serving.folder = folder
        yield serving


def come_to(browser, desk, path: str, ready: str) -> None:
    """A page of the desk, open for its operator."""
    browser.open(desk.link)
    until(
        lambda: browser.js("return location.hash === '' && !!document.getElementById('page')"),
        WITHIN_S,
        "in",
    )
    browser.open(f"{desk.url}{path}")
    until(lambda: browser.text(ready).strip(), WITHIN_S, path)


def tap_on(browser, label: str) -> None:
    """Touch the first visible button with this label."""
    assert browser.js(
        "const n = [...document.querySelectorAll('button')].find(b => (b.getAttribute('aria-label') || b.innerText)"
        " === arguments[0] && b.checkVisibility()); if (n) { n.scrollIntoView({block: 'center'}); n.click(); }"
        "return !!n",
        label,
    ), label


def assert_good(browser, where: str) -> None:
    """No sideways scrolling, controls for gloves, and nothing serious for axe-core."""
    wide = browser.js(
        "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert wide <= 0, f"{where}: {wide} px too wide"
    small = browser.js(
        "return [...document.querySelectorAll('button, input, textarea')].filter(n => n.checkVisibility())"
        ".map(n => [n.innerText || n.id, n.getBoundingClientRect().height]).filter(n => n[1] < 44)"
    )
    assert small == [], f"{where}: {small}"
    browser.js(AXE.read_text("utf-8") + "; window.axe = axe;")
    found = browser.driver.execute_async_script(
        "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']})"
        ".then(r => done(r.violations.filter(v => ['serious', 'critical'].includes(v.impact))"
        ".map(v => [v.id, v.nodes.map(n => n.target.join(' ') + ' ' + (n.any[0] ? n.any[0].message : '')).slice(0, 4)])))"
    )
    assert found == [], f"{where}: {json.dumps(found)}"


def test_the_result_says_the_verdict_first_and_what_to_look_at(browser, desk, shots):
    for width, height, scheme in LOOKS:
        browser.size(width, height, scheme)
        come_to(browser, desk, f"result/{LAUNCH.name}/", "verdict")
        browser.steady("return document.documentElement.scrollHeight")
        browser.shot(shots / f"result-{width}-{scheme}.png")
        assert_good(browser, f"result {width} {scheme}")
    body = browser.text("body")
    assert (
        body.index("The rig gave")
        < body.index("What to look at")
        < body.index("Measured and predicted")
    )
    assert browser.console() == []


def test_notes_are_kept_beside_the_record_and_never_in_it(browser, desk, shots):
    browser.size(390, 844, "light")
    session = desk.folder / PLAIN
    before = {path.name: path.read_bytes() for path in session.iterdir() if path.is_file()}
    come_to(browser, desk, f"result/{PLAIN}/".replace(" ", "%20"), "verdict")
    until(
        lambda: browser.js("return document.getElementById('site').checkVisibility()"),
        WITHIN_S,
        "the form",
    )
    for name, text in (("site", "boatyard, lower slip"), ("note", f"{HOSTILE} second line")):
        field = browser.driver.find_element("id", name)
        field.send_keys(text)
    tap_on(browser, "Keep these notes")
    until(lambda: HOSTILE in browser.text("written"), WITHIN_S, "the notes as text")
    assert "lower slip" in browser.text("written")
    browser.js("window.scrollTo(0, 99999)")
    browser.shot(shots / "notes-390.png")
    assert browser.js("return document.querySelectorAll('img').length") == 0
    assert browser.js("return window.broken") is None
    assert {path.name: path.read_bytes() for path in session.iterdir() if path.is_file()} == before
    assert browser.console() == []


def test_the_list_is_filtered_and_two_are_compared(browser, desk, shots):
    for width, height, scheme in LOOKS:
        browser.size(width, height, scheme)
        come_to(browser, desk, "sessions/", "list")
        until(lambda: "±" in browser.text("list"), 4 * WITHIN_S, "the figures")
        browser.shot(shots / f"sessions-{width}-{scheme}.png")
        assert_good(browser, f"sessions {width} {scheme}")
    tap_on(browser, f"Compare {PLAIN}")
    until(lambda: "choose one more" in browser.text("compared"), WITHIN_S, "the first")
    tap_on(browser, f"Compare {LAUNCH.name}")
    until(lambda: LAUNCH.name in browser.text("compared"), 2 * WITHIN_S, "the comparison")
    assert str(desk.folder) not in browser.text("compared")
    assert_good(browser, "compared")
    browser.shot(shots / "compared-390.png")
    browser.driver.find_element("id", "words").send_keys("no such haul")
    until(lambda: "None of 2 sessions" in browser.text("list"), WITHIN_S, "nothing is left")
    assert browser.console() == []


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    """The desk of a folder with one rig's five hauls over half a year, each a little harder."""
    folder = tmp_path_factory.mktemp("season")
    for month, e in enumerate((0.92, 0.90, 0.91, 0.86, 0.84), 1):
        sealed_session(
            folder / f"haul {month}",
            e=e,
            started_at=f"2026-0{month}-1{month}T10:00:00.000Z",
            seed=month,
        )
    with PageProcess("desk", folder) as serving:
        yield serving


@pytest.mark.many
def test_the_trend_of_a_rig_is_seen(browser, season, shots):
    for width, height, scheme in LOOKS:
        browser.size(width, height, scheme)
        come_to(browser, season, "sessions/", "list")
        until(
            lambda: browser.js("return document.querySelectorAll('.trend .point').length") == 5,
            4 * WITHIN_S,
            "points",
        )
        browser.js("document.querySelector('.trend').scrollIntoView({block: 'center'})")
        plot = browser.steady(
            "const b = document.querySelector('.trend .main-svg').getBoundingClientRect(); return [b.left, b.right, b.height]"
        )
        assert plot[0] >= 0 and plot[1] <= width and 240 <= plot[2] <= 280, (width, scheme, plot)
        browser.shot(shots / f"trend-{width}-{scheme}.png")
        assert_good(browser, f"trend {width} {scheme}")
        ink = browser.js("return getComputedStyle(document.body).color")
        texts = browser.js(
            "return [...document.querySelectorAll('.trend text')].filter(n => n.textContent.trim()).map(n => {"
            "const b = n.getBoundingClientRect();"
            "return [n.textContent, getComputedStyle(n).fill, b.left, b.right, b.top, b.bottom, n.closest('.xaxislayer-above') !== null]})"
        )
        assert {one[1] for one in texts} == {ink}, texts
        assert all(one[2] >= plot[0] - 1 and one[3] <= plot[1] + 1 for one in texts), texts
        dates = sorted([one for one in texts if one[0].startswith("2026-")], key=lambda one: one[2])
        assert len(dates) >= 2 and all(a[3] < b[2] for a, b in pairwise(dates)), dates
        assert browser.js("return document.querySelectorAll('.trend .errorbar').length") == 5
    words = browser.text("trends")
    assert "a year (95 %)" in words and "U95" in words
    assert browser.console() == []


def test_the_next_haul_is_with_the_rig_of_this_one(browser, desk):
    browser.size(1280, 800)
    come_to(browser, desk, f"result/{LAUNCH.name}/", "verdict")
    until(
        lambda: browser.text("body").count("Next haul with this rig"),
        WITHIN_S,
        "the operator's button",
    )
    tap_on(browser, "Next haul with this rig")
    until(lambda: browser.js("return location.pathname") == "/check/", WITHIN_S, "the check")
    rig = desk.folder / f"rig of {LAUNCH.name}.toml".replace("_", " ")
    assert rig.read_bytes() == (LAUNCH / "rig.toml").read_bytes()
    until(
        lambda: browser.js("return document.querySelectorAll('#files button').length"),
        WITHIN_S,
        "chosen",
    )
