"""A conversion on the live page of a real recording: moves are touched, taken back, and the haul goes on."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from support.processes import RecordedHaul
from support.waiting import until

from logger.session.reader import read_all

pytestmark = pytest.mark.many  # further ways through pages that other tests open

AXE = Path(__file__).parent / "axe-core-4.14.1.min.js"
OPERATOR = "return document.documentElement.dataset.role === 'operator'"
SHOWN = "const n = document.getElementById('conversion-tile'); return !!n && !n.hidden"
DONE = "return document.querySelector('#conversion .done')?.innerText ?? ''"
NEXT = "return document.querySelector('#conversion .next')?.innerText ?? ''"
WIDE = "return document.documentElement.scrollWidth"
SMALL = (
    "return [...document.querySelectorAll('#conversion button, #conversion select, #conversion summary')]"
    ".filter(n => n.offsetParent).map(n => [n.id || n.innerText, n.getBoundingClientRect().height])"
    ".filter(n => n[1] < 44)"
)


@pytest.fixture(scope="module")
def haul(tmp_path_factory):
    with RecordedHaul(tmp_path_factory.mktemp("converted")) as running:
        yield running


def opened_by_operator(browser, haul):
    """Open the page anew: the plan lies in the server, so it shows the same."""
    browser.open(haul.link)
    until(lambda: browser.js(OPERATOR), 15, "let in")
    until(lambda: browser.js(SHOWN), 10, "the panel")
    browser.js("document.getElementById('conversion-tile').scrollIntoView()")
    browser.steady("const n = document.documentElement; return [n.scrollWidth, n.scrollHeight]")


@pytest.fixture
def page(haul, browser):
    browser.size(1280, 900)
    opened_by_operator(browser, haul)
    return browser


def hauled(haul, browser, force_N, rope_m):
    """Haul so much rope with this force, and let the rope rest."""
    goal_m = haul.device.rope_m + rope_m
    haul.device.force_N, haul.device.speed_m_s = force_N, 0.8
    until(lambda: haul.device.rope_m >= goal_m, 30, "a stroke")
    haul.device.force_N, haul.device.speed_m_s = 0.0, 0.0
    browser.updated()


def moves(haul):
    """Steps of the moves that stand in the session, those taken back left out."""
    events = read_all(haul.out).events
    undone = {e.text for e in events if e.kind == "undo"}
    return [e.value for e in events if e.kind == "move" and e.id not in undone]


def choose(page, name):
    page.js("document.getElementById('conversion-rig').value = arguments[0];"
            "document.getElementById('conversion-show').click()", name)  # fmt: skip
    until(lambda: page.js(DONE), 20, "the moves")


def touch_next(page, haul):
    """Touch the next move, and wait until the recorder has it and the page shows it."""
    before, words = len(moves(haul)), page.js(NEXT)
    page.js("document.querySelector('#conversion .done').click()")
    until(lambda: len(moves(haul)) == before + 1, 8, "the move in the session")
    until(lambda: page.js(NEXT) != words, 8, "the next one on the page")


def looked_at(page, haul, name, shots):
    """Both themes at both widths: nothing sticks out, nothing is too small to touch, axe finds nothing serious."""
    for width, scheme in ((390, "light"), (390, "dark"), (1280, "light"), (1280, "dark")):
        page.size(width, 844 if width < 600 else 900, scheme)
        opened_by_operator(page, haul)
        assert page.js(WIDE) <= width
        assert page.js(SMALL) == []
        page.shot(shots / f"conversion-{name}-{width}-{scheme}.png")
        page.js(AXE.read_text("utf-8") + "; window.axe = axe;")
        page.driver.set_script_timeout(300)
        found = page.driver.execute_async_script(
            "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']})"
            ".then(r => done(r.violations.map(v => [v.impact, v.id, v.nodes.slice(0, 3).map(n => n.html.slice(0, 150))])))"
        )
        serious = [v for v in found if v[0] in ("serious", "critical")]
        assert serious == [], json.dumps(found, indent=1)
    page.size(1280, 900)


def test_moves_are_touched_one_by_one_and_the_rig_follows_the_last(haul, page, shots):
    """3:1 hauled, converted to 9:1, hauled on: strokes, limits and rope left go on with the new rig."""
    hauled(haul, page, 330.0, 4.0)
    looked_at(page, haul, "none", shots)
    choose(page, "3-on-3")
    assert "3.00 : 1 to 9.00 : 1" in page.text("conversion")
    looked_at(page, haul, "planned", shots)
    total = page.js("return document.querySelectorAll('#conversion .moves li').length")
    assert (
        total >= 4
        and page.js("return document.querySelectorAll('#conversion svg').length") == total
    )
    touch_next(page, haul)
    touch_next(page, haul)
    assert moves(haul) == [1.0, 2.0]
    # the last one is taken back, and made again
    page.js("document.getElementById('conversion-undo').click()")
    until(lambda: moves(haul) == [1.0], 8, "taken back")
    until(lambda: "2." in page.js(NEXT).split("\n")[0], 8, "the second is the next again")
    # another page of the session shows the same
    page.open(haul.link)
    until(lambda: page.js(OPERATOR), 15, "let in again")
    until(lambda: "2." in page.js(NEXT).split("\n")[0], 10, "the plan and how far it was made")
    looked_at(page, haul, "second", shots)
    for _ in range(total - 1):
        touch_next(page, haul)
    assert moves(haul) == [float(k) for k in range(1, total + 1)]
    until(lambda: len(haul.events("rig")) == 1, 10, "the new rig")
    until(lambda: "Made: the rig in use is 3:1 on 3:1" in page.text("conversion"), 10, "made")
    kinds = [e.kind for e in read_all(haul.out).events if e.kind in ("move", "undo", "rig")]
    assert kinds == ["move", "move", "undo", *["move"] * (total - 1), "rig"]
    looked_at(page, haul, "made", shots)
    # hauled on with 9:1: the load has moved 4/3 m, and rope left is known at once
    hauled(haul, page, 130.0, 4.5)
    until(lambda: "9" in page.text("ma-note") + page.text("ma"), 10, "the advantage of the new rig")
    assert "m" in page.text("left") and "not known" not in page.text("left")
    moved = 4.0 / 3 + 4.5 / 9
    shown_m = "return parseFloat(document.querySelector('#travel .n').innerText)"
    until(lambda: abs(page.js(shown_m) - moved) < 0.1, 10, "the load's progress")
    until(lambda: "3:1 on 3:1" in page.text("chapters"), 10, "a chapter of its own")
    assert page.console() == []


def test_what_cannot_be_made_says_why(haul, page):
    page.js("document.getElementById('conversion-rig').value = '3-on-2';"
            "document.getElementById('conversion-show').click()")  # fmt: skip
    until(lambda: page.js("return !!document.querySelector('#conversion .not')"), 20, "a reason")
    assert "load" in page.js("return document.querySelector('#conversion .not').innerText")
    assert page.js(DONE) == ""


def test_a_viewer_sees_the_list_and_touches_nothing(haul, page, browser):
    choose(page, "3")
    browser.driver.delete_all_cookies()
    browser.open(haul.url)
    until(lambda: browser.js("return document.documentElement.dataset.role") == "viewer", 15, "a viewer")  # fmt: skip
    until(lambda: browser.js(NEXT), 10, "the list")
    assert browser.js("return document.querySelectorAll('#conversion button, #conversion form').length") == 0  # fmt: skip
