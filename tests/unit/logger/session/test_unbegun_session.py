"""A recorder that is killed before its session begins leaves a folder that can be recorded into."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.disks import KillAt, NoSync, disk, killed_in
from support.yard import Yard, force

from logger.errors import SessionFault
from logger.session.unbegun_session import is_unbegun
from logger.session.verify import repair, verify


def killed_at(yard: Yard, n: int, monkeypatch: pytest.MonkeyPatch) -> bool:
    """Whether making a session was killed at its n-th call; nothing is cleaned up then."""
    with monkeypatch.context() as patch, disk(KillAt(n)):
        patch.setattr("logger.session.writer._clear", lambda *_: None)
        patch.setattr("logger.session.lock.SessionLock.release", lambda *_, **__: None)
        return killed_in(yard.create, yard.folder)


def unbegun(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Yard:
    """The most that a recorder leaves that is killed before its session begins."""
    for n in range(200):
        yard = Yard(folder / f"left-{n}", force("x"))
        killed_at(yard, n, monkeypatch)
        if (yard.out / "inbox").exists():
            assert is_unbegun(yard.out)
            return yard
    raise AssertionError("no such moment")


@pytest.mark.leaves("what a killed process has open, which here nobody closes")
def test_a_kill_at_any_call_before_the_session_begins(tmp_path: Path, monkeypatch) -> None:
    left = 0
    for n in range(200):
        yard = Yard(tmp_path / f"yard-{n}", force("x"))
        if not killed_at(yard, n, monkeypatch):
            break
        if (yard.out / "datapackage.json").exists():
            with disk(NoSync()):
                assert repair(yard.out).state == "complete"
            continue
        if is_unbegun(yard.out) if yard.out.exists() else False:
            left += 1
            verdict = verify(yard.out)
            assert verdict.state == "unreadable" and "record into it" in verdict.details[0]
        with disk(NoSync()):
            yard.create().seal()
        assert verify(yard.out).state == "complete", n
    assert n > 15 and left > 10


def test_a_kill_while_it_is_cleared_leaves_it_as_it_was(tmp_path: Path, monkeypatch) -> None:
    for n in range(200):
        yard = unbegun(tmp_path / f"yard-{n}", monkeypatch)
        assert killed_at(yard, n, monkeypatch)
        if (yard.out / "datapackage.json").exists():
            break  # cleared, and the next session made
        with disk(NoSync()):
            yard.create().seal()
        assert verify(yard.out).state == "complete", n
    assert n > 20


@pytest.mark.parametrize(
    ("name", "data"),
    [("notes.txt", b"mine"), ("readings.csv", b"time_s,channel,reading\n1.0,force,1\n"), ("inbox/a.json", b"{}")],
)  # fmt: skip
def test_what_may_be_somebodys_is_not_touched(tmp_path: Path, monkeypatch, name, data) -> None:
    yard = unbegun(tmp_path, monkeypatch)
    (yard.out / name).parent.mkdir(exist_ok=True)
    (yard.out / name).write_bytes(data)
    with pytest.raises(SessionFault, match="not empty"):
        yard.create()
    assert (yard.out / name).read_bytes() == data


def test_a_folder_of_a_persons_own_files_is_none(tmp_path: Path) -> None:
    yard = Yard(tmp_path / "yard", force("x"))
    yard.out.mkdir()
    for name in ("rig.toml", "sensors.toml"):
        (yard.out / name).write_text("")
    assert not is_unbegun(yard.out)
    (yard.out / "recorder.lock").touch()
    with pytest.raises(SessionFault, match="not empty"):
        yard.create()
