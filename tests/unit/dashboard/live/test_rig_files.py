"""The rig files of a folder that the rig on the ground may be changed to."""

from __future__ import annotations

import os

import pytest
from support.channels import force
from support.rigs import three_to_one

from dashboard.live.rig_files import MOST_FILES, rig_files, rig_text
from logger.errors import CallFault


def test_rigs_are_listed_by_what_they_hold_and_nothing_else_is(tmp_path):
    outside = tmp_path.parent / "outside.toml"
    outside.write_text(three_to_one(), "utf-8")
    (tmp_path / "b rig.toml").write_text(three_to_one(title="second"), "utf-8")
    (tmp_path / "a.toml").write_text(three_to_one(title="<b>first</b>"), "utf-8")
    (tmp_path / "sensors.toml").write_text(force('port = "x"'), "utf-8")
    (tmp_path / "broken.toml").write_text("[[rope", "utf-8")
    (tmp_path / "title.toml").write_text("title = 3\n[[rope]]\nname = 'x'\n", "utf-8")
    (tmp_path / "link.toml").symlink_to(outside)
    (tmp_path / "folder.toml").mkdir()
    (tmp_path / ".hidden.toml").write_text(three_to_one(), "utf-8")
    os.mkfifo(tmp_path / "pipe.toml")
    found = [(one["file"], one["title"]) for one in rig_files(tmp_path)]
    assert found == [("a.toml", "<b>first</b>"), ("b rig.toml", "second"), ("title.toml", "")]
    assert rig_files(tmp_path / "missing") == []


def test_no_more_are_listed_than_can_be_told_apart(tmp_path):
    for k in range(MOST_FILES + 5):
        (tmp_path / f"rig {k:03}.toml").write_text(three_to_one(), "utf-8")
    assert len(rig_files(tmp_path)) == MOST_FILES


@pytest.mark.parametrize(
    "name",
    ["../outside.toml", "/etc/passwd", "a", "", "a/b.toml", "..toml", "x\n.toml", "link.toml"],
)
def test_no_name_leads_out_of_the_folder(tmp_path, name):
    outside = tmp_path.parent / "outside.toml"
    outside.write_text(three_to_one(), "utf-8")
    (tmp_path / "link.toml").symlink_to(outside)
    with pytest.raises(CallFault):
        rig_text(tmp_path, name)
