"""A draft on disk: never lost, never over another program's change, never a rig that can't work as a file."""

from __future__ import annotations

import pytest
from support.rigs import three_to_one

from analysis.rig_edit.edits import SetStation, StationPlace, TakeStation
from dashboard.rig_page.draft_store import DraftStore
from logger.errors import CallFault, RigFault

MOVE = SetStation(StationPlace(0, 1), "at_m", 8.0)
BREAK = TakeStation(StationPlace(0, 4))  # without the pulley on it, the grab carries nothing


@pytest.fixture
def path(tmp_path):
    file = tmp_path / "launch.toml"
    file.write_text(three_to_one(), "utf-8")
    return file


def edit(store: DraftStore, *edits) -> bool:
    """Make edits at the draft's version."""
    return store.change(store.state().version, lambda draft: draft.make(*edits))


def test_a_draft_is_on_disk_as_soon_as_an_edit_is_made_and_goes_when_it_is_saved(path):
    store = DraftStore(path)
    assert edit(store, MOVE)
    assert store.draft_path.read_text("utf-8") == store.state().draft.text
    assert "at_m = 9.0" in path.read_text("utf-8")
    store.save()
    assert "at_m = 8.0" in path.read_text("utf-8")
    assert not store.draft_path.exists()
    assert store.state().saved


def test_a_rig_that_cannot_work_is_kept_as_a_draft_and_never_saved(path):
    store = DraftStore(path)
    before = path.read_text("utf-8")
    assert edit(store, BREAK)
    with pytest.raises(RigFault, match="not saved"):
        store.save()
    with pytest.raises(RigFault, match="not saved"):
        store.save("other")
    assert path.read_text("utf-8") == before
    assert store.draft_path.exists()
    assert [p.name for p in path.parent.glob("*.toml")] == [path.name]


def test_the_draft_of_a_run_that_was_killed_is_offered_again(path):
    first = DraftStore(path)
    edit(first, BREAK)
    text = first.state().draft.text
    again = DraftStore(path)  # nothing of the first was closed
    assert again.state().offered
    assert again.state().saved
    again.take_offered(True)
    assert again.state().draft.text == text
    assert not again.state().offered


def test_the_offered_draft_can_be_left(path):
    edit(DraftStore(path), MOVE)
    again = DraftStore(path)
    again.take_offered(False)
    assert again.state().saved
    assert not again.draft_path.exists()


def test_an_edit_on_an_older_state_is_not_made(path):
    store = DraftStore(path)
    version = store.state().version
    assert edit(store, MOVE)
    assert not store.change(version, lambda draft: draft.make(BREAK))
    assert "T1" in store.state().draft.text


def test_a_file_that_another_program_changed_is_not_overwritten(path):
    store = DraftStore(path)
    edit(store, MOVE)
    theirs = three_to_one(grab_at_m=7.0)
    path.write_text(theirs, "utf-8")
    assert store.state().changed_on_disk
    with pytest.raises(CallFault, match="changed by another program"):
        store.save()
    assert path.read_text("utf-8") == theirs
    store.save("ours")
    assert "at_m = 8.0" in (path.parent / "ours.toml").read_text("utf-8")
    store.take_file()
    assert store.state().saved
    assert store.state().draft.undo().text != theirs


@pytest.mark.parametrize(
    "name", ["../x", "a/b", "..", ".hidden", "a\\b", "x" * 80, "a\nb", "C:x", ""]
)
def test_a_name_that_leaves_the_folder_is_refused(path, name):
    store = DraftStore(path)
    if name == "":
        store.save(name)  # the file itself
        return
    with pytest.raises(CallFault, match="a name has letters"):
        store.save(name)
    assert sorted(p.name for p in path.parent.iterdir()) == [path.name]


def test_no_other_file_is_overwritten(path):
    store = DraftStore(path)
    (path.parent / "other.toml").symlink_to(path.parent / "nowhere.toml")
    for name in ("launch", "launch.toml", "other"):
        with pytest.raises(CallFault, match="exists"):
            store.save(name)
