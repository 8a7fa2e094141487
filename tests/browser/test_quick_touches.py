"""Touches that come while something else is going on: a slow answer, a redraw, a device that begins to speak."""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import mkdtemp

import pytest
from selenium.webdriver.common.keys import Keys
from support.held_device import HeldDevice
from support.page_checks import assert_fits
from support.places import LAUNCH
from support.processes import PageProcess
from support.rigs import three_to_one
from support.sealed_sessions import made as sealed_session
from support.sensors_finger import BUTTON, COUNTER, STEP, SensorsFinger
from support.systems import pseudo_terminals
from support.waiting import until

pytestmark = pytest.mark.many  # further ways through pages that other tests open

PLAIN = "plain haul"
WITHIN_S = 30
SLOW_MS = 900  # of each answer: several touches come before it
# a server that answers slowly, as far as the page can tell
SLOW = """const quick = window.fetch;
window.fetch = async (...given) => {
  if (String(given[0]).includes("_dash-update")) await new Promise((done) => setTimeout(done, arguments[0]));
  return quick(...given);
};"""
# every component of the page is drawn anew, again and again
REDRAW = """let turn = 0;
setInterval(() => {
  turn += 1;
  dash_clientside.set_props("version", { data: 0 });
  dash_clientside.set_props("width", { data: 300 + (turn % 2) });
}, 15);"""
VERSION = "return JSON.parse(document.getElementById('live').dataset.live).version"


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """The desk of a folder with a rig and two hauls."""
    folder = tmp_path_factory.mktemp("hauls")
    shutil.copytree(LAUNCH, folder / LAUNCH.name)
    sealed_session(folder / PLAIN, strokes=3)
    (folder / "launch.toml").write_text(three_to_one(), "utf-8")
    with PageProcess("desk", folder) as serving:
        serving.folder = folder
        yield serving


def come_to(browser, desk, path: str, ready: str) -> None:
    """A page of the desk, open for its operator, whose server then answers slowly."""
    browser.open(desk.link)
    until(
        lambda: browser.js("return location.hash === '' && !!document.getElementById('page')"),
        WITHIN_S,
        "in",
    )
    browser.open(f"{desk.url}{path}")
    until(lambda: browser.js(f"return {ready}"), WITHIN_S, ready)
    browser.js(SLOW, SLOW_MS)


def click(browser, *labels: str) -> None:
    """Touch these buttons, one right after the other."""
    for label in labels:
        assert browser.js(
            "const n = [...document.querySelectorAll('button')].find(b => b.checkVisibility() && !b.disabled &&"
            " (b.getAttribute('aria-label') || b.innerText).startsWith(arguments[0])); n?.click(); return !!n",
            label,
        ), label


def test_two_sessions_touched_at_once_are_both_compared(browser, desk):
    browser.size(390, 844, "light")
    pressed = "document.querySelectorAll('#list button[aria-pressed=true]').length"
    come_to(browser, desk, "sessions/", "document.querySelectorAll('#list button').length === 2")
    click(browser, f"Compare {PLAIN}", f"Compare {LAUNCH.name}", "Not sealed", "All")
    until(lambda: browser.js(f"return {pressed}") == 2, WITHIN_S, "both chosen")
    until(lambda: browser.js("return !!document.querySelector('#compared table')"), WITHIN_S, "both compared")  # fmt: skip
    assert_fits(browser, "sessions")


def test_a_result_keeps_the_notes_and_leads_on_though_both_were_touched_at_once(browser, desk):
    browser.size(390, 844, "light")
    come_to(browser, desk, f"result/{PLAIN}/".replace(" ", "%20"),
            "!!document.getElementById('verdict') && document.getElementById('site').checkVisibility()")  # fmt: skip
    browser.driver.find_element("id", "site").send_keys("lower slip")
    click(browser, "Keep these notes", "Next haul with this rig")
    until(lambda: browser.js("return location.pathname") == "/check/", WITHIN_S, "the check page")
    assert "lower slip" in next((desk.folder / ".desk" / "notes").iterdir()).read_text("utf-8")


def test_every_answer_to_a_line_of_the_check_is_taken(browser, desk):
    """Three touches: the second waits while the first runs, and the third takes its place."""
    browser.size(390, 844, "light")
    come_to(browser, desk, "check/", "document.querySelectorAll('#times button').length > 2")
    labels = browser.js("return [...document.querySelectorAll('#times button')].map(b => b.innerText).slice(0, 2)")  # fmt: skip
    rig = "[...document.querySelectorAll('button')].some(b => b.innerText.startsWith('launch'))"
    click(browser, labels[0], labels[1], labels[0])
    first = "document.querySelector('#times button').getAttribute('aria-pressed')"
    until(lambda: browser.js(f"return {first}") == "true", WITHIN_S, f"{labels[0]}, {rig}")


