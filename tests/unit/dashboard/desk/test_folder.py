"""What lies in the desk's folder: told by content, faults kept, no name and no link that leads out."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.channels import force
from support.rigs import three_to_one
from support.sealed_sessions import made

from analysis.simulation.demo_haul import demo_text
from dashboard.desk.chosen import choose, chosen
from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import checked_name, files_in, running, sessions, within
from dashboard.desk.strip import strip_items
from dashboard.rig_page.draft_store import DraftStore
from dashboard.text.units import METRIC
from dashboard.web.sharing import Sharing
from logger.errors import CallFault
from logger.session import lock


def desk_of(folder) -> Desk:
    return Desk(folder, METRIC, "token", Sharing("127.0.0.1", shared=False))


def words(folder) -> dict[str, str]:
    """The word of each step on the strip."""
    return {item.name: item.word for item in strip_items(desk_of(folder))}


@pytest.mark.parametrize(
    "name", ["launch", "launch 12 to 1", "P-07.b", "a", "3-on-3", "x_1", "  launch  "]
)
def test_a_plain_name_is_taken(name):
    assert checked_name(name, ".toml") == f"{name.strip()}.toml"
    assert checked_name(f"{name.strip()}.toml", ".toml") == f"{name.strip()}.toml"


@pytest.mark.parametrize(
    "name",
    ["", ".", "..", "../x", "a/b", "a\\b", "/etc/passwd", ".hidden", "a..b", "x" * 61, "a\nb", "a\0b", "C:x", "é",
     "a.", "name ..toml", "-x", " ", "a\u202eb", "%2e%2e", "~root", "$HOME"],
)  # fmt: skip
def test_a_name_that_may_lead_elsewhere_is_refused(name, tmp_path):
    with pytest.raises(CallFault, match="a name has letters"):
        within(tmp_path, name, ".toml")


@given(st.text(max_size=80))
def test_no_text_leads_out_of_the_folder(text):
    try:
        name = checked_name(text, ".toml")
    except CallFault:
        return
    assert Path("folder", name).resolve().parent == Path("folder").resolve()
    assert name.isascii() and name.isprintable() and not name.startswith(".")


def test_a_link_is_no_file_of_the_folder(tmp_path):
    outside = tmp_path / "outside.toml"
    outside.write_text(three_to_one(), "utf-8")
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "rig.toml").symlink_to(outside)
    assert files_in(folder).rigs == ()
    with pytest.raises(CallFault, match="is a link"):
        within(folder, "rig", ".toml")


def test_files_are_told_by_content_and_faults_stay_in_the_list(tmp_path):
    (tmp_path / "sensors.toml").write_text(three_to_one(), "utf-8")
    (tmp_path / "rig.toml").write_text(force(), "utf-8")
    (tmp_path / "bad rig.toml").write_text(
        three_to_one().replace("at_m = 9.0", "at_m = 'x'"), "utf-8"
    )
    (tmp_path / "bad channel.toml").write_text(
        '[[channel]]\nname = "f"\nquantity = "fun"\n', "utf-8"
    )
    (tmp_path / "torn.toml").write_text("[[rope", "utf-8")
    (tmp_path / "other.toml").write_text("x = 1\n", "utf-8")
    (tmp_path / "notes.txt").write_text("x", "utf-8")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\0")
    files = files_in(tmp_path)
    assert {one.name: bool(one.fault) for one in files.rigs} == {"sensors": False, "bad rig": True}
    assert {one.name: bool(one.fault) for one in files.sensors} == {
        "rig": False,
        "bad channel": True,
    }
    assert [one.name for one in files.odd] == ["bytes.toml", "other.toml", "torn.toml"]
    assert all("\n" not in one.fault for one in (*files.rigs, *files.sensors, *files.odd))


def test_a_file_that_changes_is_read_again(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(three_to_one().replace("at_m = 9.0", "at_m = 'x'"), "utf-8")
    assert files_in(tmp_path).rigs[0].fault
    path.write_text(three_to_one(), "utf-8")
    assert not files_in(tmp_path).rigs[0].fault


def test_a_draft_without_a_file_is_a_rig_that_cant_work_yet(tmp_path):
    store = DraftStore(tmp_path / "new.toml")
    store.change(store.state().version, lambda draft: draft.replaced(three_to_one()))
    (rig,) = files_in(tmp_path).rigs
    assert (rig.name, rig.draft, rig.rig) == ("new", True, None)
    store.save()
    (rig,) = files_in(tmp_path).rigs
    assert (rig.draft, rig.fault) == (False, "")


def test_the_running_session_is_found_by_its_recorders_lock(tmp_path):
    made(tmp_path / "one")
    two = made(tmp_path / "two", seal=False)
    assert running(tmp_path) is None
    held = lock.acquire(two)
    assert held is not None
    assert running(tmp_path) == "two"
    assert words(tmp_path)["Haul"] == "recording"
    held.release(remove=False)
    assert running(tmp_path) is None
    assert {one.name for one in sessions(tmp_path, 5)} == {"one", "two"}


def test_the_strip_says_what_is_missing(tmp_path):
    assert words(tmp_path) == {
        "Sensors": "none yet", "Rig": "none yet", "Check": "", "Haul": "", "Result": "none yet", "Sessions": "",
    }  # fmt: skip
    (tmp_path / "s.toml").write_text(force(), "utf-8")
    (tmp_path / "r.toml").write_text(three_to_one().replace("at_m = 9.0", "at_m = 'x'"), "utf-8")
    assert words(tmp_path)["Sensors"] == "no counter yet"
    assert words(tmp_path)["Rig"] == "can't work yet"
    (tmp_path / "s.toml").write_text(demo_text("sensors.toml"), "utf-8")
    assert words(tmp_path)["Sensors"] == ""


def test_what_is_chosen_is_kept_and_what_is_gone_is_not(tmp_path):
    desk = desk_of(tmp_path)
    for name in ("a", "b"):
        (tmp_path / f"{name}.toml").write_text(three_to_one(), "utf-8")
    assert choose(desk, rig="a").rig.name == "a"
    assert chosen(desk_of(tmp_path)).rig.name == "a"
    with pytest.raises(CallFault, match="no such file"):
        choose(desk, rig="../a")
    (tmp_path / "a.toml").unlink()
    assert chosen(desk).rig.name == "b"
    (tmp_path / ".desk" / "chosen.json").write_text('{"rig": 3, "sensors": ["x"]}', "utf-8")
    assert chosen(desk).rig.name == "b"
