"""A rig made by touch in a real browser: taps on a phone, keys at a desk, each counted."""

from __future__ import annotations

import shutil
from importlib import resources
from pathlib import Path

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys
from support.processes import PageProcess
from support.screens import SCREENS
from support.waiting import until

from analysis.prediction.predict import predict
from analysis.rig_file.load import load_rig

RIGS = Path(str(resources.files("analysis") / "rigs"))
AXE = Path(__file__).parent / "axe-core-4.14.1.min.js"
MOST_TWELVE, MOST_EIGHTEEN = 40, 12  # touches; required of this page
MOST_TABS = 150  # more than the page has stops


# drawn by the page's script, which then listens for touches, and drawn anew for the width of the screen
DRAWN = """(() => {
  const place = document.getElementById('drawing'), svg = place && place.querySelector('svg');
  return !!svg && Math.abs(Number(svg.getAttribute('width')) - Math.max(320, place.clientWidth)) < 1;
})()"""


class Hand:
    """Touches the page as a finger does, and counts."""

    def __init__(self, browser, url: str) -> None:
        self.browser = browser
        self.touches = 0
        browser.open(url.replace("/#", "/edit#"))
        until(lambda: browser.js(f"return {DRAWN}"), 40, "the drawing, as wide as its place")

    def tap(self, then: str, script: str, *args) -> None:
        """Tap the middle of the element that the script returns; waits until `then` holds on the page."""
        self.touches += 1
        place = self.browser.js(
            f"const n = (() => {{ {script} }})(); if (!n) return null;"
            "n.scrollIntoView({block: 'center'}); let b = n.getBoundingClientRect();"
            "const hit = document.elementFromPoint(b.left + b.width / 2, b.top + b.height / 2);"
            # covered by the menu or by the header: a finger scrolls it free
            "if (!hit || !(n.contains(hit) || hit.closest('#drawing'))) window.scrollBy(0, b.top - 200);"
            "b = n.getBoundingClientRect();"
            "return [b.left + b.width / 2, b.top + b.height / 2];",
            *args,
        )
        assert place is not None, f"nothing to touch: {script} {args}"
        for kind in ("mousePressed", "mouseReleased"):
            self.browser._cdp("Input.dispatchMouseEvent", type=kind, x=place[0], y=place[1],
                              button="left", clickCount=1)  # fmt: skip
        said = "document.getElementById('said').innerText"
        try:
            until(lambda: self.browser.js(f"return {then}"), 40, f"{then} after {args}")
        except AssertionError as error:
            raise AssertionError(
                f"{error}; the page says {self.browser.js(f'return {said}')!r}"
            ) from None

    def enter(self, then: str, label: str, group: str = "", last: bool = False) -> None:
        """Give the focus to the button with this label by Tab, and press Enter; waits until `then` holds.

        group: title of its group; last: the last such button, which is the strand to the haul.
        """
        self.touches += 1
        focused = (
            "const all = [...document.querySelectorAll('button')].filter(b => b.innerText.startsWith(arguments[0])"
            " && (!arguments[1] || b.closest(`[aria-label='${arguments[1]}']`)));"
            "return document.activeElement === (arguments[2] ? all[all.length - 1] : all[0]);"
        )
        for _ in range(MOST_TABS):
            if self.browser.js(focused, label, group, last):
                break
            ActionChains(self.browser.driver).send_keys(Keys.TAB).perform()
        assert self.browser.js(focused, label, group, last), f"no way by Tab to {label}"
        ActionChains(self.browser.driver).send_keys(Keys.ENTER).perform()
        until(lambda: self.browser.js(f"return {then}"), 40, f"{then} after {label}")

    def strand(self, name: str) -> None:
        """Touch the strand of this name on the drawing; its menu opens."""
        ends = " to ".join(name.split(">"))
        self.tap(
            f"{MENU}.startsWith('Strand {ends}:')",
            "return document.querySelector(`#drawing [data-strand='${arguments[0]}'] line`)", name,
        )  # fmt: skip

    def part(self, name: str) -> None:
        """Touch the part of this name on the drawing; its menu opens."""
        self.tap(
            f"{MENU}.split('\\n')[0].endsWith(' {name}')",
            "return document.querySelector(`#drawing [data-element='${arguments[0]}']`)", name,
        )  # fmt: skip

    def button(self, label: str, then: str, group: str = "") -> None:
        """Touch the button with this label, in the group of this title."""
        self.tap(
            then,
            "return [...document.querySelectorAll('button')].find(b => b.innerText.startsWith(arguments[0])"
            " && (!arguments[1] || b.closest(`[aria-label='${arguments[1]}']`)))",
            label, group,
        )  # fmt: skip

    def put(self, strand: str, label: str, group: str, part: str) -> None:
        """Put a part into a strand; it then stands on the drawing."""
        self.strand(strand)
        self.button(
            label,
            f"{MENU} === '' && !!document.querySelector(\"#drawing [data-element='{part}']\")",
            group,
        )

    def save(self) -> None:
        """Save the file."""
        self.button("Save", "document.getElementById('status').innerText === 'saved'")


