"""The desk's page of conversions in a browser: two rigs chosen, the list seen, and printed."""

from __future__ import annotations

import base64
import json
from pathlib import Path

import pytest
from support.paper_pages import pages
from support.places import SHELF
from support.processes import PageProcess
from support.waiting import until

AXE = Path(__file__).parent / "axe-core-4.14.1.min.js"
TEXTS = {path.stem: path.read_text("utf-8") for path in SHELF}
MOVES = "return document.querySelectorAll('.moves .move').length"


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    folder = tmp_path_factory.mktemp("desk")
    (folder / "twelve.toml").write_text(TEXTS["3-on-4"], "utf-8")
    (folder / "eighteen.toml").write_text(TEXTS["3-on-3-on-2"], "utf-8")
    with PageProcess("desk", folder) as running:
        yield running


@pytest.fixture
def page(desk, browser):
    browser.size(1280, 900, "light")
    browser.open(desk.url + "convert/")
    until(lambda: browser.js("return !!document.getElementById('show')"), 20, "the choice")
    return browser


def list_of(page, stands, wanted):
    page.js(
        "document.getElementById('stands').value = arguments[0];"
        "document.getElementById('wanted').value = arguments[1];"
        "document.getElementById('show').click()", stands, wanted,
    )  # fmt: skip
    until(lambda: page.js("return location.search.includes('b=')"), 20, "the list's address")
    until(lambda: page.js("return document.readyState") == "complete", 20, "the list")


def test_two_rigs_are_chosen_and_the_list_is_seen_and_printed(page, shots):
    list_of(page, "twelve", "eighteen")
    assert page.js(MOVES) == 4
    assert page.js("return document.getElementById('wanted').value") == "eighteen"
    for width, scheme in ((390, "light"), (390, "dark"), (1280, "light"), (1280, "dark")):
        page.size(width, 844 if width < 600 else 900, scheme)
        page.steady("const n = document.documentElement; return [n.scrollWidth, n.scrollHeight]")
        assert page.js("return document.documentElement.scrollWidth") <= width
        small = page.js(
            "return [...document.querySelectorAll('main button, main select, main a')].filter(n => n.offsetParent)"
            ".map(n => [n.textContent || n.id, n.getBoundingClientRect().height]).filter(n => n[1] < 44)"
        )
        assert small == []
        page.shot(shots / f"convert-{width}-{scheme}.png")
        page.js(AXE.read_text("utf-8") + "; window.axe = axe;")
        page.driver.set_script_timeout(300)
        found = page.driver.execute_async_script(
            "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']})"
            ".then(r => done(r.violations.map(v => [v.impact, v.id, v.nodes.slice(0, 3).map(n => n.html.slice(0, 150))])))"
        )
        serious = [v for v in found if v[0] in ("serious", "critical")]
        assert serious == [], json.dumps(found, indent=1)
    # on paper: one page, black on white whatever the screen shows
    printed_page = page._cdp("Page.printToPDF", preferCSSPageSize=True, printBackground=True)
    assert pages(base64.b64decode(printed_page["data"])) == 1
    page.media("print")
    ground = "return [getComputedStyle(document.body).backgroundColor, getComputedStyle(document.body).color]"
    assert page.js(ground) == ["rgb(255, 255, 255)", "rgb(20, 24, 28)"]
    assert not page.js("return !!document.querySelector('#strip').offsetParent")
    page.shot(shots / "convert-print.png")
    page.media("")
    assert page.console() == []


def test_no_way_is_said_with_its_reason(page):
    list_of(page, "twelve", "shelf:complex-5")
    assert "load" in page.js("return document.querySelector('.refused').innerText")
    assert page.js(MOVES) == 0
