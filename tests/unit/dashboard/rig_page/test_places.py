"""Where a capture would hold and where grabs should sit, on the rig page: the figures of the prediction, and one touch."""

from __future__ import annotations

import json
import tomllib
from xml.etree import ElementTree

import pytest
from support.rigs import nine_to_one, three_to_one
from support.waiting import until

from analysis.prediction.capture_places import capture_places
from analysis.prediction.grab_places import grab_places
from analysis.rig_edit.draft import opened
from analysis.rig_edit.toml_text import document_of
from analysis.rig_file.load import parse_rig
from dashboard.rig_page.acts import act_values, made
from dashboard.rig_page.draft_store import DraftState
from dashboard.rig_page.places import grab_searches
from dashboard.rig_page.places.grab_searches import FAILED, SEARCHING, DraftSearches, GrabSearches
from dashboard.rig_page.places.surroundings import Surroundings
from dashboard.rig_page.view import RigView, view
from dashboard.text.units import METRIC, US
from logger.errors import UserFault

JOB = "resistance_N = 900.0\nresistance_u_N = 40.0\npull_distance_m = 8.0\n"
RIG = three_to_one(JOB)
ASK = {"ask": "grabs"}
TOP_STRAND = {"strand": 2}  # from C1 to A1


def shown(text: str, touched=None, units=METRIC, **beside) -> RigView:
    """The page of a rig file; beside: what stands beside the draft."""
    state = DraftState(
        draft=opened(text, "launch.toml"), version=1, saved=True, changed_on_disk=False, offered=False
    )  # fmt: skip
    return view(state, touched, units, 390, Surroundings(**beside))


def notes(page: RigView, title: str) -> tuple[str, ...]:
    """What the open menu says in the group of this title."""
    assert page.menu is not None
    return next(one.about.notes for one in page.menu.questions if one.title == title)


@pytest.mark.parametrize("text", [RIG, nine_to_one(JOB)])
def test_each_strand_is_marked_by_a_word_and_a_class_as_the_prediction_has_it(text):
    page = shown(text, captures=True)
    places = capture_places(parse_rig(text, "r"), document_of(text))
    drawn = ElementTree.fromstring(page.svg)
    strands = [one for one in drawn.iter() if one.get("data-strand")]
    words = {one.get("data-tension"): one.text for one in drawn.iter() if one.get("data-tension")}
    assert len(strands) == len(page.places.holds)
    for one in strands:
        holds = any(p.holds for p in places if f"{p.start}>{p.end}" == one.get("data-strand"))
        assert one.get("class") == ("would-hold" if holds else "would-not-hold")
        assert words[one.get("data-strand")] == ("holds" if holds else "not here")


def test_the_list_has_every_strand_with_its_figures_or_its_reason():
    text = nine_to_one(JOB)
    lines = shown(text, captures=True).places.capture_lines
    rig = parse_rig(text, "r")
    for strand in rig.strands:
        ends = " to ".join(rig.stations[s].name for s in (strand.start, strand.end))
        assert any(ends in line for line in lines), ends
    assert lines[0].startswith("Each force is a share of the load's force, 900 ± 80 N")


@pytest.mark.parametrize("units", [METRIC, US])
def test_the_strands_menu_states_the_figures_of_the_prediction_with_units(units):
    places = capture_places(parse_rig(RIG, "r"), document_of(RIG))
    (place,) = [one for one in places if (one.start, one.end) == ("C1", "A1")]
    first, last = notes(shown(RIG, TOP_STRAND, units), "Capture (progress capture) on")
    assert first.startswith("On anchor: holds the load; carries ")
    assert units.force(place.held_N) in first and units.force(place.setting_N) in first
    assert units.length(place.setback_m) in first and units.length(place.lost_m) in first
    assert units.length(place.haul_more_m) in first
    assert f"covers the resets of G1 ({place.resets} in the job)" in first
    assert "uncertain in the same proportion" in last


def test_what_is_not_known_is_said_with_its_reason():
    line = notes(shown(three_to_one(), TOP_STRAND), "Capture (progress capture) on")[0]
    assert "x the load's force while held" in line
    assert "over the job not known (pull_distance_m is not in the rig file)" in line
    line = notes(shown(RIG, {"strand": 0}), "Capture (progress capture) on")[0]
    assert line.startswith("On load: does not hold; ")


def test_a_rig_that_cannot_work_shows_no_capture_and_says_so():
    broken = RIG.replace('on = "G1"', 'on = "G7"')
    page = shown(broken, captures=True)
    assert page.places.holds == () and "can't work yet" in page.places.capture_lines[0]
    page = shown(broken, ASK, searches=DraftSearches(GrabSearches()))
    assert "can't work yet" in page.menu.questions[0].about.notes[0]


