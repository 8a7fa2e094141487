"""A recorder that is killed before its session begins leaves a folder that can be recorded into."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.yard import Killed, NoSync, Yard, disk, force, killed_in

from logger.errors import SessionFault
from logger.session.unbegun_session import is_unbegun
from logger.session.verify import repair, verify
from logger.session.writer import SessionWriter


class KillAt(NoSync):
    """Ends the process, as it were, at the n-th call."""

    def __init__(self, n: int) -> None:
        self.left = n

    def _call(self) -> None:
        self.left -= 1
        if self.left < 0:
            raise Killed

    def open(self, path: Path, flags: int, mode: int = 0o644) -> int:
        self._call()
        return super().open(path, flags, mode)

    def write(self, fd: int, data: bytes | memoryview) -> int:
        self._call()
        return super().write(fd, data)

    def replace(self, source: Path, target: Path) -> None:
        self._call()
        super().replace(source, target)

    def mkdir(self, path: Path) -> None:
        self._call()
        super().mkdir(path)

    def unlink(self, path: Path) -> None:
        self._call()
        super().unlink(path)


def create(yard: Yard) -> SessionWriter:
    return SessionWriter.create(yard.out, b'title = "slipway"\n', yard.sensors)


def killed_at(yard: Yard, n: int, monkeypatch: pytest.MonkeyPatch) -> bool:
    """Whether making a session was killed at its n-th call; nothing is cleaned up then."""
    with monkeypatch.context() as patch, disk(KillAt(n)):
        patch.setattr("logger.session.writer._clear", lambda *_: None)
        patch.setattr("logger.session.lock.SessionLock.release", lambda *_, **__: None)
        return killed_in(lambda: create(yard), yard.folder)


def test_a_kill_at_any_call_before_the_session_begins(tmp_path: Path, monkeypatch) -> None:
    left = 0
    for n in range(100):
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
            create(yard).seal()
        assert verify(yard.out).state == "complete", n
    assert n > 15 and left > 10


def test_a_kill_while_it_is_cleared_leaves_it_as_it_was(tmp_path: Path, monkeypatch) -> None:
    for n in range(40):
        yard = Yard(tmp_path / f"yard-{n}", force("x"))
        assert killed_at(yard, 20, monkeypatch) and is_unbegun(yard.out)
        assert killed_at(yard, n, monkeypatch)
        if (yard.out / "datapackage.json").exists():
            break  # cleared, and the next session made
        with disk(NoSync()):
            create(yard).seal()
        assert verify(yard.out).state == "complete", n
    assert n > 20


@pytest.mark.parametrize(
    ("name", "data"),
    [("notes.txt", b"mine"), ("readings.csv", b"time_s,channel,reading\n1.0,force,1\n"), ("inbox/a.json", b"{}")],
)  # fmt: skip
def test_what_may_be_somebodys_is_not_touched(tmp_path: Path, monkeypatch, name, data) -> None:
    yard = Yard(tmp_path / "yard", force("x"))
    assert killed_at(yard, 26, monkeypatch) and is_unbegun(yard.out)
    (yard.out / name).parent.mkdir(exist_ok=True)
    (yard.out / name).write_bytes(data)
    with pytest.raises(SessionFault, match="not empty"):
        create(yard)
    assert (yard.out / name).read_bytes() == data


def test_a_folder_of_a_persons_own_files_is_none(tmp_path: Path) -> None:
    yard = Yard(tmp_path / "yard", force("x"))
    yard.out.mkdir()
    for name in ("rig.toml", "sensors.toml"):
        (yard.out / name).write_text("")
    assert not is_unbegun(yard.out)
    (yard.out / "recorder.lock").touch()
    with pytest.raises(SessionFault, match="not empty"):
        create(yard)
