"""Acts of the page: what buttons and fields do, and that no act from outside does anything else."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest
from support.rigs import three_to_one

from analysis.prediction.predict import predict
from analysis.rig_edit.draft import opened
from analysis.rig_edit.edits import EditFault
from dashboard.rig_page.acts import act, act_values, made
from dashboard.rig_page.draft_store import DraftState
from dashboard.rig_page.menu import menu
from dashboard.rig_page.touches import Chosen, chosen
from dashboard.rig_page.view import view
from dashboard.text.units import METRIC
from logger.errors import CallFault, UserFault

SHELF = resources.files("analysis") / "rigs"
RIG = three_to_one()


def after(text: str, *values, typed=None) -> dict:
    """The document after an act."""
    return tomllib.loads(made(opened(text, "r.toml"), list(values), typed).text)


def shown(draft, touched=None):
    """The page of a draft."""
    state = DraftState(draft=draft, version=1, saved=False, changed_on_disk=False, offered=False)
    return view(state, touched, METRIC, 900)


def test_a_number_is_taken_with_the_unit_that_was_typed():
    assert after(RIG, "set", "load", "mass_kg", typed="900")["load"] == {"mass_kg": 900.0}
    assert after(RIG, "set", "load", "mass_kg", typed=" 2000 lb ")["load"] == {"mass_lb": 2000.0}
    assert after(RIG, "set", "rope.0", "length_m", typed="330ft")["rope"][0]["length_ft"] == 330.0
    text = made(opened(RIG, "r"), ["set", "load", "mass_kg"], "900").text
    assert "load" not in after(text, "set", "load", "mass_kg", typed="")


@pytest.mark.parametrize(
    ("typed", "said"),
    [("1,5", "is the comma a decimal mark"), ("ten", "no number"), ("5 kN", "no unit for it"),
     ("1e400", "no number"), ("nan", "no number"), ("9" * 300, "too long")],
)  # fmt: skip
def test_what_is_no_mass_is_refused_with_what_to_type(typed, said):
    with pytest.raises(CallFault, match=said):
        after(RIG, "set", "load", "mass_kg", typed=typed)


def test_keys_that_stand_for_each_other_change_places():
    text = made(opened(RIG, "r"), ["choose", "pulley.A1", "preset", "connector"]).text
    assert tomllib.loads(text)["pulley"]["A1"] == {"preset": "connector"}
    own = made(opened(text, "r"), ["set", "pulley.A1", "efficiency"], "0.95").text
    assert tomllib.loads(own)["pulley"]["A1"] == {"efficiency": 0.95}


def test_a_grab_that_something_hangs_on_is_not_taken_out():
    with pytest.raises(EditFault, match="T1 hangs on G1"):
        after(RIG, "take", 0, 1)


@pytest.mark.parametrize(
    "text",
    [
        None,
        3,
        "",
        "{}",
        "[]",
        "[[]]",
        "[null]",
        '[{"a": 1}]',
        "[" * 500,
        '["put"' + ", 1" * 500 + "]",
    ],
)
def test_what_is_no_act_is_refused(text):
    with pytest.raises(CallFault, match="no act"):
        act_values(text)


@pytest.mark.parametrize(
    "values",
    [["put", "rope", 0, 1, "anchor"], ["put", "pulley", "0", 1, "anchor"], ["set", "nothing", "mass_kg"],
     ["set", "load", "path"], ["set", "rope.0", "path"], ["station", 0, 1, "grab", "on.x"],
     ["shelf", "../../etc/passwd"], ["shelf", 1], ["begin", "sky"], ["drop", "rope", "main"],
     ["take", 0, 99], ["take", 9, 0], ["take", -1, 0], ["undo", 1, 2], ["open", "/etc/passwd"]],
)  # fmt: skip
def test_an_act_that_the_page_does_not_have_changes_nothing(values):
    draft = opened(RIG, "r.toml")
    with pytest.raises(UserFault):
        made(draft, values, "1")
    assert draft.text == RIG


def test_a_touch_on_a_strand_is_the_place_before_its_second_station():
    rig = opened(RIG, "r").outcome().drawn
    document = tomllib.loads(RIG)
    place = chosen({"strand": 2}, document, rig).place
    assert place is not None and place.station == 3
    assert menu(document, chosen({"strand": 2}, document, rig)).title.startswith("Strand C1 to A1")
    assert chosen({"element": "G1"}, document, rig).kind == "part"
    assert chosen({"element": "load"}, document, rig) == Chosen("body", None, "load")


def test_the_fault_stands_at_its_station():
    text = RIG.replace("at_m = 9.0", "at_m = 9.0, colour = 1")
    page = shown(opened(text, "r.toml"))
    assert [row.place for rope in page.ropes for row in rope.stations if row.fault] == [(0, 1)]
    assert "colour" in page.fault


def test_a_fault_of_the_rig_as_a_whole_stands_at_the_part_that_it_names():
    page = shown(opened(RIG.replace("at_m = 9.0", "at_m = 13.0"), "r.toml"))
    (row,) = [row for rope in page.ropes for row in rope.stations if row.fault]
    assert row.place == (0, 1) and "outside its own strand" in row.fault
    assert 'class="at-fault" data-element="G1">' in page.svg


def test_what_is_touched_is_marked_on_the_drawing():
    page = shown(opened(RIG, "r"), {"strand": 2})
    assert 'data-strand="C1&gt;A1" class="touched"' in page.svg
    text = RIG.replace("at_m = 9.0", "at_m = 13.0")
    assert 'class="at-fault touched" data-element="G1">' in shown(opened(text, "r"), {"element": "G1"}).svg  # fmt: skip
    assert 'class="touched" data-element="A1">' in shown(opened(RIG, "r"), {"element": "A1"}).svg


@pytest.mark.parametrize("text", ["", "x = [", "rope = 7", "[[rope]]\npath = [7, 8]", "load = 3\nteam = []",
                                  "pulley = 7\n[[rope]]\nname = 3\npath = 'x'"])  # fmt: skip
def test_a_text_that_is_no_rig_is_shown_with_what_is_wrong(text):
    """As when another program writes the file that is opened."""
    page = shown(opened(text, "r.toml"), {"place": [0, 0]})
    assert page.fault and not page.may_save
    for values in (["begin", "load"], ["put", "pulley", 0, 0, "anchor"], ["fit", "3"]):
        try:
            made(opened(text, "r.toml"), values)
        except UserFault as fault:
            assert "\n" not in str(fault)


def test_an_act_is_short_text():
    assert act("put", "pulley", 0, 3, "load") == '["put", "pulley", 0, 3, "load"]'


def test_a_new_grab_leaves_the_grabs_that_are_there_within_their_strands():
    """The 12:1 becomes an 18:1: a grab on the first strand from the load, the second block hung on it."""
    text = (SHELF / "3-on-4.toml").read_text(encoding="utf-8")
    draft = made(opened(text, "r"), ["put", "grab", 0, 2, ""])
    draft = made(draft, ["hang", 0, 5, "on", "G2"])
    rig = draft.outcome().rig
    assert rig is not None, draft.outcome().fault
    assert predict(rig)["ideal_ma"] == pytest.approx(18.0)


def test_what_may_be_done_about_another_programs_change_stands_on_the_page():
    state = DraftState(
        draft=opened(RIG, "r"), version=1, saved=False, changed_on_disk=True, offered=False
    )
    assert [choice.act for choice in view(state, None, METRIC, 900).offers] == [
        '["take file"]',
        '["save over"]',
    ]
    state = DraftState(
        draft=opened(RIG, "r"), version=1, saved=True, changed_on_disk=False, offered=True
    )
    assert [choice.act for choice in view(state, None, METRIC, 900).offers] == [
        '["take draft", 1]',
        '["take draft", 0]',
    ]
