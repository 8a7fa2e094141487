"""The crew's card: valid, asks for nothing, and says what `haul predict` says, for every shelf rig."""

import pytest
from support.paper_pages import Seen, check_asks_for_nothing, check_valid
from support.places import SHELF

from analysis.rig_file.load import load_rig, parse_rig
from dashboard.export.crew_card import BY_HAND, crew_card
from dashboard.text.cautions import CAUTIONS
from dashboard.text.units import SYSTEMS

FILES = {path.stem: path for path in SHELF}
DEMO = SHELF[0].parents[1] / "demo" / "rig.toml"


def squeezed(text):
    return " ".join(text.split())


@pytest.mark.parametrize("name", [*FILES, "demo"])
def test_a_card_of_every_rig_is_valid_and_asks_for_nothing(name):
    html = crew_card(load_rig(FILES.get(name, DEMO)))
    check_valid(html)
    check_asks_for_nothing(html)
    assert html.count("<svg") == 1


@pytest.mark.parametrize("units", SYSTEMS)
def test_it_says_what_predict_says(haul, units):
    predicted = squeezed(haul("predict", DEMO, "--units", units).out)
    words = squeezed(Seen(crew_card(load_rig(DEMO), SYSTEMS[units])).words)
    for label in ("ideal MA", "travel ratio", "load force", "hold at least"):
        text = predicted.split(f" {label} ", 1)[1][:8]
        assert f" {label} {text}" in words, label
    for label in ("MA with friction", "haul force", "stop hauling at", "if the load jams"):
        text = predicted.split(f" {label} ", 1)[1][:8]
        assert f"{label[0].upper()}{label[1:]}: {text}" in words, label
    assert "can be reset meanwhile: G1, G2" in words
    assert "the job, each grab reset alone 4 strokes" in words and "needed of" in words


def test_standing_cautions_and_room_for_what_is_written_by_hand():
    words = squeezed(Seen(crew_card(load_rig(DEMO))).words)
    assert all(one in words for one in (*CAUTIONS, *BY_HAND, "site", "crew", "date"))


def test_a_rig_without_a_capture_says_that_hands_must_hold():
    text = FILES["3"].read_text("utf-8").replace('  { capture = "C1", on = "anchor" },\n', "")
    words = squeezed(Seen(crew_card(parse_rig(text, "bare"))).words)
    assert "No progress capture: hands must hold the load" in words


def test_hostile_names_stay_text():
    bad = "<img src=x onerror=alert(1)"  # no name may hold a >, a title may
    text = FILES["3"].read_text("utf-8").replace("A1", bad).replace('title = "', f'title = "{bad}>')
    html = crew_card(parse_rig(text, "hostile"))
    check_valid(html)
    check_asks_for_nothing(html)


def test_the_command_writes_the_card(haul, tmp_path):
    out = tmp_path / "card.html"
    said = haul("card", DEMO, "--html", out)
    assert said.status == 0 and out.read_text("utf-8") == crew_card(load_rig(DEMO))
    assert haul("card", DEMO).status == 2
