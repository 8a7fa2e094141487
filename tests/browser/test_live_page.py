"""The live page in a real browser, while the demo's devices speak and its recorder records."""

import json
import re
import subprocess
import time
from urllib.parse import urlsplit

import pytest
from support.processes import Demo, Watched
from support.sealed_sessions import made
from support.waiting import patience, until

HOSTILE = '<img src=x onerror="window.broken=1">'


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    with Demo(tmp_path_factory.mktemp("demo") / "slipway", 1200) as running:
        yield running


@pytest.fixture(scope="module")
def page(demo):
    with Watched(demo.out) as serving:
        yield serving


LIVELY = 3  # updates a second, on a machine that does other things too


def measured(browser) -> tuple[float, float] | None:
    """The advantage on the page and its uncertainty."""
    found = re.match(r"([0-9.]+) ± ([0-9.]+)", browser.text("ma"))
    return (float(found[1]), float(found[2])) if found else None


def test_the_pull_is_seen_as_it_happens(browser, page, shots):
    browser.size(1280, 900)
    start = time.monotonic()
    browser.open(page.url)
    until(lambda: "HAULING" in browser.text("state"), 30, "the state in words")
    seen = set()

    def six_tensions() -> bool:
        if re.fullmatch(r"[0-9.]+\s*k?N", shown := browser.text("tension")):
            seen.add(shown)
        return len(seen) >= 6

    until(
        six_tensions, 40, "six tensions one after the other"
    )  # the pull's resets take some of the time
    # that it goes on and on; how fast is for tests/benchmarks/bench_watch.py, with nothing beside it
    browser.updated(3 * LIVELY, within_s=3.0)
    # an answer holds what is new since the last one, which on a busy machine is longer ago
    assert browser.js("return haulTest.stats.largest") < 1000 * patience(start)
    assert browser.js("return document.documentElement.scrollWidth") <= 1280
    until(lambda: "HAULING" in browser.text("state"), 15, "hauling for the picture")
    browser.updated()
    browser.shot(shots / "live-1280.png")
    assert browser.console() == []
    hosts = {urlsplit(url).netloc for url in browser.requested() if url.startswith("http")}
    assert hosts == {urlsplit(page.url).netloc}


def test_on_a_phone_in_daylight_nothing_is_cut_and_everything_can_be_touched(browser, page, shots):
    browser.size(390, 844, "light")
    browser.open(page.url)
    until(lambda: browser.text("tension").strip(), 8, "a tension or a word")
    browser.updated()
    assert browser.js("return document.documentElement.scrollWidth") <= 390
    small = browser.js(
        "return [...document.querySelectorAll('button, input, a')].filter(n => n.offsetParent)"
        ".map(n => [n.textContent || n.id, n.getBoundingClientRect().width, n.getBoundingClientRect().height])"
        ".filter(n => n[1] < 44 || n[2] < 44)"
    )
    assert small == []
    browser.shot(shots / "live-390.png")
    browser.updated(2 * LIVELY, within_s=2.0)
    assert browser.console() == []


def test_a_mark_is_taken_by_the_recorder_and_hostile_text_stays_text(browser, page):
    browser.size(1280, 900)
    browser.open(page.link)
    until(lambda: browser.js("return !!document.getElementById('mark')"), 8, "the button")
    until(
        lambda: browser.js("return document.documentElement.dataset.role") == "operator",
        8,
        "let in",
    )
    browser.js(
        "document.getElementById('note').value = arguments[0];"
        "document.getElementById('mark').click()", HOSTILE,
    )  # fmt: skip
    until(lambda: browser.text("hands-said") == "mark: taken", 3, "taken")
    until(lambda: HOSTILE in browser.text("events"), 3, "the mark among what happened")
    assert browser.js("return document.querySelectorAll('img').length") == 0
    assert browser.js("return window.broken") is None
    assert browser.console() == []


ROLE = "return document.documentElement.dataset.role"


