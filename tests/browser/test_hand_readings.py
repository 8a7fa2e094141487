"""An operator enters numbers by hand on the live page; they become readings at the moment of the touch."""

from __future__ import annotations

import pytest
from support.channels import channel
from support.processes import SENSORS, RecordedHaul
from support.waiting import until

from logger.session.reader import read_all

pytestmark = pytest.mark.many  # further ways through pages that other tests open

HAND = channel("stake", "length", at="load", port="hand:", unit="ft")


@pytest.fixture
def haul(tmp_path):
    with RecordedHaul(tmp_path, sensors=SENSORS + HAND) as running:
        yield running


def entered(haul):
    readings = read_all(haul.out).readings["stake"]
    return list(zip(readings.time_s.tolist(), readings.reading.tolist(), strict=True))


def type_in(browser, text):
    browser.js(
        "const field = document.getElementById('number-0'); field.value = arguments[0];"
        "document.getElementById('enter-0').click()", text,
    )  # fmt: skip


def test_a_number_is_a_reading_in_the_channels_unit_at_the_moment_of_the_touch(browser, haul):
    browser.size(390, 844)
    browser.open(haul.link)
    until(lambda: browser.js("return !!document.getElementById('number-0')"), 8, "the field")
    assert (
        browser.js("return document.querySelector('label[for=number-0]').innerText") == "stake, ft"
    )
    assert browser.js("return document.getElementById('number-0').inputMode") == "decimal"
    assert browser.js("return document.documentElement.scrollWidth") <= 390
    small = browser.js(
        "return [...document.querySelectorAll('#hands button, #hands input')].filter(n => n.offsetParent)"
        ".map(n => [n.id, n.getBoundingClientRect().height]).filter(n => n[1] < 44)"
    )  # WCAG 2.2, 2.5.5: targets of 44 px
    assert small == []
    until(lambda: read_all(haul.out).clock, 8, "a row of the clock")
    before = read_all(haul.out).clock[-1].time_s
    type_in(browser, "12,5")  # the decimal mark of many keyboards
    until(
        lambda: (
            "stake 12,5 ft: " in browser.text("hands-said")
            and "sent" not in browser.text("hands-said")
        ),
        5,
        "an answer",
    )
    assert browser.text("hands-said") == "stake 12,5 ft: taken"
    until(lambda: entered(haul), 5, "the reading")
    until(lambda: "stake 12.5 ft" in browser.text("events"), 3, "the number among what happened")
    after = until(
        lambda: next(
            (row.time_s for row in read_all(haul.out).clock if row.time_s > entered(haul)[0][0]),
            None,
        )
    )
    ((time_s, reading),) = entered(haul)
    assert reading == 12.5 and before <= time_s <= after
    type_in(browser, "-3")
    until(lambda: [row[1] for row in entered(haul)] == [12.5, -3.0], 5, "the second reading")
    assert browser.console() == []


def test_what_is_no_number_goes_nowhere(browser, haul):
    browser.size(1280, 900)
    for typed in ("", "12.5 ft", "1,234", "1e5", "<b>7</b>", "--2", "."):
        browser.open(haul.link)
        until(lambda: browser.js("return !!document.getElementById('number-0')"), 8, "the field")
        type_in(browser, typed)
        until(lambda: "NOT TAKEN" in browser.text("hands-said"), 3, f"{typed!r} refused")
        assert browser.js("return document.querySelectorAll('#hands b').length") == 0, typed
        assert not list((haul.out / "inbox").iterdir()), typed
    assert entered(haul) == []


def test_who_looks_on_enters_nothing(browser, haul):
    browser.size(1280, 900)
    browser.open(haul.url)
    until(
        lambda: browser.js("return document.documentElement.dataset.role") == "viewer",
        8,
        "a viewer",
    )
    assert not browser.js("return document.getElementById('hands').offsetParent")
