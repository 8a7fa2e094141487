"""Edits of a rig file: never an exception, never a lost draft, comments kept, each step undone exactly."""

from __future__ import annotations

import re
import tomllib
from importlib import resources

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.rig_edits import edits

from analysis.prediction.predict import predict
from analysis.rig_edit.draft import Draft, opened
from analysis.rig_edit.edits import (
    EditFault,
    PutRope,
    PutStation,
    Rename,
    SetStation,
    SetValue,
    StationPlace,
    TakeStation,
)
from analysis.rig_edit.fresh_parts import fresh_station
from analysis.rig_edit.toml_text import edited

SHELF = {
    file.name: file.read_text(encoding="utf-8")
    for file in (resources.files("analysis") / "rigs").iterdir()
    if file.name.endswith(".toml")
}
TWELVE = SHELF["3-on-4.toml"].replace('  { grab = "G1"', '  # beside the bollard\n  { grab = "G1"')
EMPTY = 'title = "Launch on its cradle"\nanchor_to_load_m = 20.0\n'


def comments(text: str) -> list[str]:
    """The comments of a rig file; none of these files has a "#" in a text."""
    return re.findall(r"#.*", text)


@pytest.mark.parametrize("name", sorted(SHELF))
def test_a_shelf_rig_opens_without_a_change(name: str) -> None:
    draft = opened(SHELF[name], name)
    assert not draft.changed
    assert draft.outcome().rig is not None


def test_an_edit_keeps_comments_order_and_the_other_lines() -> None:
    after = edited(TWELVE, SetStation(StationPlace(0, 3), "on", "load"))
    assert comments(after) == comments(TWELVE)
    changed = [(a, b) for a, b in zip(TWELVE.split("\n"), after.split("\n"), strict=True) if a != b]
    assert changed == [('  { pulley = "A1", on = "anchor" },', '  { pulley = "A1", on = "load" },')]


def test_a_new_station_stands_on_its_own_line_in_the_same_style() -> None:
    after = edited(TWELVE, PutStation(StationPlace(0, 5), (("pulley", "L9"), ("on", "load"))))
    assert '\n  { pulley = "L9", on = "load" },\n' in after
    assert comments(after) == comments(TWELVE)


def test_another_unit_takes_the_place_of_the_first() -> None:
    text = edited(
        edited(TWELVE, SetValue("load", "mass_kg", 900.0)), SetValue("load", "mass_lb", 7.0)
    )
    assert tomllib.loads(text)["load"] == {"mass_lb": 7.0}
    assert "load" not in tomllib.loads(edited(text, SetValue("load", "mass_kg", None)))


def test_taking_a_pulley_takes_its_table_and_its_place_in_gear() -> None:
    text = TWELVE + '[pulley.A1]\nmbs_kN = 30.0\n[gear.K1]\ncarries = ["A1"]\n'
    after = tomllib.loads(edited(text, TakeStation(StationPlace(0, 3))))
    assert "pulley" not in after and "gear" not in after


def test_a_name_changes_wherever_it_stands() -> None:
    text = TWELVE + '[grab.G1]\nmbs_kN = 20.0\n[gear.K1]\ncarries = ["G1"]\n'
    after = tomllib.loads(edited(text, Rename("G1", "upper prusik")))
    assert after["grab"] == {"upper prusik": {"mbs_kN": 20.0}}
    assert after["gear"]["K1"]["carries"] == ["upper prusik"]
    assert [row["on"] for row in after["rope"][0]["path"] if "pulley" in row][-1] == "upper prusik"
    with pytest.raises(EditFault, match="is taken"):
        edited(text, Rename("G1", "A1"))


def twelve_by_edits() -> Draft:
    """The 12:1 made from an empty rope, as a crew does: body by body along the rope."""
    draft = opened(EMPTY, "launch.toml").make(PutRope("main", ((("tie", "anchor"),),)))
    for kind, on in (
        ("pulley", "load"), ("capture", "anchor"), ("pulley", "anchor"), ("pulley", "load"),
        ("haul", ""),
    ):  # fmt: skip
        document = tomllib.loads(draft.text)
        place = StationPlace(0, len(document["rope"][0]["path"]))
        draft = draft.make(PutStation(place, fresh_station(document, kind, place, on)))
    for kind, on in (("grab", ""), ("pulley", "anchor"), ("pulley", "G1")):
        document = tomllib.loads(draft.text)
        place = StationPlace(0, len(document["rope"][0]["path"]) - 1)
        draft = draft.make(PutStation(place, fresh_station(document, kind, place, on)))
    return draft


def test_the_twelve_to_one_from_an_empty_rope_is_the_shelfs() -> None:
    draft = twelve_by_edits()
    rig = draft.outcome().rig
    assert rig is not None
    assert [s.name for s in rig.stations] == [
        "anchor",
        "L1",
        "C1",
        "A1",
        "L2",
        "G1",
        "A2",
        "T1",
        "team",
    ]
    assert predict(rig)["ideal_ma"] == pytest.approx(12.0)
    grab = rig.bodies[rig.index["G1"]]
    assert 0.0 < grab.x_m < 20.0


def test_undo_and_redo_give_each_text_again() -> None:
    draft = twelve_by_edits()
    back = draft
    seen = [back.text]
    while back.changed:
        back = back.undo()
        seen.append(back.text)
    assert back.text == EMPTY
    for text in reversed(seen[:-1]):
        back = back.redo()
        assert back.text == text
    assert back.redo() is back


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_edits_give_a_rig_or_the_reason(data: st.DataObject) -> None:
    draft = opened(data.draw(st.sampled_from([EMPTY, *SHELF.values()])), "r.toml")
    first = draft.text
    for _ in range(data.draw(st.integers(1, 12))):
        edit = data.draw(edits(draft.text))
        before = tomllib.loads(draft.text)
        try:
            after = draft.make(edit)
        except EditFault:
            continue
        edit.change(before)
        assert tomllib.loads(after.text) == before
        outcome = after.outcome()
        assert (outcome.rig is None) != (outcome.fault is None)
        assert "\n" not in str(outcome.fault)
        if after is not draft:
            assert after.undo().text == draft.text
        draft = after
    while draft.changed and len(draft.texts) > 1:
        draft = draft.undo()
    assert draft.text == first