def test_two_fields_of_a_rig_filled_at_once_are_both_in_it(browser, desk):
    browser.size(1280, 900, "light")
    come_to(browser, desk, "rig/launch/", "document.querySelectorAll('#job input').length > 3")
    typed = {"mass_kg": "900", "slope_deg": "7"}
    for name, text in typed.items():
        field = browser.driver.find_element("css selector", f"#job input[id*='{name}']")
        field.send_keys(text + Keys.TAB)
    shown = (
        "return ['mass_kg', 'slope_deg'].map(name => parseFloat("
        "document.querySelector(`#job input[id*='${name}']`)?.value))"
    )
    # one answer after the other, and the page at rest behind them
    quiet = "return [document.getElementById('status').innerText, document.getElementById('said').innerText]"
    until(lambda: browser.js(quiet)[0] not in ("saved", ""), WITHIN_S, "a change")
    assert browser.steady(quiet)[1] == ""
    browser.driver.refresh()
    until(lambda: browser.js(shown) == [900, 7], WITHIN_S, "both in the draft")


@pytest.fixture
def asked_to_pull(browser, tmp_path):
    """The sensors page on a phone with the question "Pull once", and the counter that is to be pulled."""
    (tmp_path / "launch.toml").write_text(three_to_one(), "utf-8")
    wires = Path(mkdtemp(prefix="wires"))
    counter = HeldDevice(COUNTER, wires, 2, apart=True, noise=0.0)
    browser.size(390, 844, "light")
    with PageProcess("desk", tmp_path) as serving:
        hand = SensorsFinger(browser, serving.link)
        hand.wait("document.querySelector('#address input').value === ''")
        hand.type("Another address", counter.port)
        hand.press("Listen there")
        hand.number(counter.port)
        hand.wait(f"{STEP}.includes('What does this number tell')")
        hand.press("A length")
        hand.wait(f"{STEP}.includes('Which unit')")
        hand.press("m")
        hand.wait(f"{STEP}.includes('Where does it sit')")
        hand.press("Rope taken in")
        hand.wait(f"{STEP}.includes('No number has moved yet')")
        yield hand, counter
    counter.close()
    shutil.rmtree(wires)


@pseudo_terminals
def test_what_a_device_says_moves_no_button_from_under_a_finger(browser, asked_to_pull, shots):
    """A person aims at Next while the rope moves: the numbers that appear must not shift it away."""
    hand, counter = asked_to_pull
    places = (
        "return [...document.querySelectorAll('#step button, #step input')].map(b =>"
        " [b.innerText, Math.round(b.getBoundingClientRect().top)])"
    )
    before = browser.steady(places)
    x, y = browser.js(f"const n = (() => {{ {BUTTON} }})(); const b = n.getBoundingClientRect();"
                      "return [b.left + b.width / 2, b.top + b.height / 2]", "Next")  # fmt: skip
    counter.value = 1.5
    hand.wait(f"{STEP}.includes('rose by 1.5')")
    browser.shot(shots / "sensors-pulled-390.png")
    assert browser.js(places)[: len(before)] == before
    for kind in ("mousePressed", "mouseReleased"):
        browser._cdp("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)
    hand.wait(f"{STEP}.includes('taped length')")
    assert_fits(browser, "sensors, a taped length")


@pseudo_terminals
def test_no_touch_of_the_sensors_page_is_lost_while_it_is_drawn_anew(browser, asked_to_pull):
    """Each touch on "Pull again" is one change on the server."""
    hand, _ = asked_to_pull
    browser.js(REDRAW)
    before, touches = browser.js(VERSION), 60
    browser.driver.execute_async_script(
        f"const seek = (...arguments) => {{ {BUTTON} }}, [most, done] = arguments; let k = 0;"
        "const turn = () => { seek('Pull again').click(); k += 1;"
        " if (k < most) setTimeout(turn, 30 + 13 * (k % 7)); else done(); }; turn();",
        touches,
    )
    hand.wait(f"JSON.parse(document.getElementById('live').dataset.live).version >= {before + touches}")  # fmt: skip
    assert browser.js(VERSION) == before + touches
