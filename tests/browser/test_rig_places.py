"""Cells, captures and grabs at their places on the rig page: by a thumb on a phone, by keys at a desk."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from browser.test_rig_page import DRAWN, MENU
from browser.test_rig_questions import JOB, RIGS, CalmHand
from selenium.webdriver.common.keys import Keys
from support.channels import saved_at
from support.page_checks import assert_fits
from support.processes import PageProcess
from support.rigs import three_to_one
from support.waiting import until

pytestmark = pytest.mark.many  # further ways through pages that other tests open

PHONE, DESK = 390, 1280  # px
SENSORS = """# by the winch
[[channel]]
name = "haul_cell"
quantity = "force"
at = "haul"
port = "udp://127.0.0.1:47001"
format = "xdr"
id = "HAUL"
unit = "N"
"""
CELLS = "(document.getElementById('cells')?.innerText ?? '')"
LINES = "(document.getElementById('places')?.innerText ?? '')"
DRAWN_HOLDS = "document.querySelectorAll('#drawing .would-hold').length"
WITHIN_S = 90  # for a search of grabs' places, on a busy machine


class YardHand(CalmHand):
    """The hand on the rig page of a desk."""

    def __init__(self, browser, link: str) -> None:
        self.browser = browser
        self.touches = 0
        browser.open(link.replace("/#", "/rig/launch/#"))
        until(lambda: browser.js(f"return {DRAWN}"), 40, "the drawing, as wide as its place")


@pytest.fixture
def yard(tmp_path) -> Path:
    """A boatyard's folder: a rig that is rated for its job, and a sensors file."""
    job = "resistance_N = 900.0\npull_distance_m = 8.0\n"
    (tmp_path / "launch.toml").write_text(three_to_one(job), "utf-8")
    (tmp_path / "loggers.toml").write_text(SENSORS, "utf-8")
    return tmp_path


@pytest.fixture
def launch(tmp_path) -> Path:
    """A rig with two grabs, for `haul plan`."""
    text = (RIGS / "3-on-4.toml").read_text("utf-8")
    path = tmp_path / "launch.toml"
    path.write_text(text + JOB, "utf-8")
    return path


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_a_phone_a_cell_is_put_at_a_strand_and_back(browser, yard, scheme, shots):
    browser.size(PHONE, 844, scheme)
    with PageProcess("desk", yard) as serving:
        hand = YardHand(browser, serving.link)
        assert browser.js(f"return {CELLS}") == "haul_cell: at the haul strand"
        hand.strand("C1>A1")
        hand.button(
            "haul_cell, now at haul", f"{CELLS}.endsWith('from C1 to A1')", "Load cell here"
        )
        assert saved_at(yard) == "C1>A1"
        assert browser.js("return !!document.querySelector('#drawing [data-cell=haul_cell]')")
        browser.shot(shots / f"rig-cell-{PHONE}-{scheme}.png")
        assert_fits(browser, "a cell's menu")
        hand.button("haul_cell back to haul", f"{CELLS}.endsWith('haul strand')", "Load cell here")
        assert saved_at(yard) == "haul"
        hand.close()
        # a touch on the sign is a touch on the strand that it measures
        sign = "return document.querySelector('#drawing [data-cell=haul_cell]')"
        hand.tap(f"{MENU}.startsWith('Strand T1 to')", sign)
        assert browser.console() == []


def test_at_a_desk_a_cell_is_put_at_a_strand_by_keys(browser, yard, shots):
    browser.size(DESK, 900)
    with PageProcess("desk", yard) as serving:
        hand = YardHand(browser, serving.link)
        hand.enter(f"{MENU}.startsWith('Strand load to')", "+ here")
        hand.enter(
            f"{CELLS}.endsWith('from load to G1')", "haul_cell, now at haul", "Load cell here"
        )
        assert saved_at(yard) == "load>G1"
        browser.shot(shots / f"rig-cell-{DESK}.png")