def test_without_the_code_one_looks_on_and_the_link_gives_the_controls(browser, demo):
    browser.size(1280, 900)
    with Watched(demo.out) as serving, Watched(demo.out.parent) as listing:
        browser.open(serving.url)
        until(lambda: browser.js(ROLE) == "viewer", 8, "a viewer")
        assert not browser.js("return document.getElementById('hands').offsetParent")
        assert "open the link that the program printed" in browser.text("shared")
        code = serving.link.partition("#")[2]
        browser.js("location.hash = arguments[0]", code)  # the link, in a tab that shows the page
        until(lambda: browser.js(ROLE) == "operator", 8, "the operator")
        until(lambda: browser.js("return !!document.getElementById('mark')"), 8, "the controls")
        assert browser.js("return location.href") == serving.url
        assert browser.js("return document.cookie") == ""
        browser.open(listing.link)
        until(lambda: browser.js("return location.hash") == "", 8, "the code is gone")
        until(lambda: browser.js(WHO) == "operator", 8, "let in")
        browser.open(f"{listing.url}s/{demo.out.name}/")
        until(lambda: browser.js(ROLE) == "operator", 8, "the operator of the list")
        assert browser.console() == []


# the role, as the server says it to this browser
WHO = """
const asked = new XMLHttpRequest();
asked.open("GET", "/who", false);
asked.send();
return JSON.parse(asked.responseText).role;
"""


def test_a_page_without_a_server_shows_no_link_and_no_number(browser, demo):
    with Watched(demo.out) as serving:
        browser.open(serving.url)
        until(lambda: re.search(r"[0-9]", browser.text("travel")), 8, "a number")
        until(lambda: browser.js("return haulTest.stats.updates") > 10, 8, "a page that runs")
        serving.process.kill()
        killed = time.monotonic()
        until(lambda: "NO LINK" in browser.text("state"), 1.6, "NO LINK")
        assert time.monotonic() - killed < 1.6 * patience(killed)
        for name in ("tension", "left", "travel"):
            assert "NO LINK" in browser.text(name) and not re.search(r"[0-9]", browser.text(name))
        assert not re.search(r"[0-9] ?(N|kN)\b", browser.text("channels"))


@pytest.mark.many
def test_after_two_strokes_the_advantage_on_the_page_is_the_true_one(browser, tmp_path):
    """In a demo of its own, whose strokes are as long as it is: the second of 60 s begins at 18 s."""
    browser.size(1280, 900)
    with Demo(tmp_path / "slipway", 60) as short, Watched(short.out) as serving:
        browser.open(serving.url)
        truth = json.loads((short.out / "datapackage.json").read_text("utf-8"))["simulation"][
            "true"
        ]
        first = until(lambda: measured(browser), 40, "an estimate")
        settled = r"\b([2-9]|[1-9][0-9]+) strokes"
        until(lambda: re.search(settled, browser.text("travel-note")), 50, "strokes to settle it")
        value, expanded = measured(browser)
        assert abs(value - truth["actual_ma"]) <= expanded + 0.05, (first, value, expanded)
        assert expanded <= 0.1 * value


def test_a_killed_recorder_is_seen_on_the_page(browser, demo, page):
    browser.open(page.url)
    until(lambda: browser.text("state"), 8, "a state")
    subprocess.run(["kill", "-9", str(demo.recorder)], check=True)
    until(lambda: "RECORDING CUT SHORT" in browser.text("state"), 2.5, "the page says so")
    assert not re.search(r"[0-9]", browser.text("tension"))


def test_load_moved_without_a_counter_at_the_load_is_the_sum_over_strokes(browser, tmp_path):
    # three strokes of 3 m of rope on a 3:1, all of it fed back after each
    with Watched(made(tmp_path / "s", strokes=3)) as serving:
        browser.open(serving.url)
        until(lambda: "3 strokes" in browser.text("travel-note"), 8, "the strokes")
        assert re.fullmatch(r"3\.0\s*m", browser.text("travel"))
        assert "3.0 m to go of 6.0 m" in browser.text("travel-note")
        assert "by the rig's ratio: no counter at the load" in browser.text("travel-note")
        assert browser.console() == []
