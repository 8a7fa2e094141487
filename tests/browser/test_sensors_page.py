"""From two devices that nobody described to a saved sensors file, in a real browser: by touch and by keyboard."""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import mkdtemp

import pytest
from selenium.webdriver.common.keys import Keys
from support.held_device import HeldDevice
from support.processes import PageProcess
from support.rigs import three_to_one
from support.sensors_finger import CELL, COUNTER, STEP, SensorsFinger
from support.systems import pseudo_terminals

from logger.channels.sensors_file import load_sensors

pytestmark = pseudo_terminals
AXE = Path(__file__).parent / "axe-core-4.14.1.min.js"
MOST_TOUCHES = 25  # for two devices; required of this page
MOST_STOPS = 120  # more than the page has stops for Tab


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


@pytest.mark.many
def test_by_keyboard_alone_at_a_desk(browser, yard, shots):
    browser.size(1280, 800, "dark")
    with PageProcess("desk", yard[0]) as serving:
        hand = SensorsKeys(browser, serving.link)
        path = described(hand, yard, lambda name: browser.shot(shots / f"sensors-{name}-1280.png"))
        assert browser.console() == []
    assert_right(path, yard)
    assert hand.touches < MOST_TOUCHES, hand.touches


@pytest.mark.many
def test_a_reversed_cell_in_the_wrong_unit_is_told_beside_a_known_weight(browser, yard, shots):
    """By touch at 390 px: it shows -44.09 for 20 kg, which is pounds the wrong way round (1 lb = 0.45359237 kg)."""
    folder, _, bare = yard
    browser.size(390, 844, "light")
    with PageProcess("desk", folder) as serving:
        hand = SensorsFinger(browser, serving.link)
        hand.type("Another address", bare.port)
        hand.press("Listen there")
        hand.number(bare.port)
        hand.wait(f"{STEP}.includes('What does this number tell')")
        hand.press("A force")
        hand.wait(f"{STEP}.includes('Which unit')")
        hand.press("kgf")
        hand.drawn("[data-strand='T1>team'] line")
        hand.wait(f"{STEP}.includes('Pull once')")
        hand.press("Next")
        hand.wait(f"{STEP}.includes('Take the zero')")
        hand.press("Next")
        hand.wait(f"{STEP}.includes('A known weight') && {STEP}.includes('It shows 0 kgf')")
        hand.press("Nothing is on it")
        hand.wait(f"{STEP}.includes('nothing: shows')")
        bare.value = -44.1
        hand.wait(f"{STEP}.includes('It shows -44.1 kgf') && !{STEP}.includes('it moves')")
        hand.type("Known weight", "20 kg")
        hand.press("Take the reading")
        hand.wait(f"{STEP}.includes('It looks like lb, not kgf: 44.1 is shown for 20 kg.')")
        assert "Use the scale" not in browser.text("step")
        browser.shot(shots / "sensors-other-unit-390.png")
        hand.press("Make it lb")
        hand.wait(
            f"{STEP}.includes('the cell is reversed') && {STEP}.includes('Use the scale -0.9998')"
        )
        browser.shot(shots / "sensors-reversed-390.png")
        assert browser.js("return document.documentElement.scrollWidth") <= 390
        hand.press("Use the scale")
        hand.wait(f"{STEP}.includes('Now 196 N')")
        hand.press("Close")
        hand.wait("document.getElementById('step').hidden")
        hand.type("Name of the new file", "boatyard")
        hand.press("Save")
        hand.wait("document.getElementById('status').innerText === 'boatyard.toml: saved'")
        assert browser.console() == []
    (force,) = load_sensors(folder / "boatyard.toml").channels
    assert (force.unit, force.scale) == ("lb", -0.999829)
    assert force.si(-44.1) == pytest.approx(
        20.0 * 9.80665, rel=1e-4
    )  # g = 9.80665 m/s2 by definition


SERIOUS = (
    "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']})"
    ".then(r => done(r.violations.filter(v => ['serious', 'critical'].includes(v.impact))"
    ".map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 120)).join(' | '))))"
)


@pytest.mark.many
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
