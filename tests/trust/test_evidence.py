"""The record as evidence: no byte can change unseen, looking changes nothing, and what was sealed
by an earlier version reads for ever."""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import sys
from pathlib import Path

import pytest
from support.disks import NoSync, disk, everything
from support.places import SAMPLES
from support.processes import Watched
from support.yard import Yard, force, travel

from dashboard.cli import main
from logger.errors import SessionFault
from logger.session import descriptor as package
from logger.session import seal
from logger.session.reader import Follower, open_session, read_all, session_state
from logger.session.verify import repair, verify

TESTS = Path(__file__).parents[1]
FORMATS = sorted((TESTS / "formats").iterdir())
DIGESTS = {"haul-format-1": "2ec0ffcda700437de3265182fa2de55a4d9b801c7f80af8fe0d239204a52f4bb"}


def full_session(folder: Path, sealed: bool = True, torn: bytes = b"") -> Path:
    """A session that has everything: a calibration, a second rig, rejects, a repaired end."""
    yard = Yard(folder)
    (folder / "points.csv").write_text(
        "applied,reading\n" + "".join(f"{k},{2 * k + k % 2}\n" for k in range(12))
    )
    assert main(["calibrate", str(folder / "points.csv"), "--out", str(folder / "cell.toml")]) == 0
    yard.write(force("x", 'calibration = "cell.toml"\n') + travel("y"))
    with disk(NoSync()):
        writer = yard.create()
        writer.event(0.0, "start")
        for k in range(200):
            writer.readings(b"%d.2500,force,%d.5\n%d.5000,travel,0.%d\n" % (k, 100 + k, k, k))
        writer.copy("rig-2.toml", b'title = "second"\n')
        writer.event(3.0, "rig", text="rig-2.toml", request="q1")
        writer.event(4.0, "mark", text='a "b", c; é', request="q2")
        writer.reject(5.0, "x", "not ASCII", b"\xff\xfe")
        writer.clock(199.75, "2026-05-04T10:00:00.000Z", (200, 1, 200, 0))
        if torn:
            writer.readings(torn)
        elif sealed:
            writer.event(200.0, "stop")
            writer.seal()
        writer.flush()
        writer.abandon()
        if sealed and torn:
            assert repair(yard.out).state == "complete"
    return yard.out


@pytest.mark.parametrize(
    "source", [*SAMPLES, *FORMATS, "full", "repaired"], ids=lambda s: str(s).rsplit("/", 1)[-1]
)
def test_any_flipped_byte_is_found_and_its_file_named(
    tmp_path: Path, source: Path | str, capsys: pytest.CaptureFixture[str]
) -> None:
    draw = random.Random(str(source).rsplit("/", 1)[-1])
    if isinstance(source, Path):
        folder = tmp_path / "copy"
        shutil.copytree(source, folder)
    else:
        folder = full_session(tmp_path, torn=b"200.25,for" if source == "repaired" else b"")
    names = [str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file()]
    assert {"SHA256SUMS", "datapackage.json", "readings.csv", "rig.toml"} <= set(names)
    capsys.readouterr()
    for name in names:
        path = folder / name
        data = path.read_bytes()
        places = {0, len(data) - 1, *(draw.randrange(len(data)) for _ in range(5))}
        for place in places:
            flipped = bytearray(data)
            flipped[place] ^= 1 << draw.randrange(8)
            path.write_bytes(flipped)
            found = verify(folder)
            assert found.state == "changed" and name in found.changed, (name, place, found)
            if name != "SHA256SUMS":
                assert found.changed == (name,), (name, place, found)
        assert main(["verify", str(folder)]) == 1
        said = capsys.readouterr().out
        assert said.startswith("changed\n") and name in said
        path.write_bytes(data)
    assert verify(folder).state == "complete"


@pytest.mark.parametrize("state", ["complete", "changed", "cut short", "unreadable"])
def test_looking_changes_nothing(tmp_path: Path, state: str) -> None:
    folder = full_session(tmp_path, sealed=state != "cut short")
    if state == "changed":
        (folder / "rig.toml").write_text("x")
    if state == "unreadable":
        (folder / "datapackage.json").write_text("{")
        (folder / "SHA256SUMS").unlink()
    before = everything(folder)
    assert verify(folder).state == state
    for look in (
        open_session,
        read_all,
        session_state,
        lambda p: repair(p) if state != "cut short" else None,
    ):
        try:
            look(folder)
        except SessionFault:
            assert state == "unreadable"
    assert everything(folder) == before


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    "source",
    [*SAMPLES, *FORMATS, "full", "repaired", "scrambled"],
    ids=lambda s: str(s).rsplit("/", 1)[-1],
)
def test_frictionless_calls_every_sealed_session_valid(tmp_path: Path, source: Path | str) -> None:
    """Outside check: the `frictionless` library, hashes and sizes included."""
    from frictionless import Package

    folder = source
    if not isinstance(source, Path):
        torn = {
            "full": b"",
            "repaired": b"200.25,for",
            "scrambled": b'200.2500,force,1\n\xff\0\n,,,\n"\n\n',
        }
        folder = full_session(tmp_path, torn=torn[source])
    assert verify(folder).state == "complete"
    report = Package(str(Path(folder) / "datapackage.json")).validate()
    assert report.valid, report.flatten()
    assert all(task.valid for task in report.tasks) and len(report.tasks) == 4


