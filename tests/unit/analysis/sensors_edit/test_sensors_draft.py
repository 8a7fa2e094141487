"""Edits of a sensors file: pure, undoable, with comments and order kept."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.channels import force, rope
from support.rigs import three_to_one

from analysis.rig_file.load import parse_rig
from analysis.sensors_edit.channel_edits import AddChannel, ChannelEditFault, SetKeys, TakeChannel
from analysis.sensors_edit.sensors_draft import SensorsDraft
from logger.errors import SensorsFault

FILE = """# the yard's own cell
[[channel]]   # first
name = "pull"  # on the slipway
quantity = "force"
at = "haul"
port = "/dev/ttyUSB0"
baud = 9600
format = "text"
unit = "kg"
# behind all
"""
VALUES = (
    ("name", "way"), ("quantity", "length"), ("at", "load"), ("port", "/dev/ttyUSB1"), ("baud", 9600),
    ("format", "text"), ("after", 'L="\\'), ("ask", "R?\r\n\x05"), ("every_s", 0.2), ("unit", "m"),
)  # fmt: skip


def test_comments_and_order_survive_each_edit() -> None:
    draft = SensorsDraft((FILE,)).make(SetKeys("pull", {"zero": 12.5, "baud": 19200}))
    text = draft.make(AddChannel(VALUES)).text
    for kept in ("# the yard's own cell", "# first", "# on the slipway", "# behind all"):
        assert kept in text
    rows = tomllib.loads(text)["channel"]
    assert rows[0] | {"zero": 12.5, "baud": 19200} == rows[0]
    assert tuple(rows[1].items()) == VALUES
    assert draft.make(AddChannel(VALUES), TakeChannel("way")).text.strip() == draft.text.strip()


def test_undo_and_redo_are_exact_and_a_draft_is_a_value() -> None:
    first = SensorsDraft((FILE,))
    second = first.make(SetKeys("pull", {"unit": "N"}))
    third = second.make(TakeChannel("pull"))
    assert first.text == FILE and third.undo().text == second.text
    assert third.undo().undo().redo().redo().text == third.text
    assert first.undo() is first and first.redo() is first
    assert third.undo().make(SetKeys("pull", {"zero": 1.0})).redo().text != third.text


def test_an_edit_without_a_place_is_refused_in_one_line() -> None:
    draft = SensorsDraft((FILE,))
    for edit in (
        SetKeys("gone", {"unit": "N"}), TakeChannel("gone"), SetKeys("pull", {"colour": "red"}),
        AddChannel((("name", "pull"),)),
    ):  # fmt: skip
        with pytest.raises(ChannelEditFault) as fault:
            draft.make(edit)
        assert "\n" not in str(fault.value) and fault.value.cure
    with pytest.raises(SensorsFault):
        SensorsDraft(("= nothing",)).make(TakeChannel("a"))
    with pytest.raises(SensorsFault):
        SensorsDraft(("channel = 3",)).make(AddChannel(VALUES))


def test_what_is_wrong_is_told_also_in_the_rig(tmp_path: Path) -> None:
    text = force('port = "/dev/ttyUSB0"', "baud = 9600") + rope(
        'port = "/dev/ttyUSB0"', "baud = 9600"
    )
    rig = parse_rig(three_to_one(), "launch.toml")
    draft = SensorsDraft((text,))
    good = draft.outcome(tmp_path, "yard.toml", rig)
    assert good.sensors is not None and good.fault is None and good.no_place is None
    name = good.sensors.channels[0].name
    misplaced = draft.make(SetKeys(name, {"at": "no_such"})).outcome(tmp_path, "yard.toml", rig)
    assert misplaced.fault is None and name in misplaced.no_place.place
    faulty = draft.make(SetKeys(name, {"unit": "stone"})).outcome(tmp_path, "yard.toml", rig)
    assert faulty.sensors is None and faulty.fault.place.startswith(f"channel {name}")


PLAIN = st.one_of(
    st.text(max_size=20), st.integers(-(2**40), 2**40), st.booleans(),
    st.floats(allow_nan=False, allow_infinity=False),
)  # fmt: skip


@given(
    st.dictionaries(st.sampled_from(["unit", "after", "zero", "scale", "ends", "number"]), PLAIN)
)
def test_any_value_is_written_as_it_is(values) -> None:
    text = SensorsDraft((FILE,)).make(SetKeys("pull", values)).text
    assert tomllib.loads(text)["channel"][0] | values == tomllib.loads(text)["channel"][0]
    assert tomllib.loads(text)["channel"][0]["name"] == "pull"
