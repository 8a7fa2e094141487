"""The draft of a sensors file: kept at once, the same on every device, and no file is overwritten unseen."""

from __future__ import annotations

import json

import pytest
from support.channels import force
from support.desk_server import OpenDesk
from support.sensors_desk import SensorsHand

from logger.channels.sensors_file import load_sensors

OWN = "# of the yard\n" + force('port = "socket://127.0.0.1:9"', "baud = 9600")


@pytest.fixture
def folder(folder):
    """With a sensors file."""
    (folder / "yard.toml").write_text(OWN, "utf-8")
    return folder


def name_of(hand) -> str:
    """The name of the first channel."""
    sensors = hand.desk.server.sensors
    return str(sensors.rows(sensors.store.state)[0]["name"])


def status(hand) -> str:
    """What the page says of the file."""
    return str(hand.shown()["status"]["children"])


def test_an_edit_is_on_disk_when_it_is_answered_and_the_next_desk_goes_on_with_it(folder):
    first = OpenDesk(folder)
    hand = SensorsHand(first)
    assert status(hand) == "yard.toml: saved"
    name = name_of(hand)
    hand.do("levels", name, warn_at="", stop_at="1 kN", capacity="")
    hand.do("ask", name, "levels")
    kept = json.loads((folder / ".desk" / "sensors-page.json").read_text("utf-8"))
    assert "stop_at = 1000" in kept["text"] and kept["step"]["kind"] == "levels"
    assert (folder / "yard.toml").read_text("utf-8") == OWN
    first.close()
    second = OpenDesk(folder)
    hand = SensorsHand(second)
    assert "Alarm levels" in hand.step() and "not saved" in status(hand)
    assert "1000 N" in json.dumps(hand.shown()["step"])
    assert hand.do("save") == (
        "Saved as yard.toml. It is the file of the next haul. haul_force: no accuracy is stated, so the review "
        "gives no interval; say how good it is under Change."
    )
    assert load_sensors(folder / "yard.toml").channels[0].stop_at == 1000.0
    assert (folder / "yard.toml").read_text("utf-8").startswith("# of the yard")
    second.close()


@pytest.mark.parametrize(
    "kept", ["", "{", "[]", "null", '{"file": "../x"}', '{"file": 3}', "[" * 3000, "\x00"]
)
def test_a_torn_draft_is_no_fault(folder, kept):
    (folder / ".desk").mkdir()
    (folder / ".desk" / "sensors-page.json").write_text(kept, "utf-8")
    desk = OpenDesk(folder)
    assert status(SensorsHand(desk)) == "yard.toml: saved"
    desk.close()


def test_a_file_that_somebody_else_changed_is_shown_and_not_overwritten(hand, folder):
    hand.do("levels", name_of(hand), warn_at="", stop_at="1 kN", capacity="")
    other = OWN + "# a word by another program\n"
    (folder / "yard.toml").write_text(other, "utf-8")
    assert "Another program changed the file" in status(hand)
    assert "was changed by another program" in hand.do("save")
    assert (folder / "yard.toml").read_text("utf-8") == other
    assert "take file" in json.dumps(hand.shown()["file"])
    hand.do("take file")
    assert hand.desk.server.sensors.store.state.draft.text == other
    hand.do("undo")
    assert "Saved" in hand.do("save")
    (folder / "yard.toml").write_text(other, "utf-8")
    hand.do("levels", name_of(hand), warn_at="", stop_at="2 kN", capacity="")
    assert "Saved" in hand.do("save", "over")
    assert "stop_at = 2000" in (folder / "yard.toml").read_text("utf-8")


@pytest.mark.parametrize(
    "name",
    ["launch", "yard", "..", "../x", "a/b", "/tmp/x", "", "-x", "x" * 99, ".desk", 7e99, ["a"]],
)
def test_save_as_takes_no_name_that_is_taken_or_leads_out(hand, folder, name):
    before = {p.name: p.read_bytes() for p in folder.glob("*.toml")}
    if name == "yard":
        hand.do("new")
        hand.do("redo")
    said = hand.do("save", "as", file=name)
    after = {p.name: p.read_bytes() for p in folder.glob("*.toml")}
    assert after == before, said
    assert sorted(p.name for p in folder.parent.iterdir()) == ["yard"]


def test_a_link_is_not_followed(hand, folder, tmp_path):
    outside = tmp_path / "outside.toml"
    outside.write_text("kept", "utf-8")
    (folder / "link.toml").symlink_to(outside)
    assert "is a link" in hand.do("save", "as", file="link")
    assert outside.read_text("utf-8") == "kept"


def test_changes_are_not_lost_by_opening_another_file(hand, folder):
    (folder / "other.toml").write_text(OWN.replace("of the yard", "another"), "utf-8")
    hand.do("levels", name_of(hand), warn_at="", stop_at="1 kN", capacity="")
    assert "has changes that are not saved" in hand.do("open", "other")
    assert "has changes that are not saved" in hand.do("new")
    hand.do("undo")
    assert hand.do("open", "other") == "" and status(hand) == "other.toml: saved"
    assert "there is no such sensors file" in hand.do("open", "launch")


def test_a_fault_stands_at_its_channel_with_the_cure(hand, folder):
    (folder / "faulty.toml").write_text(
        OWN + OWN.replace("force", "pull", 1).replace('unit = "N"', 'unit = "stone"'), "utf-8"
    )
    hand.do("open", "faulty")
    shown = json.dumps(hand.shown()["channels"])
    assert "fault" in shown
    assert hand.do("save", "as", file="copy").startswith("not saved")
    assert not (folder / "copy.toml").exists()
