"""The plan page in a real browser, at a desk and on a phone."""

from pathlib import Path

import pytest
from support.places import DEMO
from support.processes import PageProcess
from support.waiting import until

import analysis

RIGS = Path(analysis.__file__).parent / "rigs"
# what a text covers on the screen, as the browser has set it
BOXES = """
return [...document.querySelectorAll('.rig:first-of-type .drawing svg text')].map(n => {
  const b = n.getBoundingClientRect(); return [n.textContent, b.left, b.top, b.right, b.bottom]; });
"""


@pytest.fixture(scope="module")
def page():
    with PageProcess("plan", DEMO) as serving:
        yield serving


@pytest.fixture(scope="module")
def pair():
    with PageProcess("plan", RIGS / "3-on-4.toml", RIGS / "3-redirect-own-anchor.toml") as serving:
        yield serving


def opened(browser, url) -> None:
    browser.open(url)
    until(lambda: browser.js("return haulTest.stats.drawings") > 0, 10, "the first drawing")


def settled(browser, before) -> None:
    """Until both the numbers and the drawing that belong to the last choice are there."""
    until(
        lambda: browser.js("return [haulTest.stats.plans, haulTest.stats.drawings]") > before,
        5,
        "an answer",
    )
    seen = None

    def still():
        nonlocal seen
        now = browser.js("return [haulTest.stats.plans, haulTest.stats.drawings]")
        same, seen = now == seen, now
        return same

    until(still, 5, "rest")


def act(browser, script, *args) -> None:
    before = browser.js("return [haulTest.stats.plans, haulTest.stats.drawings]")
    browser.js(script, *args)
    settled(browser, before)


def slide(browser, selector, value) -> None:
    act(browser, "const n = document.querySelector(arguments[0]); n.value = arguments[1];"
        "n.dispatchEvent(new Event('input'));", selector, str(value))  # fmt: skip


def figure(browser, name) -> str:
    return browser.js(f"return document.querySelector('[data-figure={name}]').textContent")


def test_the_slider_walks_the_job_in_drawing_and_words(browser, page, shots):
    browser.size(1280, 900, "light")
    opened(browser, page.url)
    text = lambda: browser.js("return document.querySelector('.frame-text').textContent")  # noqa: E731
    svg = lambda: browser.js("return document.querySelector('.drawing svg').outerHTML")  # noqa: E731
    first_text, first_svg = text(), svg()
    assert first_text.startswith("start")
    slide(browser, ".frame", 6)
    assert text().startswith("stroke 1: G2 has met the anchor: reset G2")
    assert svg() != first_svg
    browser.shot(shots / "plan-1280.png")
    slide(browser, ".frame", 7)
    assert "G2 is slid back" in text()
    assert "off the anchor" in browser.js(
        "return document.querySelector('.frame-more').textContent"
    )
    act(browser, "document.querySelector('.back').click()")
    assert text().startswith("stroke 1: G2 has met the anchor")
    assert browser.js("return document.documentElement.scrollWidth") <= 1280
    assert browser.console() == []


def test_the_keyboard_alone_walks_the_job(browser, page):
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    opened(browser, page.url)
    slider = browser.driver.find_element(By.CSS_SELECTOR, ".frame")
    slider.send_keys(Keys.ARROW_RIGHT, Keys.ARROW_RIGHT)
    until(
        lambda: "(3 of" in browser.js("return document.querySelector('.frame-text').textContent"),
        5,
        "step 3",
    )
    assert browser.js("return document.activeElement.className") == "frame"


def test_whatif_and_units_change_what_is_shown(browser, page):
    opened(browser, page.url)
    before, strand = (
        figure(browser, "ma"),
        "return document.querySelector('[data-tension=\"load>G1\"]').textContent",
    )
    own = browser.js(strand)
    slide(browser, "#e", 0.7)
    # (1 + e + e^2)^2 for a 3:1 on a 3:1 of four pulleys: geometric series, any textbook
    assert float(figure(browser, "ma").split()[0]) == pytest.approx((1 + 0.7 + 0.49) ** 2, abs=0.01)
    until(lambda: browser.js(strand) != own, 5, "the tension of the strand")
    assert "every pulley at 0.70" in browser.js(
        "return document.querySelector('.said').textContent"
    )
    act(browser, "document.getElementById('e-off').click()")
    assert figure(browser, "ma") == before
    newton = float(figure(browser, "haul").split()[0])
    act(browser, "document.querySelector('[value=us]').click()")
    pound, unit = float(figure(browser, "haul").split()[0]), figure(browser, "haul").split()[-1]
    assert unit == "lbf" and newton / pound == pytest.approx(4.448, rel=0.02)
    act(browser, "document.querySelector('[value=force]').click()")
    until(lambda: browser.js(strand).endswith("lbf"), 5, "the tension in pounds-force")
    assert browser.console() == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_a_phone_nothing_is_cut_and_everything_can_be_touched(
    browser, page, pair, shots, scheme
):
    browser.size(390, 844, scheme)
    for name, serving in (("one", page), ("two", pair)):
        opened(browser, serving.url)
        settled(browser, [0, 0])
        assert browser.js("return document.documentElement.scrollWidth") <= 390
        assert browser.js("return document.querySelector('.drawing svg').clientWidth") <= 390
        small = browser.js(
            "return [...document.querySelectorAll('button, input, a')].filter(n => n.offsetParent)"
            ".map(n => [n.textContent || n.id || n.className, n.getBoundingClientRect().width, n.getBoundingClientRect().height])"
            ".filter(n => n[1] < 44 || n[2] < 44)"
        )
        assert small == []
        cut = browser.js(
            "return [...document.querySelectorAll('.figure, td, th, li, button')].filter(n => n.offsetParent"
            " && n.scrollWidth > n.clientWidth + 1 && getComputedStyle(n).display !== 'inline').map(n => n.textContent)"
        )
        assert cut == []
        browser.shot(shots / f"plan-390-{name}-{scheme}.png")
    assert browser.console() == []


