"""A person on the pages of a desk: goes to a page, touches a button by its label, types into a field by its label."""

from __future__ import annotations

from typing import Any

from selenium.webdriver.common.keys import Keys

from support.page_checks import assert_fits
from support.processes import PageProcess
from support.waiting import until

SIZES = ((390, 844), (1280, 900))  # px: a phone, a screen
WITHIN_S = 5.0  # until a touch shows, on a quiet machine
SHOWN = "(document.getElementById('page')?.innerText ?? '')"
# all words of the page, also those that are folded away
WORDS = "(document.getElementById('page')?.textContent ?? '')"
_LABELLED = (
    "[...document.querySelectorAll('button, a')].find(b => b.checkVisibility() && !b.disabled"
    " && b.innerText.startsWith(arguments[0]) && (!arguments[1] || b.closest(arguments[1])))"
)
_FIELD = (
    "[...document.querySelectorAll('label')].find(l => l.checkVisibility() && l.innerText.startsWith(arguments[0])"
    " && (!arguments[1] || l.closest(arguments[1])))?.querySelector('input')"
)


def until_on_page(browser: Any, then: str, within_s: float = WITHIN_S) -> None:
    """Wait until a script's expression holds on the page; the failure tells what the page shows."""
    try:
        until(lambda: browser.js(f"return {then}"), within_s, then)
    except AssertionError as error:
        raise AssertionError(f"{error}; the page shows {browser.text('page')!r}") from None


class PageHand:
    """Touches the pages of a desk as their operator."""

    def __init__(self, browser: Any, desk: PageProcess) -> None:
        self.browser, self.desk = browser, desk
        browser.size(*SIZES[1])
        browser.open(desk.link)
        self.wait("location.hash === '' && !!document.getElementById('page')")

    def go(self, page: str, ready: str = "true") -> None:
        """Open a page of the desk, and wait until `ready` holds on it."""
        self.browser.open(self.desk.url + page)
        self.wait(f"!!document.getElementById('page') && {ready}")

    def wait(self, then: str) -> None:
        """Wait until `then` holds on the page."""
        until_on_page(self.browser, then)

    def says(self, *texts: str, within: str = WORDS) -> None:
        """Wait until the page has all these texts."""
        for text in texts:
            self.wait(f"{within}.includes({text!r})")

    def silent(self, *texts: str) -> None:
        """Wait until the page has none of these texts."""
        for text in texts:
            self.wait(f"!{WORDS}.includes({text!r})")

    def press(self, label: str, *says: str, within: str = "") -> None:
        """Touch the button that begins with this label, in the place of this selector; wait for texts."""
        self.wait(f"!!({_with(_LABELLED, label, within)})")
        self.browser.js(f"{_with(_LABELLED, label, within)}.click()")
        self.says(*says)

    def write(self, label: str, text: str, *says: str, within: str = "") -> None:
        """Type into the field of this label, in place of what stands there, and press Enter; wait for texts."""
        self.wait(f"!!({_with(_FIELD, label, within)})")
        # at rest: a list that is drawn anew takes the field away
        self.browser.steady("return document.getElementById('page').innerHTML.length")
        self.browser.js(f"const n = {_with(_FIELD, label, within)}; n.focus(); n.select();")
        self.browser.driver.switch_to.active_element.send_keys(Keys.BACKSPACE + text + Keys.ENTER)
        self.says(*says)

    def fits(self, where: str) -> None:
        """Nothing is too wide and nothing serious for axe-core, at both sizes and in both themes."""
        for width, height in SIZES:
            for scheme in ("light", "dark"):
                self.browser.size(width, height, scheme)
                self.browser.steady("return document.documentElement.scrollWidth")
                assert_fits(self.browser, f"{where}, {width}, {scheme}")
        self.browser.size(*SIZES[1])


def _with(script: str, label: str, within: str) -> str:
    return script.replace("arguments[0]", repr(label)).replace("arguments[1]", repr(within))
