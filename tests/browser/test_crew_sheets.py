"""The crew's card and the list of moves on paper: Chromium prints them."""

import pytest
from support.paper_pages import PAPER_PT, pages, printed, size
from support.places import SHELF

from analysis.conversion.convert import convert
from analysis.rig_file.load import load_rig
from dashboard.export.conversion_html import conversion_page
from dashboard.export.crew_card import crew_card
from dashboard.text.units import SYSTEMS

pytestmark = pytest.mark.many  # further screens, units and paper of pages that other tests open

TEXTS = {path.stem: path.read_text("utf-8") for path in SHELF}
DEMO = SHELF[0].parents[1] / "demo" / "rig.toml"
# the demo has the most to say; of the shelf the tallest drawing, the widest one, and two ropes
CARDS = [DEMO, *(path for path in SHELF if path.stem in ("3-on-3-on-3", "complex-5", "5-second-rope"))]  # fmt: skip


@pytest.mark.parametrize(
    "units",
    [name if name == "metric" else pytest.param(name, marks=pytest.mark.many) for name in SYSTEMS],
)
@pytest.mark.parametrize("rig", CARDS, ids=lambda path: path.stem)
def test_a_card_is_one_page_of_a4(tmp_path, rig, units):
    pdf = printed(crew_card(load_rig(rig), SYSTEMS[units]), tmp_path, "A4")
    assert pages(pdf) == 1
    assert all(abs(a - b) <= 1 for a, b in zip(size(pdf), PAPER_PT["A4"], strict=True))


@pytest.mark.parametrize("pair", [("3-on-4", "3-on-3-on-2"), ("3-on-3-on-2", "3-on-4")])
def test_twelve_and_eighteen_to_one_take_one_page(tmp_path, pair):
    a, b = (TEXTS[name] for name in pair)
    assert pages(printed(conversion_page(convert(a, b), a, b), tmp_path, "A4")) == 1


@pytest.mark.parametrize("width", [390, 1280])
def test_on_a_screen_nothing_sticks_out(tmp_path, browser, width, shots):
    a, b = TEXTS["3-on-4"], TEXTS["3-on-3-on-2"]
    sheets = {
        "moves": conversion_page(convert(a, b), a, b),
        "card": crew_card(load_rig(DEMO)),
    }
    for name, html in sheets.items():
        (tmp_path / f"{name}.html").write_text(html, "utf-8")
        browser.size(width, 900, "light")
        browser.open((tmp_path / f"{name}.html").as_uri())
        assert browser.js("return document.documentElement.scrollWidth") <= width
        browser.shot(shots / f"{name}-{width}.png")