@pytest.mark.parametrize("width", [390, 1280])
def test_texts_of_the_drawing_do_not_touch_as_the_browser_sets_them(browser, page, width):
    """The layout reckons with estimated widths of type; here is the browser's own measure."""
    browser.size(width, 844, "light")
    opened(browser, page.url)
    for frame in (0, 6, 7, 20):
        slide(browser, ".frame", frame)
        boxes = browser.js(BOXES)
        assert len(boxes) > 15
        for k, (one, left, top, right, bottom) in enumerate(boxes):
            assert left >= 0 and right <= width, one
            for other, l2, t2, r2, b2 in boxes[:k]:
                wide, high = min(right, r2) - max(left, l2), min(bottom, b2) - max(top, t2)
                # a line of type is set with some air above and below its letters
                assert wide <= 1 or high <= 4, (one, other, wide, high)


def test_two_rigs_stand_side_by_side_and_below_each_other_on_a_phone(browser, pair):
    lefts = "return [...document.querySelectorAll('.rig')].map(n => [n.getBoundingClientRect().left, n.getBoundingClientRect().top])"
    browser.size(1280, 900)
    opened(browser, pair.url)
    (x0, y0), (x1, y1) = browser.js(lefts)
    assert x1 > x0 + 400 and abs(y0 - y1) < 2
    for words in ("rope through the hands", "rope needed", "hardware"):
        assert words in browser.text("compare")
    browser.size(390, 844)
    opened(browser, pair.url)
    (x0, y0), (x1, y1) = browser.js(lefts)
    assert x0 == x1 and y1 > y0 + 400


def test_a_fault_in_the_file_is_one_line_and_heals(browser, tmp_path):
    path = tmp_path / "rig.toml"
    good = DEMO.read_text("utf-8")
    path.write_text(good, "utf-8")
    fault = "const n = document.querySelector('.fault'); return n.hidden ? '' : n.textContent"
    with PageProcess("plan", path) as serving:
        opened(browser, serving.url)
        path.write_text(good.replace("[anchor]", "[ancor]"), "utf-8")
        browser.js("document.getElementById('again').click()")
        said = until(lambda: browser.js(fault), 5, "the fault")
        assert "ancor" in said
        assert browser.js("return document.querySelector('.content').offsetParent") is None
        path.write_text(good, "utf-8")
        browser.js("document.getElementById('again').click()")
        until(lambda: not browser.js(fault), 5, "no fault")
        assert browser.js("return document.querySelector('.content').offsetParent") is not None
        serving.process.kill()
        browser.js("document.getElementById('again').click()")
        until(lambda: "No answer" in browser.text("plan-fault"), 5, "a server that is gone is said")


@pytest.mark.many
def test_hostile_text_of_a_file_stays_text(browser, tmp_path):
    hostile = "<img src=x onerror=window.broken=1>"
    path = tmp_path / "rig.toml"
    text = (
        DEMO.read_text("utf-8")
        .replace('title = "', f'title = "{hostile}')
        .replace("T1", "<b>T1</b>")
    )
    path.write_text(
        text.replace("[pulley.<b>T1</b>]", '[pulley."<b>T1</b>"]').replace(">", "⟩"), "utf-8"
    )
    hostile_name = "<b⟩T1</b⟩"  # a name may hold no ">", so this is the worst that can come
    with PageProcess("plan", path) as serving:
        opened(browser, serving.url)
        assert hostile.replace(">", "⟩") in browser.js(
            "return document.querySelector('h1').textContent"
        )
        names = browser.js(
            "return [...document.querySelectorAll('[data-element]')].map(n => n.dataset.element)"
        )
        assert hostile_name in names
        assert browser.js("return document.querySelectorAll('img, .drawing b').length") == 0
        assert browser.js("return window.broken") is None
    path.write_text(DEMO.read_text("utf-8").replace('note = "', f'note = "{hostile}'), "utf-8")
    with PageProcess("plan", path) as serving:
        opened(browser, serving.url)
        assert hostile in browser.js("return document.querySelector('.said').textContent")
        assert browser.js("return document.querySelectorAll('img').length") == 0
        assert browser.console() == []