def test_a_session_of_every_format_is_kept_as_bytes() -> None:
    """One for each format up to now; the digest of its seal is written down here."""
    kept = {json.loads((p / "datapackage.json").read_text())["haul_format"] for p in FORMATS}
    assert kept == set(range(1, package.FORMAT + 1))
    assert sum(f.stat().st_size for p in FORMATS for f in p.iterdir()) < 200_000
    for path in FORMATS:
        found = verify(path)
        assert (found.state, found.digest) == ("complete", DIGESTS[path.name])


@pytest.mark.parametrize("path", FORMATS, ids=lambda p: p.name)
def test_an_old_format_is_read_reviewed_and_verified(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its truth is in the record itself: the demo's devices were given it."""
    info, block = open_session(path), read_all(path)
    counts = json.loads((path / "datapackage.json").read_text())
    rows = (path / "readings.csv").read_bytes().count(b"\n") - 1
    assert info.state == "sealed" and block.malformed == 0
    assert sum(len(part.time_s) for part in block.readings.values()) == rows > 1000
    assert [c["name"] for c in counts["channels"]] == list(block.readings)
    assert block.events[0].kind == "start" and block.events[-1].kind == "stop"
    assert main(["verify", str(path)]) == 0
    assert capsys.readouterr().out.startswith(f"complete\ndigest {DIGESTS[path.name]}")
    assert main(["review", str(path), "--json"]) == 0
    review = json.loads(capsys.readouterr().out)
    truth = info.simulation_true
    assert truth is not None and review["state"] == "sealed"
    efficiency = review["measured"]["efficiency"]
    assert abs(efficiency["value"] - truth["efficiency"]) <= efficiency["U95"]
    assert len(review["strokes"]) >= 2 and review["readings"] == block.clock[-1].readings


@pytest.mark.parametrize("path", FORMATS, ids=lambda p: p.name)
def test_an_old_format_opens_on_the_live_page(path: Path) -> None:
    before = everything(path)
    with Watched(path, "--http", "0") as page:
        assert page.url.startswith("http://127.0.0.1:"), page.url
        answer = page.since()
        assert answer["seq"] >= 0 and "parts" in answer
    assert everything(path) == before


def test_a_newer_format_is_refused_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As a newer program would seal it: its own hashes are right."""
    folder = tmp_path / "newer"
    shutil.copytree(FORMATS[-1], folder)
    found = json.loads((folder / "datapackage.json").read_text())
    found["haul_format"] = package.FORMAT + 1
    hashes = {
        row["path"]: (row["hash"].removeprefix("sha256:"), row["bytes"])
        for row in found["haul_files"]
    }
    data = package.sealed_descriptor(found, hashes, found["ended_at"])
    (folder / "datapackage.json").write_bytes(data)
    sums = {name: digest for name, (digest, _) in hashes.items()}
    sums["datapackage.json"] = hashlib.sha256(data).hexdigest()
    (folder / "SHA256SUMS").write_text(seal.sums_text(sums))
    for look in (open_session, Follower, read_all):
        with pytest.raises(SessionFault, match=r"newer than this program reads \(1\)"):
            look(folder)
    found_state = verify(folder)
    assert found_state.state == "unreadable" and "newer" in found_state.details[0]
    for call in (["verify"], ["review"], ["compare"], ["verify", "--repair"]):
        status = main([call[0], str(folder), *call[1:]])
        said = capsys.readouterr()
        assert status == 2 and said.out == "", call
        assert said.err.count("\n") == 1 and "use a newer haul" in said.err, said.err


@pytest.mark.skipif(sys.platform == "win32", reason="other system: no pipes")
def test_a_pipe_in_a_session_is_refused_and_never_waited_for(tmp_path: Path) -> None:
    for name in (
        "datapackage.json",
        "readings.csv",
        "rig.toml",
        "sensors.toml",
        "calibration/cell.toml",
    ):
        folder = full_session(tmp_path / name.replace("/", "-"))
        (folder / name).unlink()
        os.mkfifo(folder / name)
        with pytest.raises(SessionFault) as caught:
            open_session(folder)
            read_all(folder)
        assert "\n" not in str(caught.value)
        assert verify(folder).changed == (name,)
