"""A shared page in a real browser: in by the link, the code gone, a viewer without hands."""

import re
import threading
import time

import pytest
from support.growing_session import Growing
from support.waiting import joined, until

from analysis.simulation.demo_haul import demo_text
from dashboard.live.session_hub import Hub
from dashboard.watch.server import FaultLog, Server
from dashboard.web.sharing import Sharing

HOSTILE = "<img src=x onerror=window.broken=1><script>window.broken=1</script>"


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """A session that grows, whose title and notes are script, shared on loopback."""
    rig = re.sub(r"(?m)^title = .*$", f"title = '{HOSTILE}'", demo_text("rig.toml"), count=1)
    session = Growing(tmp_path_factory.mktemp("shared") / "slipway", rig=rig)
    session.event(0.1, "mark", text=HOSTILE)
    over = threading.Event()

    def grow():
        began = time.monotonic()
        while not over.wait(0.1):
            now = time.monotonic() - began
            session.rows("haul_force", now, 300.0)
            session.clock(now)

    grower = threading.Thread(target=grow, daemon=True)
    grower.start()
    hub = Hub(session.path, FaultLog())
    server = Server(hub, 0, Sharing("127.0.0.1"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield server
    server.close()
    hub.close()
    over.set()
    joined(thread)
    joined(grower)
    session.die()


def come_in(browser, page, role):
    browser.open(page.sharing.url(role))
    until(lambda: browser.js("return document.documentElement.dataset.role") == role, 15, role)


def test_without_a_code_there_is_a_question_and_no_number(browser, page):
    browser.size(390, 844)
    browser.open(page.url)
    assert "needs the code" in browser.js("return document.body.innerText")
    browser.open(page.url + "enter#wrong")
    until(lambda: "opens nothing" in browser.text("said"), 10, "the refusal")
    assert browser.js("return location.hash") == ""
    assert browser.js("return document.documentElement.scrollWidth <= innerWidth")
    # typed by hand, or pasted as a whole link
    field = "document.getElementById('code')"
    browser.js(
        f"{field}.value = arguments[0]; {field}.form.requestSubmit()", page.sharing.url("viewer")
    )
    until(lambda: browser.js("return Boolean(document.getElementById('banner'))"), 15, "the page")


def test_a_viewer_comes_in_by_the_link_and_has_no_hands(browser, page, shots):
    browser.size(390, 844)
    come_in(browser, page, "viewer")
    assert browser.js("return location.href") == page.url  # no code, nowhere
    assert browser.js("return document.cookie") == ""
    until(lambda: browser.text("title"), 10, "the title")
    assert browser.js("return document.getElementById('hands-tile').offsetParent") is None
    assert "stay on" in browser.text("shared") and "plain HTTP" in browser.text("shared")
    acted = browser.js(
        "return fetch('/act/mark', {method: 'POST', body: '{}', headers: {'Content-Type':"
        " 'application/json', 'X-Haul-Token': haulTest.page.token}}).then(a => a.status)"
    )
    assert acted == 403
    browser.shot(shots / "viewer.png")
    assert not [line for line in browser.console() if "/act/mark" not in line]


def test_no_title_or_note_becomes_markup(browser, page):
    come_in(browser, page, "viewer")
    until(lambda: HOSTILE in browser.text("events"), 15, "the note as text")
    assert browser.text("title") == HOSTILE
    assert browser.js("return window.broken === undefined && !document.querySelector('img[src=x]')")


def test_a_page_that_did_not_watch_says_for_how_long(browser, page, monkeypatch):
    come_in(browser, page, "viewer")
    until(lambda: browser.js("return haulTest.stats.updates") > 12, 20, "it watches")
    assert browser.text("away") == ""
    began = time.monotonic()
    with monkeypatch.context() as broken:
        broken.setattr(page.hub, "get", lambda name: None)
        time.sleep(4.5)  # for so long the page gets no answer
    said = until(lambda: browser.text("away"), 10, "it says so")
    seconds = int(re.search(r"not watching for ([0-9]+) s", said)[1])
    assert 4 <= seconds <= time.monotonic() - began + 1
    browser.js("document.getElementById('away').click()")
    assert browser.text("away") == ""


def test_a_page_whose_cookie_has_ended_asks_for_the_code(browser, page, monkeypatch):
    come_in(browser, page, "viewer")
    until(lambda: browser.js("return haulTest.stats.updates") > 0, 15, "it watches")
    page.sharing._given["viewer"].clear()  # as after 12 h
    until(lambda: "a code is needed" in browser.text("said"), 15, "the question")
    assert browser.js("return location.pathname") == "/enter"


def test_the_operator_has_hands_and_a_picture_for_others(browser, page, shots):
    browser.size(1280, 900)
    come_in(browser, page, "operator")
    until(
        lambda: browser.js("return document.getElementById('hands-tile').offsetParent !== null"),
        5,
        "hands",
    )
    browser.open(page.url + "share")
    picture = "document.getElementById('qr')"
    until(
        lambda: browser.js(f"return {picture}.complete && {picture}.naturalWidth > 100"),
        5,
        "picture",
    )
    assert browser.text("viewer-link") == page.sharing.url("viewer")
    browser.shot(shots / "share.png")
