"""A seal that is gone, or does not fit the descriptor, is a change that repair refuses; a sealing that
was interrupted, at whatever call, is completed."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.disks import KillAt, NoSync, RefusesMarks, disk, everything, killed_in
from support.rigs import STRAIGHT_PULL
from support.yard import Yard, begun

from analysis.live.recorder_status import RecorderWatch
from analysis.sessions.session_row import session_row
from dashboard.cli import main
from logger.filesystem import FileOps
from logger.session import descriptor as package
from logger.session import seal
from logger.session.descriptor import DESCRIPTOR, EVENTS, MARKS, READINGS, SUMS
from logger.session.reader import read_all, session_state
from logger.session.verify import repair, verify
from logger.session.writer import SessionWriter


def written(folder: Path) -> tuple[Yard, SessionWriter]:
    """A session of twenty readings, a mark and a stop, and its writer."""
    yard, writer = begun(folder)
    writer.event(0.0, "start")
    writer.event(0.7, "mark", text="sill 7")
    for k in range(20):
        writer.readings(b"%d.5000,force,%d\n" % (k, k))
        writer.clock(k + 0.6, "2026-05-04T10:00:00.000Z", (k + 1, 0))
    writer.event(20.0, "stop")
    return yard, writer


@pytest.fixture
def sealed(tmp_path: Path) -> Path:
    with disk(NoSync()):
        yard, writer = written(tmp_path)
        left = (yard.out / MARKS).read_bytes()
        writer.seal()
    (tmp_path / "marks").write_bytes(left)
    return yard.out


def interrupted(folder: Path) -> Path:
    """As a recorder leaves it that died after it wrote the descriptor."""
    (folder / SUMS).unlink()
    shutil.copy(folder.parent / "marks", folder / MARKS)
    return folder


def with_another_digit(folder: Path, name: str = READINGS) -> None:
    """Change one digit of a file, not its size."""
    data = (folder / name).read_bytes()
    assert b"7" in data
    (folder / name).write_bytes(data.replace(b"7", b"8", 1))


def is_refused(folder: Path, names: set[str]) -> None:
    """The session is `changed` for verify, repair and the command line, and no repair touches it."""
    before = everything(folder)
    found = verify(folder)
    assert found.state == "changed" and set(found.changed) == names, found
    assert repair(folder) == found and main(["verify", "--repair", str(folder)]) == 1
    assert session_state(folder) == "changed"
    assert everything(folder) == before


# -- taken away ----------------------------------------------------------------------------------
def test_a_session_without_its_seal_is_changed_and_not_repaired(
    sealed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ended = json.loads((sealed / DESCRIPTOR).read_text())["ended_at"]
    (sealed / SUMS).unlink()
    is_refused(sealed, {SUMS})
    assert session_state(sealed, quick=True) == "changed"
    first, *details = capsys.readouterr().out.splitlines()
    assert first == "changed"
    assert (
        details[0]
        == f"  {SUMS} is missing, though {DESCRIPTOR} says that the session was sealed at {ended}"
    )
    assert (
        details[1].startswith("  --repair refuses a changed session, because a new seal ")
        and len(details) == 2
    )


def test_an_edit_is_not_covered_up_by_taking_the_seal_away(
    sealed: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """As review, library, live page and report see it, too."""
    with_another_digit(sealed)
    (sealed / SUMS).unlink()
    is_refused(sealed, {SUMS, READINGS})
    assert f"{READINGS} was changed after sealing" in capsys.readouterr().out
    assert main(["review", str(sealed), "--json", "--html", str(tmp_path / "out.html")]) == 0
    review = json.loads(capsys.readouterr().out)
    assert review["state"] == "changed" and "were changed" in review["warnings"][0]
    text = (tmp_path / "out.html").read_text("utf-8")
    assert "<b>changed</b>" in text and f"{SUMS} is missing" in text and "--repair refuses" in text
    assert session_row(str(sealed))["row"]["state"] == "changed"
    live = RecorderWatch(sealed)
    live.look(0.0)
    assert live.alive(0.0).code == "changed"


def test_a_descriptor_that_was_edited_as_well_is_named(sealed: Path) -> None:
    with_another_digit(sealed)
    (sealed / SUMS).unlink()
    found = json.loads((sealed / DESCRIPTOR).read_text())
    del found["haul_self"], found["haul_files"]
    (sealed / DESCRIPTOR).write_text(json.dumps(found))
    is_refused(sealed, {SUMS, DESCRIPTOR})
    assert session_state(sealed, quick=True) == "changed"


# -- a sealing that was interrupted --------------------------------------------------------------
def test_a_sealing_that_was_interrupted_is_cut_short_and_completed(sealed: Path) -> None:
    interrupted(sealed)
    rows = (sealed / READINGS).read_bytes()
    found = verify(sealed)
    assert (found.state, found.changed) == ("cut short", ())
    assert found.details[0].startswith("sealing was interrupted")
    assert session_state(sealed) == session_state(sealed, quick=True) == "cut short"
    with disk(NoSync()):
        assert repair(sealed).state == verify(sealed).state == "complete"
    assert (sealed / READINGS).read_bytes() == rows
    assert read_all(sealed).events[-1].kind == "repaired"
    assert not (sealed / package.TORN_TAIL).exists() and not (sealed / MARKS).exists()


@pytest.mark.parametrize("name", [READINGS, EVENTS, "rig.toml", DESCRIPTOR])
def test_an_interrupted_sealing_does_not_cover_an_edit_up(sealed: Path, name: str) -> None:
    interrupted(sealed)
    with_another_digit(sealed, name) if name != "rig.toml" else (sealed / name).write_text(
        STRAIGHT_PULL + "\n"
    )
    is_refused(sealed, {name})


def test_a_file_that_is_missing_or_was_added_is_named(sealed: Path, tmp_path: Path) -> None:
    for with_sums in (True, False):
        folder = tmp_path / f"copy-{with_sums}"
        shutil.copytree(sealed, folder)
        if not with_sums:
            (folder / SUMS).unlink()
            shutil.copy(tmp_path / "marks", folder / MARKS)
        (folder / "rejects.csv").unlink()
        (folder / "note.txt").write_text("sill 3")
        is_refused(folder, {"rejects.csv", "note.txt"})


# -- a seal and a descriptor that do not fit each other ------------------------------------------
def summed(folder: Path) -> None:
    """A SHA256SUMS that fits every file, as `sha256sum` makes it."""
    sums = {name: seal.hash_file(folder / name) for name in seal.files_in(folder)}
    (folder / SUMS).write_text(seal.sums_text(sums))


def with_own_hash(descriptor: dict[str, Any]) -> bytes:
    descriptor["haul_self"] = "sha256:" + "0" * 64
    digest = hashlib.sha256(package.to_bytes(descriptor)).hexdigest()
    descriptor["haul_self"] = "sha256:" + digest
    return package.to_bytes(descriptor)


def without_hashes(descriptor: dict[str, Any], digest: str) -> bytes:
    for key in ("haul_files", "haul_self", "ended_at"):
        del descriptor[key]
    for row in descriptor["resources"]:
        del row["hash"], row["bytes"]
    return package.to_bytes(descriptor)


def new_hash_alone(descriptor: dict[str, Any], digest: str) -> bytes:
    for row in [*descriptor["haul_files"], *descriptor["resources"]]:
        if row["path"] == READINGS:
            row["hash"] = f"sha256:{digest}"
    return package.to_bytes(descriptor)


def one_of_two_places(descriptor: dict[str, Any], digest: str) -> bytes:
    for row in descriptor["haul_files"]:
        if row["path"] == READINGS:
            row["hash"] = f"sha256:{digest}"
    return with_own_hash(descriptor)


def other_bytes(descriptor: dict[str, Any], digest: str) -> bytes:
    new_hash_alone(descriptor, digest)
    for row in descriptor["haul_files"]:
        if row["path"] == READINGS:
            row["bytes"] += 1
    return with_own_hash(descriptor)


@pytest.mark.parametrize(
    ("forge", "names"),
    [(None, {READINGS, SUMS}), (without_hashes, {DESCRIPTOR}), (new_hash_alone, {DESCRIPTOR}),
     (one_of_two_places, {READINGS, SUMS}), (other_bytes, {READINGS, SUMS})],
)  # fmt: skip
def test_a_seal_made_anew_by_hand_must_fit_the_descriptor(
    sealed: Path, forge: Callable[[dict[str, Any], str], bytes] | None, names: set[str]
) -> None:
    with_another_digit(sealed)
    if forge is not None:
        found = json.loads((sealed / DESCRIPTOR).read_text())
        (sealed / DESCRIPTOR).write_bytes(forge(found, seal.hash_file(sealed / READINGS)))
    summed(sealed)
    is_refused(sealed, names)


# -- killed at any call --------------------------------------------------------------------------
def given_up(writer: SessionWriter) -> None:
    """Let the disk refuse the marks until the recorder goes on without."""
    with disk(RefusesMarks("write", folder=writer.folder)):
        with pytest.raises(OSError):
            writer.event(20.0, "mark")
        with pytest.raises(OSError):  # once more before they are given up
            writer.retry()
        writer.retry()
    assert writer.unmarked and not os.path.lexists(writer.folder / MARKS)
    writer.retry()


@pytest.mark.skipif(sys.platform == "win32", reason="other system: no /proc")
@pytest.mark.parametrize("marked", [True, False])
def test_a_sealing_may_be_killed_at_any_call_and_its_repair_too(
    tmp_path: Path, marked: bool
) -> None:
    """marked False: the disk had refused the marks, and the recorder had gone on without."""
    seen, n, done = [], 0, False
    while not done:
        folder = tmp_path / f"seal-{n}"
        with disk(NoSync()):
            yard, writer = written(folder)
            if not marked:
                given_up(writer)
        with disk(KillAt(n)):
            done = not killed_in(writer.seal, folder)
        rows = (yard.out / READINGS).read_bytes()
        found = verify(yard.out)
        assert found.state in ("cut short", "complete"), (n, found)
        assert session_state(yard.out) == {"complete": "sealed"}.get(found.state, found.state)
        seen.append(found.details[0] if found.state == "cut short" else found.state)
        if seen[-1].startswith("sealing") and "no later" not in seen:
            killed_repairs(yard.out, rows)
            seen.append("no later")  # the first stage with a sealed descriptor stands for them
        with disk(NoSync()):
            assert repair(yard.out).state == "complete", n
        assert (yard.out / READINGS).read_bytes() == rows
        shutil.rmtree(folder)
        n += 1
    assert any(line.startswith("sealing was interrupted") for line in seen)
    assert any(line.startswith("recording was interrupted") for line in seen)
    assert seen[-1] == "complete" and n > 8


def killed_repairs(master: Path, rows: bytes) -> None:
    n, done = 0, False
    while not done:
        folder = master.parent / f"repair-{n}"
        shutil.copytree(master, folder)
        with disk(KillAt(n)):
            done = not killed_in(lambda folder=folder: repair(folder), folder)
        assert verify(folder).state in ("cut short", "complete"), (n, verify(folder))
        with disk(NoSync()):
            assert repair(folder).state == "complete", n
        assert (folder / READINGS).read_bytes() == rows
        assert read_all(folder).events[-1].kind == "repaired"
        n += 1
    assert n > 12


class RefusesSums(FileOps):
    """A disk that takes the descriptor, and then neither the seal nor any mark."""

    def fsync(self, fd: int) -> None:
        pass

    def open(self, path: Path, flags: int, mode: int = 0o644) -> int:
        if SUMS in path.name:
            raise OSError(28, "full")
        return super().open(path, flags, mode)


def test_a_recorder_that_gives_up_sealing_leaves_what_a_repair_completes(tmp_path: Path) -> None:
    with disk(RefusesSums()):
        yard, writer = written(tmp_path)
        given_up(writer)
        for _ in range(3):
            with pytest.raises(OSError):
                writer.seal()
            writer.check_in_place()
        writer.abandon()
    assert "haul_self" in (yard.out / DESCRIPTOR).read_text()
    assert verify(yard.out).state == "cut short"
    with disk(NoSync()):
        assert repair(yard.out).state == "complete"
    assert len(yard.values()) == 20