MENU = "(document.getElementById('menu').hidden ? '' : document.getElementById('menu').innerText)"


@pytest.fixture
def rig_file(tmp_path) -> Path:
    return Path(shutil.copy(RIGS / "3.toml", tmp_path / "launch.toml"))


@pytest.fixture
def twelve(tmp_path) -> Path:
    return Path(shutil.copy(RIGS / "3-on-4.toml", tmp_path / "twelve.toml"))


def saved(path: Path):
    """The rig in a file."""
    return load_rig(path)


def test_the_twelve_to_one_from_an_empty_rope_on_a_phone(browser, rig_file, shots):
    browser.size(390, 844)
    with PageProcess("plan", rig_file) as serving:
        hand = Hand(browser, serving.link)
        hand.button(
            "tied to the anchor", "document.querySelectorAll('#ropes .station').length === 3"
        )
        hand.put("L1>team", "anchor", "Capture (progress capture) on", "C1")
        hand.put("C1>team", "anchor", "Pulley on", "A1")
        hand.put("A1>team", "load", "Pulley on", "L2")
        hand.put("L2>team", "Grab", "On the strand itself", "G1")
        hand.put("G1>team", "anchor", "Pulley on", "A2")
        hand.put("A2>team", "G1", "Pulley on", "T1")
        hand.save()
        browser.shot(shots / "rig-page-390.png")
        assert browser.js("return document.documentElement.scrollWidth") <= 390
    assert hand.touches < MOST_TWELVE
    rig = load_rig(rig_file)
    assert predict(rig)["ideal_ma"] == pytest.approx(12.0)
    assert [s.name for s in rig.stations] == [
        "anchor",
        "L1",
        "C1",
        "A1",
        "L2",
        "G1",
        "A2",
        "T1",
        "team",
    ]


def test_the_twelve_to_one_becomes_an_eighteen_to_one(browser, twelve):
    browser.size(390, 844)
    with PageProcess("plan", twelve) as serving:
        hand = Hand(browser, serving.link)
        hand.put("L1>C1", "Grab", "On the strand itself", "G2")
        hand.part("L2")
        hand.button(
            "G2",
            "document.getElementById('ropes').innerText.includes('pulley L2 on G2')",
            "Hangs on",
        )
        hand.save()
    assert hand.touches < MOST_EIGHTEEN
    assert predict(load_rig(twelve))["ideal_ma"] == pytest.approx(18.0)


@pytest.mark.many
def test_the_same_by_keyboard_alone_at_a_desk(browser, rig_file):
    """Enter counts as a touch, as a finger's; Tab only leads there."""
    browser.size(1280, 900)
    with PageProcess("plan", rig_file) as serving:
        hand = Hand(browser, serving.link)
        hand.enter(
            "document.querySelectorAll('#ropes .station').length === 3", "tied to the anchor"
        )
        for gap, label, group, part in (
            ("+ here", "anchor", "Capture (progress capture) on", "C1"),
            ("+ here", "anchor", "Pulley on", "A1"),
            ("+ here", "load", "Pulley on", "L2"),
            ("+ here", "Grab", "On the strand itself", "G1"),
            ("+ here", "anchor", "Pulley on", "A2"),
            ("+ here", "G1", "Pulley on", "T1"),
        ):
            hand.enter(f"{MENU}.includes('what comes here')", gap, last=True)
            assert browser.js(
                "return document.getElementById('menu').contains(document.activeElement)"
            )
            hand.enter(
                f"{MENU} === '' && document.getElementById('ropes').innerText.includes('{part}')"
                # the list has the focus back, at the place where the next part goes
                " && document.getElementById('ropes').contains(document.activeElement)",
                label,
                group,
            )
        hand.enter("document.getElementById('status').innerText === 'saved'", "Save")
    assert hand.touches < MOST_TWELVE
    assert predict(load_rig(rig_file))["ideal_ma"] == pytest.approx(12.0)


@pytest.mark.parametrize(("width", "height", "scheme"), SCREENS)
def test_axe_finds_nothing_serious(browser, twelve, width, height, scheme, shots):
    browser.size(width, height, scheme)
    with PageProcess("plan", twelve) as serving:
        hand = Hand(browser, serving.link)
        hand.part("A1")
        browser.js(AXE.read_text("utf-8") + "; window.axe = axe;")
        found = browser.driver.execute_async_script(
            "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']})"
            ".then(r => done(r.violations.filter(v => ['serious', 'critical'].includes(v.impact))"
            ".map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 120)).join(' | '))))"
        )
        browser.shot(shots / f"rig-page-{width}-{scheme}.png")
        assert browser.js("return document.documentElement.scrollWidth") <= width
        assert browser.console() == []
    assert found == []
