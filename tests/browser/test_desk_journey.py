"""The whole job on the desk: from an empty folder and two devices that nobody has described to a result."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from tempfile import mkdtemp

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys
from support.emulated_devices import CATALOGUE
from support.held_device import HeldDevice
from support.page_hand import until_on_page
from support.processes import PageProcess
from support.systems import pseudo_terminals
from support.waiting import until

from analysis.prediction.predict import predict
from analysis.rig_file.load import load_rig
from dashboard.desk.folder import running, sessions
from logger.recorder.request_inbox import ask
from logger.session.reader import session_state

pytestmark = pseudo_terminals
CELL = replace(CATALOGUE["unit in brackets"], rate_hz=20.0)  # F[kN]=1.234
COUNTER = replace(CATALOGUE["bare number"], rate_hz=20.0)  # a number alone, at another rate
PULLED = 12  # steps of rope, each seen by the page
MOST_STOPS = 220  # more than a page has stops for Tab
MOST_TOUCHES = 60  # required of the desk; without typing more than numbers, a title and names
WITHIN_S, AGAIN_S = 5, 0.8  # until a touch shows; until a person touches again
BUTTON = (
    "return [...document.querySelectorAll('button, a:not(#strip a)')].find(b => b.checkVisibility() && !b.disabled"
    " && b.innerText.startsWith(arguments[0]) && (!arguments[1] || b.closest(`[aria-label='${arguments[1]}']`)))"
)
FIELD = (
    "return [...document.querySelectorAll('main label')].find(l => l.checkVisibility()"
    " && l.innerText.startsWith(arguments[0]))?.querySelector('input')"
)
# drawn by the page's script for the width of the screen
DRAWN = """(() => {
  const place = document.getElementById('drawing'), svg = place && place.querySelector('svg');
  return !!svg && Math.abs(Number(svg.getAttribute('width')) - Math.max(320, place.clientWidth)) < 1;
})()"""
STEP = "document.getElementById('step').innerText"
MENU = "(document.getElementById('menu').hidden ? '' : document.getElementById('menu').innerText)"


class DeskHand:
    """One person who touches the pages of the desk, and counts; typing counts as the touch on its field."""

    def __init__(self, browser, shots) -> None:
        self.browser, self.shots, self.touches = browser, shots, 0

    def wait(self, then: str, within_s: float = WITHIN_S) -> None:
        """Wait until `then` holds on the page."""
        until_on_page(self.browser, then, within_s)

    def touch(self, then: str, script: str, *args, again: bool = False) -> None:
        """Touch the middle of the element that the script returns, as soon as it is there; wait for `then`.

        again: touch once more where nothing comes of it, as a person does whose finger met a drawing that was just
        drawn anew; only for a touch that changes nothing.
        """
        seek = (
            f"const n = (() => {{ {script} }})(); if (!n) return null; n.scrollIntoView({{block: 'center'}});"
            "let b = n.getBoundingClientRect();"
            "const hit = document.elementFromPoint(b.left + b.width / 2, b.top + b.height / 2);"
            # covered by a bar that stands fast: a finger scrolls it free
            "if (!hit || !(n.contains(hit) || hit.closest('svg'))) window.scrollBy(0, b.top - 220);"
            "b = n.getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2];"
        )
        self.touches += 1
        until(lambda: self.browser.js(seek, *args) is not None, WITHIN_S, f"{args} to touch")
        x, y = self.browser.steady(seek, *args)
        for kind in ("mousePressed", "mouseReleased"):
            self.browser._cdp("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)  # fmt: skip
        if not again:
            self.wait(then)
            return
        try:
            self.wait(then, AGAIN_S)
        except AssertionError:
            self.touch(then, script, *args)

    def press(self, label: str, then: str, group: str = "") -> None:
        """Touch the button or link with this label."""
        self.touch(then, BUTTON, label, group)

    def write(self, label: str, text: str) -> None:
        """Touch the field of this label and type."""
        self.touch("document.activeElement.tagName === 'INPUT'", FIELD, label)
        self.browser.driver.switch_to.active_element.send_keys(text)

    def step(self, name: str, path: str) -> None:
        """Touch a step of the strip."""
        self.touch(
            f"location.pathname.startsWith('{path}') && !!document.querySelector('#page main')",
            "return document.querySelector(`#strip [data-step='${arguments[0]}']`)", name,
        )  # fmt: skip
        self.shoot(name)

    def shoot(self, name: str) -> None:
        """Keep a picture, and see that nothing is wider than the screen."""
        self.browser.shot(self.shots / f"journey-{type(self).__name__}-{name}.png")
        assert self.browser.js("return document.documentElement.scrollWidth <= innerWidth"), name

    def strand(self, name: str) -> None:
        """Open the menu of a strand on the drawing."""
        self.touch(f"{MENU}.startsWith('Strand {' to '.join(name.split('>'))}:')",
                   "return document.querySelector(`#drawing [data-strand='${arguments[0]}'] line`)", name, again=True)  # fmt: skip

    def at_the_haul(self, then: str) -> None:
        """Say that the device sits in the strand that the team pulls."""
        self.touch(
            then, "return document.querySelector(\"#step svg [data-strand='T1>team'] line\")"
        )


class DeskKeys(DeskHand):
    """The same person by keyboard alone: Tab leads to a place and is not counted, Enter is."""

    def touch(self, then: str, script: str, *args, again: bool = False) -> None:
        self.touches += 1
        until(
            lambda: self.browser.js(f"return !!(() => {{ {script} }})()", *args),
            WITHIN_S,
            f"{args} to reach",
        )
        focused = f"return (() => {{ {script} }})() === document.activeElement"
        keys = ActionChains(self.browser.driver)
        for _ in range(MOST_STOPS):
            if self.browser.js(focused, *args):
                break
            keys.send_keys(Keys.TAB).perform()
        assert self.browser.js(focused, *args), f"no way by Tab to {script} {args}"
        if self.browser.js("return document.activeElement.tagName") != "INPUT":
            keys.send_keys(Keys.ENTER).perform()
        self.wait(then)

    def strand(self, name: str) -> None:
        """In the list of the rope, where the last gap is the strand to the haul."""
        self.touch(f"{MENU}.startsWith('Strand {' to '.join(name.split('>'))}:')",
                   "return [...document.querySelectorAll('#ropes button')].filter(b => b.innerText.startsWith('+ here')).pop()")  # fmt: skip

    def at_the_haul(self, then: str) -> None:
        """In the list beside the drawing."""
        self.press("The haul strand", then)


def make_the_rig(crew: DeskHand) -> None:
    """The 12:1 from an empty rope, by the drawing."""
    crew.press(
        "tied to the anchor",
        f"location.pathname === '/rig/rope/' && {DRAWN}",
    )
    for strand, label, group, part in (
        ("L1>team", "anchor", "Capture (progress capture) on", "C1"),
        ("C1>team", "anchor", "Pulley on", "A1"),
        ("A1>team", "load", "Pulley on", "L2"),
        ("L2>team", "Grab", "On the strand itself", "G1"),
        ("G1>team", "anchor", "Pulley on", "A2"),
        ("A2>team", "G1", "Pulley on", "T1"),
    ):
        crew.strand(strand)
        crew.press(
            label,
            f"{MENU} === '' && !!document.querySelector(\"#drawing [data-element='{part}']\")",
            group,
        )
    crew.press("Save", "document.getElementById('status').innerText === 'saved'")


def describe_the_devices(crew: DeskHand, cell: HeldDevice, counter: HeldDevice) -> None:
    """Both devices as channels of a file."""
    for device in (cell, counter):
        crew.wait("document.querySelector('#address input').value === ''")
        crew.write("Another address", device.port)
        crew.press(
            "Listen there", f"document.getElementById('ports').innerText.includes({device.port!r})"
        )
    number = (
        "return [...document.querySelectorAll('.port')].find(p => p.innerText.includes(arguments[0]))"
        "?.querySelector('.lines')?.lastElementChild?.querySelector('button')"
    )
    crew.touch(f"{STEP}.includes('What does this number tell')", number, cell.port)
    crew.press("A force", f"{STEP}.includes('kN, as the device says')")
    crew.press("kN, as the device says", f"{STEP}.includes('Where does it sit')")
    crew.at_the_haul(f"{STEP}.includes('No number has moved yet')")
    cell.value = 1.5
    crew.wait(f"{STEP}.includes('haul_force rose by')")
    crew.press("Next", f"{STEP}.includes('Take the zero')")
    cell.value = 0.05
    crew.wait(f"/Now (49|50)/.test({STEP}) && !{STEP}.includes('it moves')", 10)
    crew.press("Take the zero", f"{STEP}.includes('A known weight')")
    crew.press("Next", f"{STEP}.includes('Alarm levels')")
    crew.press("Done", "document.getElementById('step').hidden")
    crew.touch(f"{STEP}.includes('What does this number tell')", number, counter.port)
    crew.press("A length", f"{STEP}.includes('Which unit')")
    crew.press("m", f"{STEP}.includes('Where does it sit')")
    crew.press("Rope taken in", f"{STEP}.includes('Pull once')")
    counter.value = 1.5
    crew.wait(f"{STEP}.includes('haul_rope rose by')")
    crew.press("Next", f"{STEP}.includes('taped length')")
    crew.press("Close", "document.getElementById('step').hidden")
    crew.write("Name of the new file", "boatyard")
    crew.press("Save", "document.getElementById('status').innerText === 'boatyard.toml: saved'")


def check_and_start(crew: DeskHand) -> None:
    """See to what the list leaves open, one line after the other, and start."""
    ready = "return document.getElementById('foot').dataset.ready === 'yes'"
    opened = (
        "return [...document.querySelectorAll('#lines button')].find(b => b.checkVisibility() && !b.disabled"
        " && /\\[.{1,2}(over|confirm)/.test(b.id))"
    )
    while not crew.browser.steady(ready):
        crew.touch("true", opened)
        if crew.browser.steady("return document.getElementById('why').checkVisibility()"):
            crew.touch("!document.getElementById('why').checkVisibility()",
                       "return document.querySelector('#why .choices button')")  # fmt: skip
    crew.shoot("Check-ready")
    crew.press("Start recording", "location.pathname.startsWith('/s/')")


@pytest.fixture
def devices(tmp_path):
    """Two devices at rest; a recorder that a failed test leaves is ended."""
    wires = Path(mkdtemp(prefix="wires"))  # short, so that the page shows a port to its beginning
    made = [
        HeldDevice(CELL, wires, 1, apart=True, noise=0.01),
        HeldDevice(COUNTER, wires, 2, apart=True, noise=0.0),
    ]
    made[0].value = 0.05
    yield made
    name = running(tmp_path)
    if name is not None:
        ask(tmp_path / name, "end", role="operator")
        until(lambda: running(tmp_path) is None, WITHIN_S, "the recorder's end")
    for one in made:
        one.close()
    shutil.rmtree(wires)


@pytest.mark.parametrize(
    ("hand", "width", "scheme"),
    [(DeskHand, 390, "light"), pytest.param(DeskKeys, 1280, "dark", marks=pytest.mark.many)],
    ids=["touch", "keyboard"],
)
def test_a_first_haul_in_under_sixty(browser, tmp_path, devices, shots, hand, width, scheme):
    cell, counter = devices
    browser.size(width, 844, scheme)
    with PageProcess("desk", tmp_path) as desk:
        crew = hand(browser, shots)
        browser.open(desk.link)
        crew.wait("document.getElementById('fresh')?.checkVisibility()")
        make_the_rig(crew)
        crew.step("Sensors", "/sensors/")
        crew.wait(
            "!!document.querySelector('.typed input') && !!document.querySelector('#channels h2')"
        )
        describe_the_devices(crew, cell, counter)
        crew.step("Check", "/check/")
        crew.wait("document.querySelectorAll('#lines button').length > 0")
        check_and_start(crew)
        name = running(tmp_path)
        assert name is not None
        cell.value = 1.2
        for _ in range(PULLED):
            counter.value += 0.4
            browser.updated(1)
        cell.value = 0.05
        crew.shoot("Haul")
        crew.press("End", "document.body.innerText.includes('seal the session')")
        crew.press("End it", "document.getElementById('to-result').checkVisibility()")
        crew.press("Open the result", "location.pathname.startsWith('/result/')")
        crew.wait("document.body.innerText.includes('sealed: nothing was changed since')")
        crew.wait("document.body.innerText.includes('out of an ideal 12.0')")
        browser.steady("return document.body.innerText.length")
        crew.shoot("Result")
        assert session_state(tmp_path / name) == "sealed"
    assert predict(load_rig(tmp_path / "rope.toml"))["ideal_ma"] == pytest.approx(12.0)
    assert [one.state for one in sessions(tmp_path, 2)] == ["sealed"]
    assert crew.touches < MOST_TOUCHES
