"""From two devices that nobody described to a saved sensors file, in a real browser: by touch and by keyboard."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from tempfile import mkdtemp

import pytest
from selenium.webdriver.common.keys import Keys
from support.emulated_devices import CATALOGUE
from support.held_device import HeldDevice
from support.processes import PageProcess
from support.rigs import three_to_one
from support.systems import pseudo_terminals
from support.waiting import until

from logger.channels.sensors_file import load_sensors

pytestmark = pseudo_terminals
AXE = Path(__file__).parent / "axe-core-4.14.1.min.js"
CELL = replace(CATALOGUE["unit in brackets"], rate_hz=20.0)  # F[kN]=1.234
COUNTER = replace(CATALOGUE["bare number"], rate_hz=20.0)  # a number alone, at another rate
MOST_TOUCHES = 25  # for two devices; required of this page
MOST_STOPS = 120  # more than the page has stops for Tab
WITHIN_S = 40.0  # for what takes a second on a quiet machine
STEP = "document.getElementById('step').innerText"


@pytest.fixture
def yard(tmp_path):
    """A folder with a rig and nothing else, and two devices at rest."""
    (tmp_path / "launch.toml").write_text(three_to_one(), "utf-8")
    wires = Path(mkdtemp(prefix="wires"))  # short, so that the page shows a port to its beginning
    made = [
        HeldDevice(CELL, wires, 1, apart=True, noise=0.01),
        HeldDevice(COUNTER, wires, 2, apart=True, noise=0.0),
    ]
    made[0].value = 0.05
    yield tmp_path, *made
    for one in made:
        one.close()
    shutil.rmtree(wires)


class SensorsFinger:
    """Touches the sensors page, or presses Enter on it, and counts; typing into a field counts as the touch on it."""

    def __init__(self, browser, url: str) -> None:
        self.browser, self.touches = browser, 0
        browser.open(url.replace("/#", "/sensors/#"))
        self.wait(
            "!!document.querySelector('.typed input') && !!document.querySelector('#channels h2')"
        )

    def wait(self, then: str) -> None:
        """Wait until `then` holds on the page."""
        try:
            until(lambda: self.browser.js(f"return {then}"), WITHIN_S, then)
        except AssertionError as error:
            raise AssertionError(f"{error}; the page shows {self.browser.text('page')!r}") from None

    def touch(self, script: str, *args) -> None:
        """Touch the middle of the element that the script returns."""
        self.touches += 1
        # at rest: a list above that fills itself moves it away
        place = self.browser.steady(
            f"const n = (() => {{ {script} }})(); if (!n) return null; n.scrollIntoView({{block: 'center'}});"
            "const b = n.getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2];",
            *args,
        )
        assert place is not None, (
            f"nothing to touch: {script} {args}; {self.browser.text('page')!r}"
        )
        for kind in ("mousePressed", "mouseReleased"):
            self.browser._cdp("Input.dispatchMouseEvent", type=kind, x=place[0], y=place[1],
                              button="left", clickCount=1)  # fmt: skip

    def press(self, label: str) -> None:
        """Touch the button that begins with this label."""
        self.touch(BUTTON, label)

    def type(self, label: str, text: str) -> None:
        """Touch the field of this label and type."""
        self.touch(FIELD, label)
        self.browser.driver.switch_to.active_element.send_keys(text)

    def drawn(self, selector: str) -> None:
        """Touch a part of the drawing."""
        self.wait(f'!!document.querySelector("#step svg {selector}")')
        self.touch("return document.querySelector('#step svg ' + arguments[0])", selector)

    def number(self, port: str) -> None:
        """Touch the number in the last line of a port."""
        self.wait(f"!!({NUMBER.replace('return ', '').replace('arguments[0]', repr(port))})")
        self.touch(NUMBER, port)


class SensorsKeys(SensorsFinger):
    """The same by keyboard alone: Tab leads there and is not counted, Enter is."""

    def touch(self, script: str, *args) -> None:
        self.touches += 1
        focused = f"return (() => {{ {script} }})() === document.activeElement"
        for _ in range(MOST_STOPS):
            if self.browser.js(focused, *args):
                break
            self.browser.driver.switch_to.active_element.send_keys(Keys.TAB)
        assert self.browser.js(focused, *args), f"no way by Tab to {script} {args}"
        active = self.browser.driver.switch_to.active_element
        if active.tag_name == "button":
            active.send_keys(Keys.ENTER)

    def drawn(self, selector: str) -> None:
        """By keyboard the list beside the drawing says the same."""
        self.press("The haul strand" if "strand" in selector else "Rope taken in")


BUTTON = "return [...document.querySelectorAll('main button')].find(b => b.checkVisibility() && b.innerText.startsWith(arguments[0]) && !b.disabled)"
FIELD = "return [...document.querySelectorAll('main label')].find(l => l.checkVisibility() && l.innerText.startsWith(arguments[0]))?.querySelector('input')"
NUMBER = (
    "return [...document.querySelectorAll('.port')].find(p => p.innerText.includes(arguments[0]))"
    "?.querySelector('.lines')?.lastElementChild?.querySelector('button')"
)


def described(hand: SensorsFinger, yard, shoot=lambda name: None) -> Path:
    """Make both devices channels of a file; returns its path."""
    folder, cell, counter = yard
    for device in (cell, counter):
        hand.wait("document.querySelector('#address input').value === ''")
        hand.type("Another address", device.port)
        hand.press("Listen there")
        hand.wait(f"document.getElementById('ports').innerText.includes({device.port!r})")
    shoot("devices")
    hand.number(cell.port)
    hand.wait(f"{STEP}.includes('What does this number tell')")
    shoot("what")
    hand.press("A force")
    hand.wait(f"{STEP}.includes('kN, as the device says')")
    hand.press("kN, as the device says")
    hand.wait(f"{STEP}.includes('Where does it sit')")
    shoot("where")
    hand.drawn("[data-strand='T1>team'] line")
    hand.wait(f"{STEP}.includes('No number has moved yet')")
    cell.value = -1.5
    hand.wait(f"{STEP}.includes('So a pull counts as negative')")
    shoot("pull")
    cell.value = 0.05
    hand.press("Turn it round")
    hand.wait(f"{STEP}.includes('as it shall')")
    hand.press("Next")
    hand.wait(
        f"{STEP}.includes('Take the zero') && {STEP}.includes('Now') && !{STEP}.includes('it moves')"
    )
    shoot("zero")
    hand.press("Take the zero")
    hand.wait(f"{STEP}.includes('A known weight')")
    shoot("weight")
    hand.press("Next")
    hand.wait(f"{STEP}.includes('Alarm levels')")
    hand.type("Caution from", "1500")
    hand.type("Stop from", "2000")
    shoot("levels")
    hand.press("Done")
    hand.wait("document.getElementById('step').hidden")
    hand.number(counter.port)
    hand.wait(f"{STEP}.includes('What does this number tell')")
    hand.press("A length")
    hand.wait(f"{STEP}.includes('Which unit')")
    shoot("unit")
    hand.press("m")
    hand.wait(f"{STEP}.includes('Where does it sit')")
    hand.press("Rope taken in")
    hand.wait(f"{STEP}.includes('Pull once')")
    counter.value = 1.5
    hand.wait(f"{STEP}.includes('as it shall')")
    hand.press("Next")
    hand.wait(f"{STEP}.includes('taped length')")
    hand.press("Close")
    hand.wait("document.getElementById('step').hidden")
    shoot("channels")
    hand.type("Name of the new file", "boatyard")
    hand.press("Save")
    hand.wait("document.getElementById('status').innerText === 'boatyard.toml: saved'")
    shoot("saved")
    return folder / "boatyard.toml"


def assert_right(path: Path, yard) -> None:
    """The saved file reads both devices."""
    force, rope = load_sensors(path).channels
    assert (force.name, force.at, force.unit, force.scale, force.port) == (
        "haul_force", "haul", "kN", -1.0, yard[1].port,
    )  # fmt: skip
    assert force.zero == pytest.approx(0.05, abs=0.005)
    assert (force.baud, force.warn_at, force.stop_at) == (9600, 1500.0, 2000.0)
    assert (rope.name, rope.at, rope.unit, rope.baud) == ("haul_rope", "haul", "m", 115200)
    assert yard[1].inbox == yard[2].inbox == b""


def test_by_touch_on_a_phone(browser, yard, shots):
    browser.size(390, 844, "light")
    with PageProcess("desk", yard[0]) as serving:
        hand = SensorsFinger(browser, serving.link)

        def shoot(name: str) -> None:
            """Keep a picture, and see that nothing is wider than the screen."""
            browser.shot(shots / f"sensors-{name}-390.png")
            assert browser.js("return document.documentElement.scrollWidth") <= 390, name

        path = described(hand, yard, shoot)
        assert browser.console() == []
    assert_right(path, yard)
    assert hand.touches < MOST_TOUCHES, hand.touches


def test_by_keyboard_alone_at_a_desk(browser, yard, shots):
    browser.size(1280, 800, "dark")
    with PageProcess("desk", yard[0]) as serving:
        hand = SensorsKeys(browser, serving.link)
        path = described(hand, yard, lambda name: browser.shot(shots / f"sensors-{name}-1280.png"))
        assert browser.console() == []
    assert_right(path, yard)
    assert hand.touches < MOST_TOUCHES, hand.touches


SERIOUS = (
    "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']})"
    ".then(r => done(r.violations.filter(v => ['serious', 'critical'].includes(v.impact))"
    ".map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 120)).join(' | '))))"
)


def test_axe_finds_nothing_serious_and_nothing_is_too_wide(browser, yard, shots):
    """The list with lines that run by, and each kind of question, in both themes and both sizes."""
    folder, cell, _ = yard
    browser.size(1280, 800, "light")
    with PageProcess("desk", folder) as serving:
        hand = SensorsFinger(browser, serving.link)

        def looked_at(name: str) -> None:
            for width in (390, 1280):
                for scheme in ("light", "dark"):
                    browser.size(width, 844, scheme)
                    browser.js("window.scrollTo(0, 0)")
                    browser.shot(shots / f"sensors-{name}-{width}-{scheme}.png")
                    browser.js(AXE.read_text("utf-8") + "; window.axe = axe;")
                    bad = browser.driver.execute_async_script(SERIOUS)
                    assert bad == [], f"{name}, {width}, {scheme}: {bad}"
                    assert browser.js("return document.documentElement.scrollWidth") <= width, name
            browser.size(1280, 800, "light")
            browser.steady(
                "return [innerWidth, document.querySelector('#said').getBoundingClientRect().bottom]"
            )

        looked_at("empty")
        hand.type("Another address", cell.port)
        hand.press("Listen there")
        hand.number(cell.port)
        hand.wait(f"{STEP}.includes('What does this number tell')")
        looked_at("asked-what")
        hand.press("A force")
        hand.wait(f"{STEP}.includes('kN, as the device says')")
        hand.press("kN, as the device says")
        hand.drawn("[data-strand='T1>team'] line")
        hand.wait(f"{STEP}.includes('No number has moved yet')")
        looked_at("asked-pull")
        hand.press("Next")
        hand.wait(f"{STEP}.includes('Take the zero')")
        hand.press("Next")
        hand.wait(f"{STEP}.includes('A known weight')")
        hand.wait(f"{STEP}.includes('scatter') && !{STEP}.includes('it moves')")
        hand.press("Nothing is on it")
        hand.wait(f"{STEP}.includes('nothing: shows')")
        looked_at("asked-weight")
        hand.press("Next")
        hand.wait(f"{STEP}.includes('Alarm levels')")
        hand.type("Caution from", "3000")
        hand.type("Stop from", "2000")
        hand.press("Done")
        hand.wait("document.getElementById('said').innerText.includes('above the stop')")
        looked_at("refused-levels")
        hand.press("Close")
        hand.wait("document.getElementById('step').hidden")
        looked_at("list")
        assert browser.console() == []
        browser.driver.delete_all_cookies()
        browser.open(f"{serving.url}sensors/")
        hand.wait("document.querySelectorAll('.line button').length > 0")
        assert browser.js(
            "return [...document.querySelectorAll('main button')].every(b => b.disabled || !b.checkVisibility())"
        ), "a viewer has a button"
        looked_at("viewer")
