"""The draft beside another rig: the file on disk, or another of its folder, row by row."""

from __future__ import annotations

import pytest
from support.rigs import nine_to_one, three_to_one

from dashboard.rig_page.acts import made
from dashboard.rig_page.beside import ON_DISK, compared, other_rig, others
from dashboard.rig_page.draft_store import DraftStore
from dashboard.text.units import METRIC
from logger.errors import RigFault


@pytest.fixture
def store(tmp_path):
    (tmp_path / "launch.toml").write_text(three_to_one("resistance_N = 900.0"), "utf-8")
    (tmp_path / "nine.toml").write_text(nine_to_one(""), "utf-8")
    (tmp_path / "notes.toml").write_text("title = 3", "utf-8")
    (tmp_path / "folder.toml").mkdir()
    return DraftStore(tmp_path / "launch.toml")


def test_the_file_on_disk_and_the_other_files_of_the_folder_are_offered(store):
    assert others(store) == (ON_DISK, "nine.toml", "notes.toml")


def test_an_edit_shows_beside_the_file_as_it_was(store):
    draft = store.state().draft
    assert not any(
        row.differs for row in compared(draft.outcome().rig, other_rig(store, ON_DISK), METRIC)
    )
    store.change(1, lambda d: made(d, ["set", "pulley.A1", "efficiency"], "0.6"))
    rows = {
        row.draft.name: row
        for row in compared(store.state().draft.outcome().rig, other_rig(store, ON_DISK), METRIC)
    }
    assert {"Ratio with friction", "Haul force", "Stop hauling at", "Rope"} <= set(rows)
    assert rows["Haul force"].differs and rows["Ratio with friction"].differs


def test_another_rig_of_the_folder_and_one_that_is_none(store):
    rows = compared(store.state().draft.outcome().rig, other_rig(store, "nine.toml"), METRIC)
    ratio = next(row for row in rows if row.draft.name == "Ratio with friction")
    assert "3.00 : 1 without" in ratio.draft.note and "9.00 : 1 without" in ratio.other.note
    haul = next(row for row in rows if row.draft.name == "Haul force")
    assert haul.other.value.startswith("123 ± ")  # 900 N / (1 + e + e^2)^2 at e = 0.9, by hand
    with pytest.raises(RigFault):
        other_rig(store, "notes.toml")
