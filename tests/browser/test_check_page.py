"""The check before the pull in a real browser, with a device on a pseudo-terminal: list, overruling, start."""

from __future__ import annotations

import os
import re
import signal

import pytest
from support.page_checks import assert_fits
from support.processes import RIG, SENSORS, CommandedDevice, PageProcess
from support.screens import SCREENS
from support.waiting import until

from dashboard.desk.folder import running

WITHIN_S = 20
STATES = "return [...document.querySelectorAll('.check')].map(n => n.querySelector('.word').innerText.slice(2))"


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    """A folder with a rig, a device that sends, and its desk."""
    folder = tmp_path_factory.mktemp("check")
    device = CommandedDevice()
    (folder / "launch.toml").write_text(RIG, "utf-8")
    (folder / "loggers.toml").write_text(SENSORS.replace("{port}", device.port), "utf-8")
    with PageProcess("desk", folder) as desk:
        desk.folder, desk.device = folder, device
        yield desk
    if running(folder) is not None:
        said = (folder / ".desk" / "recorder.log").read_text("utf-8")
        os.kill(int(re.search(r"kill ([0-9]+)", said)[1]), signal.SIGTERM)
        until(lambda: running(folder) is None, 20, "the recorder's end")
    device.close()


def come(browser, desk) -> None:
    """The check page, open for its operator, with every line answered."""
    browser.open(desk.link)
    until(
        lambda: browser.js("return location.hash === '' && !!document.getElementById('page')"),
        WITHIN_S,
        "in",
    )
    browser.open(f"{desk.url}check/")
    until(
        lambda: browser.js("return document.querySelectorAll('.check').length") > 6,
        WITHIN_S,
        "the list",
    )
    until(lambda: "wait" not in browser.js(STATES), WITHIN_S, "every line answered")


def press(browser, label: str) -> bool:
    """Touch the first visible button with this label; whether there is one."""
    return browser.js(
        "const n = [...document.querySelectorAll('button, a')].find(b => b.innerText === arguments[0] && b.checkVisibility());"
        "if (n) { n.scrollIntoView({block: 'center'}); n.click(); } return !!n",
        label,
    )


def settled(browser) -> None:
    """Confirm and overrule all that the list asks for, each with a word."""
    for _ in range(20):
        states = browser.js(STATES)
        if press(browser, "Seen") or press(browser, "It is so"):
            before = states.count("to be confirmed")
            until(
                lambda b=before: browser.js(STATES).count("to be confirmed") < b,
                WITHIN_S,
                "confirmed",
            )
        elif press(browser, "Go on without it"):
            before = states.count("missing")
            until(
                lambda: browser.js("return !document.getElementById('why').hidden"),
                WITHIN_S,
                "why?",
            )
            assert press(browser, "seen to by hand")
            until(lambda b=before: browser.js(STATES).count("missing") < b, WITHIN_S, "overruled")
        else:
            return
    raise AssertionError(browser.js(STATES))


def assert_no_fault(browser, where: str) -> None:
    """No sideways scrolling, nothing serious for axe-core, every button large enough for a glove."""
    assert_fits(browser, where)
    small = browser.js(
        "return [...document.querySelectorAll('button, input')].filter(n => n.checkVisibility())"
        ".map(n => [n.innerText, n.getBoundingClientRect().height]).filter(n => n[1] < 44)"
    )
    assert small == [], f"{where}: {small}"


@pytest.mark.parametrize(("width", "height", "scheme"), SCREENS)
def test_the_list_fills_itself_and_fits(browser, yard, shots, width, height, scheme):
    yard.device.force_N = 12.0
    browser.size(width, height, scheme)
    come(browser, yard)
    text = browser.text("lines")
    until(
        lambda: "12.0 N (12.0 N sent" in browser.text("lines"),
        WITHIN_S,
        "the number that it sends now",
    )
    assert "not taken: what the device sends with nothing on it" in text
    assert "stop 800 N (the device sends 800 N)" in text
    assert "left:" in browser.text("left") and "Where people stand" in browser.text("left") + text
    browser.shot(shots / f"check-{width}-{scheme}.png")
    browser.js("window.scrollTo(0, 700)")
    browser.shot(shots / f"check-below-{width}-{scheme}.png")
    assert_no_fault(browser, "check")
    assert press(browser, "Go on without it")
    until(lambda: browser.js("return !document.getElementById('why').hidden"), WITHIN_S, "why?")
    assert browser.js("return document.getElementById('why').contains(document.activeElement)")
    browser.shot(shots / f"check-why-{width}-{scheme}.png")
    assert_no_fault(browser, "why")
    browser._cdp("Input.dispatchKeyEvent", type="keyDown", key="Escape")
    browser._cdp("Input.dispatchKeyEvent", type="keyUp", key="Escape")
    until(
        lambda: browser.js("return document.getElementById('why').hidden"),
        WITHIN_S,
        "left as it is",
    )
    assert browser.console() == []


def test_a_viewer_sees_the_list_and_has_no_button(browser, yard):
    browser.size(390, 844)
    browser.driver.get(yard.url)
    browser.driver.delete_all_cookies()
    browser.open(f"{yard.url}check/")
    until(lambda: "Where people stand" in browser.text("lines"), WITHIN_S, "the list")
    assert (
        browser.js(
            "return [...document.querySelectorAll('button')].filter(b => b.checkVisibility()).length"
        )
        == 0
    )
    # who looks opens no port, and what was heard before is no number of now
    until(lambda: "not listened to" in browser.text("lines"), WITHIN_S, "no number")
    assert browser.console() == []


def test_check_overrule_start_and_the_haul_is_found(browser, yard, shots):
    browser.size(390, 844, "light")
    come(browser, yard)
    # not before everything is answered
    assert press(browser, "Start recording")
    until(lambda: "not yet" in browser.text("said"), WITHIN_S, "refused")
    assert running(yard.folder) is None
    settled(browser)
    until(lambda: "Nothing is left" in browser.text("left"), WITHIN_S, "nothing left")
    browser.shot(shots / "check-ready-390.png")
    assert press(browser, "Start recording")
    until(
        lambda: browser.js("return location.pathname.startsWith('/s/')"), WITHIN_S, "the live page"
    )
    name = until(lambda: running(yard.folder), WITHIN_S, "the session")
    until(lambda: browser.text("tension").strip(), WITHIN_S, "the live page runs")
    rows = [
        row.split(",", 5)
        for row in (yard.folder / name / "events.csv").read_text("utf-8").splitlines()
    ]
    texts = [row[5] for row in rows if row[2] == "override"]
    assert any("Zero of haul_force" in text and "seen to by hand" in text for text in texts), texts
    # another look at the check leads there too, and nothing can be started beside it
    browser.open(f"{yard.url}check/")
    until(lambda: "is being recorded" in browser.text("lines"), WITHIN_S, "what goes on")
    assert not browser.js("return document.getElementById('foot').checkVisibility()")
    assert_no_fault(browser, "check while recording")
