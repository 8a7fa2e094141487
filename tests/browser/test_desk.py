"""The desk in a real browser: home on an empty folder and on one with a haul, phone and screen, light and dark."""

from __future__ import annotations

import pytest
from support.page_checks import assert_fits
from support.processes import PageProcess, end, start_haul
from support.screens import SCREENS
from support.sealed_sessions import made as sealed_session
from support.waiting import until

from analysis.simulation.demo_haul import demo_text
from dashboard.desk.virtual import virtual_ports

SHOWN = "return !!document.querySelector('#body .tile')"
STRIP = ["Sensors", "Rig", "Check", "Haul", "Result", "Sessions"]
WITHIN_S = 40  # for a page to build, on a busy machine


def go(browser, address: str, ready: str = SHOWN) -> None:
    """Open a page of the desk and wait until it is built."""
    browser.open(address)
    until(lambda: browser.js(ready), WITHIN_S, f"the page {address}")


def press(browser, label: str) -> None:
    """Touch the first button or link with this label."""
    found = browser.js(
        "const n = [...document.querySelectorAll('main button, main a')].find(b => b.innerText.startsWith(arguments[0]));"
        "if (n) { n.scrollIntoView({block: 'center'}); n.click(); } return !!n",
        label,
    )
    assert found, label


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    with PageProcess("desk", tmp_path_factory.mktemp("boatyard")) as desk:
        yield desk


@pytest.fixture(scope="module")
def stocked(tmp_path_factory):
    """A folder with two rigs, one of them unable to work, sensors, and a sealed haul."""
    folder = tmp_path_factory.mktemp("slipway")
    (folder / "launch.toml").write_text(demo_text("rig.toml"), "utf-8")
    (folder / "broken.toml").write_text(
        demo_text("rig.toml")
        .replace("anchor_to_load_m", "anchor_to_lode_m")
        .replace("Launch", "Sill"),
        "utf-8",
    )
    (folder / "loggers.toml").write_text(demo_text("sensors.toml"), "utf-8")
    sealed_session(folder / "haul one")
    with PageProcess("desk", folder) as desk:
        yield desk


@pytest.mark.parametrize(("width", "height", "scheme"), SCREENS)
def test_home_of_an_empty_folder_says_what_to_do(browser, empty, shots, width, height, scheme):
    browser.size(width, height, scheme)
    go(browser, empty.link)
    until(
        lambda: "Try it with virtual devices" in browser.text("body"),
        WITHIN_S,
        "the operator's button",
    )
    text = browser.text("body")
    assert "Plug a device in, or try it with virtual ones" in text
    assert [a.split("\n")[0].strip() for a in browser.js(
        "return [...document.querySelectorAll('#strip li a')].map(a => a.innerText)")] == STRIP  # fmt: skip
    browser.shot(shots / f"home-empty-{width}-{scheme}.png")
    assert_fits(browser, "home, empty")
    # the next thing to do is the biggest thing there, and on the first screen
    big = browser.js(
        "const b = document.querySelector('.go.main').getBoundingClientRect(); return [b.height, b.bottom]"
    )
    assert big[0] >= 70 and big[1] <= height


@pytest.mark.parametrize(("width", "height", "scheme"), SCREENS)
def test_home_of_a_folder_with_a_haul(browser, stocked, shots, width, height, scheme):
    browser.size(width, height, scheme)
    go(browser, stocked.link)
    until(lambda: "advantage" in browser.text("body") and "is read now" not in browser.text("body"),
          WITHIN_S, "the last haul's advantage")  # fmt: skip
    until(lambda: browser.js("return document.querySelectorAll('.rig-card svg').length") == 1,
          WITHIN_S, "the drawing")  # fmt: skip
    text = browser.text("body")
    assert "haul one" in text and ": 1 with friction" in text
    assert "anchor_to_lode_m" in text  # what is wrong stands on the card
    browser.shot(shots / f"home-{width}-{scheme}.png")
    browser.js("window.scrollTo(0, document.body.scrollHeight)")
    browser.shot(shots / f"home-below-{width}-{scheme}.png")
    assert_fits(browser, "home")
    go(browser, f"{stocked.url}rig/")
    assert_fits(browser, "rigs")
    browser.shot(shots / f"rigs-{width}-{scheme}.png")
    go(browser, f"{stocked.url}rig/launch/", "return !!document.querySelector('#drawing svg')")
    assert_fits(browser, "rig")
    browser.shot(shots / f"rig-{width}-{scheme}.png")
    for name, ready in (
        ("sensors", "#strip a[aria-current]"),
        ("check", "main section"),
        ("result", "main"),
        ("sessions", "main"),
    ):
        go(browser, f"{stocked.url}{name}/", f"return !!document.querySelector('{ready}')")
        browser.steady("return document.body.innerText.length")
        browser.shot(shots / f"{name}-{width}-{scheme}.png")
        assert_fits(browser, name)
    go(browser, f"{stocked.url}haul/", "return !!document.querySelector('main .go')")
    assert_fits(browser, "no haul")
    browser.shot(shots / f"haul-none-{width}-{scheme}.png")


