"""The printable list of moves: valid, asks for nothing, says what the JSON says, a drawing after each move."""

import json
import re

import pytest
from support.paper_pages import Seen, check_asks_for_nothing, check_valid
from support.places import SHELF

from analysis.conversion.convert import convert
from dashboard.export.conversion_html import conversion_page
from dashboard.text.units import METRIC, US

TEXTS = {path.stem: path.read_text("utf-8") for path in SHELF}
FILES = {path.stem: path for path in SHELF}
TWELVE, EIGHTEEN = "3-on-4", "3-on-3-on-2"


def page_of(a, b, shown=METRIC):
    made = convert(a, b)
    return made, conversion_page(made, a, b, shown)


@pytest.mark.parametrize("pair", [(TWELVE, EIGHTEEN), (EIGHTEEN, TWELVE), ("3", "5-on-2"), ("3-at-load", "1-redirect")])  # fmt: skip
def test_every_move_is_drawn_and_said(pair):
    made, html = page_of(*(TEXTS[name] for name in pair))
    check_valid(html)
    check_asks_for_nothing(html)
    words = " ".join(Seen(html).words.split())
    for number, move in enumerate(made.moves, 1):
        assert f"{number} {' '.join(one.text() for one in move.texts)}" in words
        assert f"held by {move.held_by}" in words
    assert html.count("<svg") == len(made.moves) + 1
    assert all(one.text() in words for one in made.warnings)
    # black on white, whatever the reader's system prefers
    assert "color-scheme: light" in html and "prefers-color-scheme" not in html


def test_by_hand_the_twelve_to_one_on_its_capture():
    """Worked by hand: the anchor's and the load's strand carry half the load each, the other six are slack."""
    _, html = page_of(TEXTS[TWELVE], TEXTS[EIGHTEEN])
    first = html.split('<li class="move">')[1]
    labels = re.findall(r'data-tension="([^"]+)"[^>]*>([^<]+)<', first)
    assert len(labels) == 8
    loaded = {name for name, text in labels if text == "0.5 × load"}
    assert loaded == {"anchor&gt;L1", "L1&gt;C1"}
    assert {text for _, text in labels} == {"0.5 × load", "slack"}
    assert "12.0 : 1 to 18.0 : 1, 4 moves" in html and "1 grab" in html


def test_the_ring_is_round_what_the_move_changed():
    made, html = page_of(TEXTS[TWELVE], TEXTS[EIGHTEEN])
    # by hand: the capture, the new grab, the old grab, and the pulley that was L2 and is T1 at the end
    assert [one.changed for one in made.moves] == [("C1",), ("G2",), ("G1",), ("T1",)]
    assert html.count('stroke-dasharray="4 3"') == 4


def test_hostile_titles_and_names_stay_text():
    bad = "<img src=x onerror=alert(1)"  # no name may hold a >, a title may
    text = TEXTS["3"].replace("A1", bad).replace('title = "', f'title = "{bad}>')
    html = page_of(text, TEXTS["3-on-3"])[1]
    check_valid(html)
    check_asks_for_nothing(html)
    assert bad not in html


def test_the_command_writes_the_page_in_the_units_asked_for(haul, tmp_path):
    out = tmp_path / "moves.html"
    said = haul("convert", FILES[TWELVE], FILES[EIGHTEEN], "--html", out, "--units", "us", "--json")
    assert said.status == 0 and json.loads(said.out)["moves"]
    assert out.read_text("utf-8") == page_of(TEXTS[TWELVE], TEXTS[EIGHTEEN], US)[1]


def test_a_conversion_that_is_refused_writes_no_page(haul, tmp_path):
    out = tmp_path / "moves.html"
    assert haul("convert", FILES["3"], FILES["3-on-2"], "--html", out).status == 1
    assert not out.exists()


def test_a_file_that_cannot_be_written_is_one_clear_fault(haul, tmp_path):
    said = haul("convert", FILES[TWELVE], FILES[EIGHTEEN], "--html", tmp_path / "none" / "x.html")
    assert said.status == 2 and "cannot be written" in said.err and "--html" in said.err
