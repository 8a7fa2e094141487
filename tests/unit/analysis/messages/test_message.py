"""Messages: what a template writes, in SI and in other units, and that code and catalogue agree."""

import pytest

from analysis.messages import message as module
from analysis.messages.catalogue import CATALOGUE
from analysis.messages.message import Message, fields, message, once, text_of, texts
from analysis.messages.template import Template


@pytest.fixture
def say(monkeypatch):
    """A message of a template that stands in no catalogue."""

    def make(text, **values):
        monkeypatch.setitem(CATALOGUE, "made_up", Template("info", text))
        module._fields.cache_clear()
        return message("made_up", **values)

    yield make
    module._fields.cache_clear()


class Feet:
    """Another system: lengths in feet, one digit; the rest as SI."""

    def written(self, value, form, unit):
        return (f"{value / 0.3048:.1f}", "ft") if unit == "m" else (format(value, form), unit)


def test_a_quantity_has_its_unit_from_its_name(say):
    assert (
        say("{cell} reads {least_N:.0f}", cell="haul", least_N=-12.3).text() == "haul reads -12 N"
    )


def test_the_longest_ending_gives_the_unit(say):
    assert say("{speed_m_s:.1f}", speed_m_s=0.5).text() == "0.5 m/s"


def test_a_multiple_and_a_percentage(say):
    assert (
        say("{limit_N:.2f kN}, {share:.0f %}", limit_N=1234.0, share=0.3).text() == "1.23 kN, 30 %"
    )


def test_a_tilde_leaves_the_unit_to_the_next_quantity(say):
    assert say("{a_m:.1f~} to {b_m:.1f}", a_m=0.5, b_m=2.0).text() == "0.5 to 2.0 m"


def test_one_and_many(say):
    assert say("{n} {n:line|lines}", n=1).text() == "1 line"
    assert say("{n} {n:line|lines}", n=0).text() == "0 lines"


def test_a_format_may_hold_a_value(say):
    made = say("{a_N:.{places}f}", a_N=499.96, places=1)
    assert made.text() == "500.0 N" and fields("made_up") == {"a_N", "places"}


def test_another_system_writes_its_own_quantities_within_messages_too(say):
    inner = say("{way_m:.2f}", way_m=1.0)
    assert inner.text(Feet()) == "3.3 ft"
    assert Message("made_up", {"way_m": 1.0}).text() == "1.00 m"


def test_what_a_person_wrote_stays_as_written_and_is_no_template(say):
    assert say("{name}: {way_m:.0f}", name="{0} 5 m", way_m=5.0).text(Feet()) == "{0} 5 m: 16.4 ft"


def test_the_json_is_plain_and_a_number_that_is_none_is_null(say):
    made = say("{x_N:.0f}", x_N=float("nan"), why=(message("made_up", x_N=1.0),))
    assert made.json()["values"] == {
        "x_N": None,
        "why": [{"code": "made_up", "values": {"x_N": 1.0}}],
    }
    assert set(made.json()) == {"code", "text", "level", "values"}


def test_each_text_is_told_once(say):
    assert texts([say("a"), say("a")]) == ["a"] and len(once([say("a"), say("a")])) == 1


def test_nothing_to_say_is_an_empty_text(say):
    assert text_of(None) == "" and text_of(say("{way_m:.0f}", way_m=5.0), Feet()) == "16.4 ft"


# -- code and catalogue --------------------------------------------------------------------------


# -- no code reads a text again --------------------------------------------------------------------