def test_a_touched_strand_has_both_marks_in_one_class():
    page = shown(RIG, TOP_STRAND, captures=True)
    ElementTree.fromstring(page.svg)  # a second class attribute is no XML
    assert 'class="would-hold touched"' in page.svg


@pytest.fixture(scope="module")
def searched() -> DraftSearches:
    """Searches that have the answer for the 3:1."""
    searches = DraftSearches(GrabSearches())
    assert shown(RIG, ASK, searches=searches).menu.questions[0].about.notes == (SEARCHING,)
    until(lambda: searches.finished == 1, 60, "the places")
    return searches


def test_the_menu_shows_the_places_of_the_prediction_and_what_a_metre_saves(searched):
    placed = grab_places(parse_rig(RIG, "launch.toml"))
    page = shown(RIG, ASK, searches=searched)
    for mode, title in (
        ("each", "Grabs reset one by one"),
        ("together", "All grabs reset together"),
    ):
        now, best = notes(page, title)
        assert METRIC.length(placed.now[mode].at_m["G1"]) in now
        assert METRIC.length(placed.best[mode].at_m["G1"]) in best
        assert f"{placed.best[mode].resets} reset" in best
        assert METRIC.length(placed.best[mode].rope_m) in best
    space, rope = notes(page, "What 1.00 m more would save")
    assert f"{placed.more_space.resets} reset" in space and space.startswith("1.00 m more between")
    assert rope.startswith("1.00 m more of each rope: ")


def test_use_it_writes_the_places_in_one_step_that_undo_takes_back(searched):
    page = shown(RIG, ASK, searches=searched)
    group = next(one for one in page.menu.questions if one.title == "Grabs reset one by one")
    draft = opened(RIG, "launch.toml")
    after = made(draft, act_values(group.choices[0].act))
    placed = grab_places(parse_rig(RIG, "launch.toml")).best["each"]
    assert tomllib.loads(after.text)["rope"][0]["path"][1] == {
        "grab": "G1", "at_m": pytest.approx(placed.at_m["G1"])
    }  # fmt: skip
    assert after.outcome().fault is None
    assert after.undo().text == RIG and len(after.texts) == 2


def test_no_two_buttons_of_the_menu_have_one_act(searched):
    """Dash tells parts of a page by their ids; both ways to reset may have the same places."""
    page = shown(RIG, ASK, searches=searched)
    acts = [choice.act for group in page.menu.questions for choice in group.choices]
    assert len(acts) == 2 and len(set(acts)) == 2


def test_a_new_answer_lets_the_page_look_again():
    searches = DraftSearches(GrabSearches())
    before = Surroundings(searches=searches).mark
    searches.ask(RIG, parse_rig(RIG, "launch.toml"))
    until(lambda: searches.finished == 1, 60, "the places")
    assert Surroundings(searches=searches).mark != before


def test_what_cannot_be_worked_out_is_said_with_its_reason():
    searches = DraftSearches(GrabSearches())
    text = three_to_one()
    shown(text, ASK, searches=searches)
    until(lambda: searches.finished == 1, 60, "the answer")
    said = shown(text, ASK, searches=searches).menu.questions[0].about.notes
    assert said == ("Not known: pull_distance_m is not in the rig file.",)


def test_a_fault_of_the_search_ends_the_wait(monkeypatch):
    def broken(rig, wanted):
        raise ZeroDivisionError

    monkeypatch.setattr(grab_searches, "grab_places", broken)
    searches = GrabSearches()
    searches.ask(RIG, parse_rig(RIG, "launch.toml"))
    until(lambda: searches.finished == 1, 20, "the answer")
    assert searches.ask(RIG, parse_rig(RIG, "launch.toml")).why == FAILED


@pytest.mark.parametrize(
    "act",
    [
        ["seat"],
        ["seat", "each"],
        ["seat", 0, 0, 1, 9.0],
        ["seat", "each", 0, 1],
        ["seat", "each", 0, 1, "9"],
        ["seat", "each", 0.0, 1, 9.0],
        ["seat", "each", 0, 1, float("nan")],
        ["seat", "each", 0, 1, float("inf")],
        ["seat", "each", 0, 1, 10**30],
        ["seat", "each", 0, 2, 9.0],
        ["seat", "each", 7, 1, 9.0],
        ["seat", "each", 0, -1, 9.0],
        ["seat", "each", 0, 1, 9.0, 0, 3, 9.0],
    ],
)
def test_no_forged_place_of_a_grab_is_taken(act):
    with pytest.raises(UserFault):
        made(opened(RIG, "r"), act_values(json.dumps(act)))
