"""Every page at desktop, tablet and phone size: each part is wide enough to be read, none runs over."""

import subprocess

import pytest
from support.places import LAUNCH
from support.processes import Watched, ended, start_haul
from support.waiting import until

pytestmark = pytest.mark.many  # further screens, units and paper of pages that other tests open

LEAST_PX = 150  # of a tile: some fifteen letters
LAYOUT = (
    "return [[...document.querySelectorAll('.tile')].filter(n => n.offsetParent !== null)"
    ".map(n => [n.querySelector('h2') ? n.querySelector('h2').textContent : n.id, n.getBoundingClientRect().width]),"
    "document.documentElement.scrollWidth, window.innerWidth]"
)
SIZES = [(1280, 900), pytest.param((1024, 768), marks=pytest.mark.many), (390, 844)]


def check(browser, text: str) -> None:
    until(lambda: text in browser.js("return document.body.innerText"), 15, text)
    tiles, wide, window = browser.steady(LAYOUT)
    assert len(tiles) > 1 and all(width >= LEAST_PX for _, width in tiles), tiles
    assert wide <= window


@pytest.mark.parametrize("size", SIZES)
def test_the_live_and_the_review_page(browser, size):
    with Watched(LAUNCH) as page:
        browser.size(*size)
        browser.open(page.url)
        check(browser, "Every strand")
        browser.open(page.url + "review")
        check(browser, "out of an ideal 9.00")


@pytest.mark.parametrize("size", SIZES)
def test_the_list_of_a_folder(browser, size):
    with Watched(LAUNCH.parent) as page:
        browser.size(*size)
        browser.open(page.url)
        until(
            lambda: "slipway-launch-1" in browser.js("return document.body.innerText"),
            10,
            "the list",
        )
        # a line of text each: nothing is broken in the middle of a word
        lines = browser.js("const r = document.createRange(); return [...document.querySelectorAll("
                           "'td:nth-child(4), td:last-child a')].map(n => { r.selectNodeContents(n);"
                           " return r.getClientRects().length; })")  # fmt: skip
        assert lines == [1] * 6
        wide, window = browser.js(
            "return [document.documentElement.scrollWidth, window.innerWidth]"
        )
        assert wide <= window


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("rigs", [pytest.param(1, marks=pytest.mark.many), 2])
def test_the_plan_page(browser, size, rigs):
    process = start_haul("plan", *[LAUNCH / "rig.toml"] * rigs, stderr=subprocess.DEVNULL)
    try:
        browser.size(*size)
        browser.open(process.stdout.readline().strip())
        check(browser, "in the bag")
    finally:
        process.terminate()
        ended(process)
