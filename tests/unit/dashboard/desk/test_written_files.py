"""What cannot be saved on the desk is told in one line with its cure, and what stood there stays."""

import errno
from pathlib import Path

import pytest
from support.disks import disk

from dashboard.desk.written_files import keep_draft, write_text
from logger.errors import CallFault
from logger.filesystem import FileOps


class Full(FileOps):
    """A disk without room."""

    def write(self, fd: int, data: bytes | memoryview) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")


def test_a_full_disk_is_told_with_its_cure_and_the_file_stays(tmp_path: Path) -> None:
    rig = tmp_path / "launch.toml"
    write_text(rig, 'title = "first"\n')
    with disk(Full()), pytest.raises(CallFault) as told:
        write_text(rig, 'title = "second"\n')
    assert str(told.value).count("\n") == 0
    assert all(word in str(told.value) for word in ("launch.toml", "No space left", "free the disk"))  # fmt: skip
    assert rig.read_text("utf-8") == 'title = "first"\n'
    assert [path.name for path in tmp_path.iterdir()] == ["launch.toml"]


def test_a_draft_whose_folder_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / ".desk").write_text("a file where the folder should be", "utf-8")
    with pytest.raises(CallFault, match="the draft cannot be kept there"):
        keep_draft(tmp_path / ".desk" / "launch.toml.draft", 'title = "draft"\n')
