"""A finger on the sensors page in a real browser: what it may touch, and the devices that lie before it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from support.emulated_devices import CATALOGUE
from support.waiting import until

CELL = replace(CATALOGUE["unit in brackets"], rate_hz=20.0)  # F[kN]=1.234
COUNTER = replace(CATALOGUE["bare number"], rate_hz=20.0)  # a number alone, at another rate
WITHIN_S = 40.0  # for what takes a second on a quiet machine
STEP = "document.getElementById('step').innerText"
BUTTON = "return [...document.querySelectorAll('main button')].find(b => b.checkVisibility() && b.innerText.startsWith(arguments[0]) && !b.disabled)"
FIELD = "return [...document.querySelectorAll('main label')].find(l => l.checkVisibility() && l.innerText.startsWith(arguments[0]))?.querySelector('input')"
NUMBER = (
    "return [...document.querySelectorAll('.port')].find(p => p.innerText.includes(arguments[0]))"
    "?.querySelector('.lines')?.lastElementChild?.querySelector('button')"
)


class SensorsFinger:
    """Touches the sensors page, or presses Enter on it, and counts; typing into a field counts as the touch on it."""

    def __init__(self, browser: Any, url: str) -> None:
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

    def touch(self, script: str, *args: Any) -> None:
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