def test_one_undo_takes_back_the_cell_that_was_put_last(browser, yard):
    browser.size(PHONE, 844)
    with PageProcess("desk", yard) as serving:
        hand = YardHand(browser, serving.link)
        hand.strand("C1>A1")
        hand.button(
            "haul_cell, now at haul", f"{CELLS}.endsWith('from C1 to A1')", "Load cell here"
        )
        hand.close()
        said = "document.getElementById('said').innerText"
        hand.button("Undo", f"{CELLS}.endsWith('haul strand')")
        assert saved_at(yard) == "haul"
        assert browser.js(f"return {said}") == "Undone: haul_cell sits at the haul strand again."
        hand.button("Redo", f"{CELLS}.endsWith('from C1 to A1')")
        assert saved_at(yard) == "C1>A1"
        assert browser.console() == []


def test_without_sensors_the_menu_leads_to_the_sensors_page(browser, yard):
    (yard / "loggers.toml").unlink()
    browser.size(PHONE, 844)
    with PageProcess("desk", yard) as serving:
        hand = YardHand(browser, serving.link)
        hand.strand("C1>A1")
        assert "The folder has no sensors file yet." in browser.js(f"return {MENU}")
        hand.tap("location.pathname === '/sensors/'", "return document.querySelector('#menu a')")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_a_phone_the_drawing_shows_where_a_capture_would_hold(browser, yard, scheme, shots):
    browser.size(PHONE, 844, scheme)
    with PageProcess("desk", yard) as serving:
        hand = YardHand(browser, serving.link)
        hand.button("Where would a capture hold?", f"{DRAWN_HOLDS} > 0")
        words = browser.js("return document.querySelector('#drawing svg').textContent")
        assert "holds" in words and "not here" in words  # never by colour alone
        assert "of rope" in browser.js(f"return {LINES}")
        browser.js("document.getElementById('drawing').scrollIntoView()")
        browser.shot(shots / f"rig-captures-{PHONE}-{scheme}.png")
        assert_fits(browser, "where a capture would hold")
        hand.strand("C1>A1")
        assert "On anchor: holds the load; carries" in browser.js(f"return {MENU}")
        browser.shot(shots / f"rig-capture-menu-{PHONE}-{scheme}.png")
        assert_fits(browser, "a strand's menu")
        hand.close()
        hand.button("Where would a capture hold?", f"{DRAWN_HOLDS} === 0")
        assert browser.console() == []


def test_at_a_desk_the_same_by_keys(browser, launch, shots):
    browser.size(DESK, 900)
    with PageProcess("plan", launch) as serving:
        hand = CalmHand(browser, serving.link)
        hand.enter(f"{DRAWN_HOLDS} > 0", "Where would a capture hold?")
        pressed = "document.activeElement.getAttribute('aria-pressed')"
        assert browser.js(f"return {pressed}") == "true"  # the focus stays on the switch
        browser.shot(shots / f"rig-captures-{DESK}.png")
        assert_fits(browser, "where a capture would hold")
        browser.driver.switch_to.active_element.send_keys(Keys.ENTER)
        until(lambda: browser.js(f"return {DRAWN_HOLDS} === 0"), 40, "the switch is off")


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_places_of_the_grabs_are_asked_taken_and_undone(browser, yard, width, shots):
    path = yard / "launch.toml"
    browser.size(width, 844)
    with PageProcess("plan", path) as serving:
        hand = CalmHand(browser, serving.link)
        if width == PHONE:
            hand.button("Where should grabs sit?", f"{MENU} !== ''")
        else:
            hand.enter(f"{MENU} !== ''", "Where should grabs sit?")
        use = f"{MENU}.includes('Use it')"
        until(lambda: browser.js(f"return {use}"), WITHIN_S, "the places")
        shown = browser.js(f"return {MENU}")
        assert "1.00 m more of each rope" in shown and "resets" in shown
        browser.shot(shots / f"rig-grabs-{width}.png")
        assert_fits(browser, "the places of grabs")
        if width == PHONE:
            hand.button("Use it", f"{MENU} === ''")
        else:
            hand.enter(f"{MENU} === ''", "Use it")
        hand.save()
        station = tomllib.loads(path.read_text("utf-8"))["rope"][0]["path"][1]
        assert station["grab"] == "G1" and station["at_m"] != 9.0
        hand.button("Undo", "document.getElementById('status').innerText.startsWith('not saved')")
        hand.save()
    station = tomllib.loads(path.read_text("utf-8"))["rope"][0]["path"][1]
    assert station["at_m"] == 9.0
