"""Two ropes of one by touch: a cut that a plate joins and its opposite, and a new rope that pulls."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest
from support.rigs import three_to_one

from analysis.prediction.predict import predict
from analysis.rig_edit.draft import opened
from analysis.rig_edit.edits import EditFault
from dashboard.rig_page.acts import made

SHELF = resources.files("analysis") / "rigs"


def shelf_draft(name: str):
    """A draft of a rig of the shelf."""
    return opened((SHELF / name).read_text(encoding="utf-8"), name)


@pytest.mark.parametrize("station", [1, 4, 5])
def test_a_rope_that_is_cut_and_joined_by_a_plate_hauls_as_before(station):
    draft = opened(three_to_one(), "r.toml")
    cut = made(draft, ["cut", 0, station])
    rig = cut.outcome().rig
    assert rig is not None, cut.outcome().fault
    assert [rope.name for rope in rig.ropes] == ["main", "rope 2"]
    assert predict(rig)["ideal_ma"] == pytest.approx(predict(draft.outcome().rig)["ideal_ma"])
    joined = made(cut, ["join", "B1"])
    assert tomllib.loads(joined.text) == tomllib.loads(draft.text)


def test_the_piece_is_rope_of_the_same_kind():
    text = three_to_one(rope="mbs_kN = 30.0\ndiameter_mm = 11.0\nlength_m = 60.0\n")
    second = tomllib.loads(made(opened(text, "r"), ["cut", 0, 1]).text)["rope"][1]
    assert (second["mbs_kN"], second["diameter_mm"]) == (30.0, 11.0)
    assert "length_m" not in second  # nobody knows yet how long the pieces are


def test_a_new_rope_that_pulls_on_the_main_line_is_the_shelfs():
    """A capture holds a plain line; the 2:1 of a second rope pulls its grab."""
    text = (
        'anchor_to_load_m = 20.0\n[[rope]]\nname = "main"\npath = [ { tie = "load" }, '
        '{ capture = "C1", on = "anchor" }, { haul = "team" } ]\n'
    )
    draft = made(opened(text, "r"), ["pull on", 0, 1])
    document = tomllib.loads(draft.text)
    shelf = tomllib.loads((SHELF / "2-second-rope.toml").read_text(encoding="utf-8"))
    assert document["rope"][0]["path"] == shelf["rope"][0]["path"]
    assert document["rope"][1]["path"] == shelf["rope"][1]["path"]
    assert predict(draft.outcome().rig)["ideal_ma"] == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("values", "said"),
    [(["cut", 0, 0], "no strand"), (["cut", 0, 99], "no strand"), (["cut", 9, 1], "no such rope"),
     (["pull on", 9, 1], "no such rope"), (["pull on", 0, 99], "no such place"),
     (["join", "B9"], "no plate"), (["join", "A1"], "no plate")],
)  # fmt: skip
def test_a_cut_where_there_is_no_strand_changes_nothing(values, said):
    draft = opened(three_to_one(), "r.toml")
    with pytest.raises(EditFault, match=said):
        made(draft, values)


def test_a_plate_that_something_hangs_on_is_not_joined():
    draft = made(opened(three_to_one(), "r.toml"), ["cut", 0, 1])
    draft = made(draft, ["put", "pulley", 1, 1, "B1"])
    with pytest.raises(EditFault, match="hangs on B1"):
        made(draft, ["join", "B1"])


def test_the_hauled_end_that_is_first_is_not_handed_over():
    text = (
        'anchor_to_load_m = 20.0\n[[rope]]\nname = "main"\npath = [ { haul = "team" }, '
        '{ pulley = "A1", on = "anchor" }, { tie = "load" } ]\n'
    )
    with pytest.raises(EditFault, match="last end is not hauled"):
        made(opened(text, "r"), ["pull on", 0, 1])
