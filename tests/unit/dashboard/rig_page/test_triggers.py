"""No touch is lost among the causes that Dash joins, and no part that appears is taken for a touch."""

from __future__ import annotations

import json

from dashboard.rig_page.triggers import AskedAct, asked_acts, touched_place, triggers

TITLE, EFFICIENCY, SAVE = '["set", "", "title"]', '["set", "pulley.A1", "efficiency"]', '["save"]'
DRAWN = {TITLE: "launch", EFFICIENCY: "0.90"}


def causes(*told):
    """Causes as Dash gives them: pairs of an identity and a value."""
    named = [(json.dumps(identity) + ".n_clicks", identity, value) for identity, value in told]
    return triggers(
        [{"prop_id": prop, "value": value} for prop, _, value in named],
        {prop: identity for prop, identity, _ in named},
    )


def field(act, value):
    return {"type": "field", "act": act}, value


def button(act, value):
    return {"type": "do", "act": act}, value


def gap(station, value):
    return {"type": "gap", "rope": 0, "station": station}, value


def test_a_touch_in_the_list_counts_beside_buttons_that_appeared_and_the_call_for_news():
    told = causes(("look", 4), gap(1, None), gap(2, 1), gap(3, None))
    assert touched_place(told) == {"gap": [0, 2]}
    assert touched_place(causes(gap(1, None), ("look", 4))) is None


def test_a_part_is_touched_as_a_place():
    told = causes(({"type": "station", "rope": 1, "station": 3}, 2))
    assert touched_place(told) == {"place": [1, 3]}


def test_a_button_counts_beside_buttons_and_fields_that_appeared():
    told = causes(field(TITLE, "launch"), button('["close"]', None), button(SAVE, 1))
    assert asked_acts(told, lambda: DRAWN) == (AskedAct(SAVE, None),)


def test_what_was_typed_comes_before_the_button_that_was_touched_next():
    told = causes(button(SAVE, 1), field(EFFICIENCY, "0.85"), field(TITLE, "launch"))
    assert asked_acts(told, lambda: DRAWN) == (AskedAct(EFFICIENCY, "0.85"), AskedAct(SAVE, None))


def test_a_field_alone_was_typed_into_even_with_the_same_text():
    told = causes(field(EFFICIENCY, "0.90"))
    assert asked_acts(told, lambda: DRAWN) == (AskedAct(EFFICIENCY, "0.90"),)


def test_parts_that_appear_ask_for_nothing():
    told = causes(field(TITLE, "launch"), field(EFFICIENCY, "0.90"), button('["close"]', None))
    assert asked_acts(told, lambda: DRAWN) == ()