def test_a_viewer_sees_all_and_has_no_button(browser, stocked):
    browser.size(1280, 800)
    browser.driver.get(stocked.url)
    browser.driver.delete_all_cookies()
    go(browser, stocked.url)
    assert "launch" in browser.text("body").lower()
    assert browser.js("return document.querySelectorAll('#body button').length") == 0
    assert not browser.js("return document.getElementById('fresh').checkVisibility()")


def test_a_new_rig_by_touch_without_typing(browser, stocked):
    browser.size(390, 844)
    go(browser, stocked.link)
    until(
        lambda: browser.js("return document.getElementById('fresh').checkVisibility()"),
        WITHIN_S,
        "the form",
    )
    press(browser, "tied to the load")
    until(
        lambda: browser.js("return location.pathname") == "/rig/rope/",
        WITHIN_S,
        "the new rig's page",
    )
    until(
        lambda: browser.js("return !!document.querySelector('#drawing svg')"),
        WITHIN_S,
        "its drawing",
    )
    assert "haul" in browser.text("strip")
    browser.js("history.back()")


def test_the_first_haul_with_virtual_devices(browser, tmp_path, shots):
    """From an empty folder: devices by a touch, a recording, its live page with the strip, numbers on the home page."""
    with PageProcess("desk", tmp_path) as desk:
        browser.size(390, 844, "light")
        go(browser, desk.link)
        until(lambda: "Try it with virtual devices" in browser.text("body"), WITHIN_S, "the button")
        press(browser, "Try it with virtual devices")
        until(lambda: len(virtual_ports(tmp_path)) == 2, WITHIN_S, "both ports")
        until(
            lambda: "check everything before the pull" in browser.text("next-text"),
            WITHIN_S,
            "the next step",
        )
        recorder = start_haul("record", tmp_path / "virtual launch.toml", tmp_path / "virtual devices.toml",
                              "--out", tmp_path / "first haul")  # fmt: skip
        try:
            until(
                lambda: "is being recorded" in browser.text("next-text"),
                WITHIN_S,
                "the recording on the home page",
            )
            until(lambda: browser.js("return [...document.querySelectorAll('.channels strong')]"
                                     ".some(n => /[0-9] (N|kN)/.test(n.innerText))"), WITHIN_S, "a live force")  # fmt: skip
            browser.shot(shots / "home-recording-390.png")
            assert_fits(browser, "home, recording")
            press(browser, "Look at the haul")
            until(
                lambda: browser.js("return location.pathname") == "/s/first%20haul/",
                WITHIN_S,
                "the live page",
            )
            until(lambda: "HAULING" in browser.text("state"), WITHIN_S, "the launch hauled")
            browser.shot(shots / "live-390.png")
            assert_fits(browser, "live")
            browser.size(1280, 800, "dark")
            browser.updated(2)
            browser.shot(shots / "live-1280.png")
            assert_fits(browser, "live, dark")
        finally:
            end(recorder)
        browser.size(1280, 800, "light")
        go(browser, desk.url)
        until(
            lambda: "being recorded" not in browser.text("body"),
            WITHIN_S,
            "the end on the home page",
        )
        browser.shot(shots / "home-after-1280.png")
    assert virtual_ports(tmp_path) == []
