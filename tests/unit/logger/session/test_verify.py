"""A seal shows each change, and a repair mends what was cut short and nothing else."""

from __future__ import annotations

import shutil
import subprocess

import pytest
from support.disks import NoSync, disk
from support.yard import Yard, snapshot, unsealed

from logger.session.descriptor import TABLES
from logger.session.reader import read_all, session_state
from logger.session.verify import repair, verify


def test_sha256sum_accepts_the_seal(yard: Yard) -> None:
    """Outside check: coreutils' own sha256sum."""
    if shutil.which("sha256sum") is None:
        pytest.skip("no sha256sum here")
    folder = yard.imported()
    done = subprocess.run(
        ["sha256sum", "-c", "--strict", "SHA256SUMS"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    named = {line.split(":")[0] for line in done.stdout.splitlines()}
    assert named == set(snapshot(folder)) - {"SHA256SUMS"}
    digest = subprocess.run(
        ["sha256sum", "SHA256SUMS"], cwd=folder, capture_output=True, text=True, check=True
    ).stdout.split()[0]
    assert verify(folder).digest == digest


def test_verify_changes_nothing(yard: Yard) -> None:
    folder = yard.imported()
    before = snapshot(folder)
    assert verify(folder).state == "complete"
    assert snapshot(folder) == before


@pytest.mark.parametrize(
    "name",
    [
        "readings.csv",
        "events.csv",
        "clock.csv",
        "rejects.csv",
        "rig.toml",
        "sensors.toml",
        "datapackage.json",
        "SHA256SUMS",
    ],
)
@pytest.mark.parametrize("how", ["flip", "append", "delete", "link"])
def test_a_changed_file_is_named_itself_and_no_other(yard: Yard, name: str, how: str) -> None:
    folder = yard.imported()
    path = folder / name
    data = path.read_bytes()
    if how == "flip":
        place = data.rindex(b'"created"') + 13 if name == "datapackage.json" else len(data) // 2
        path.write_bytes(data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :])
    elif how == "append":
        path.write_bytes(data + b"\n")
    elif how == "delete":
        path.unlink()
    else:
        path.rename(yard.folder / "elsewhere")
        path.symlink_to(yard.folder / "elsewhere")
    found = verify(folder)
    assert (found.state, found.changed) == ("changed", (name,))
    assert session_state(folder) == "changed"


@pytest.mark.parametrize("name", TABLES)
def test_a_digit_changed_in_the_seal_names_the_seal(yard: Yard, name: str) -> None:
    folder = yard.imported()
    lines = (folder / "SHA256SUMS").read_text().splitlines()
    lines = [("0" * 64 + line[64:]) if line.endswith(name) else line for line in lines]
    (folder / "SHA256SUMS").write_text("\n".join(lines) + "\n")
    assert verify(folder).changed == ("SHA256SUMS",)


def test_an_added_file_is_named(yard: Yard) -> None:
    folder = yard.imported()
    (folder / "calibration").mkdir()
    (folder / "calibration" / "late.toml").write_text("x")
    assert verify(folder).changed == ("calibration/late.toml",)


@pytest.mark.parametrize("name", TABLES)
def test_every_cut_length_opens_and_is_repaired(yard: Yard, name: str) -> None:
    folder = unsealed(yard, 12)
    whole = (folder / name).read_bytes()
    full = read_all(folder)
    for length in range(len(whole) + 1):
        (folder / name).write_bytes(whole[:length])
        block = read_all(folder)
        assert block.malformed == 0
        if name == "readings.csv":
            rows = max(0, whole[:length].count(b"\n") - 1)
            assert sum(len(c.time_s) for c in block.readings.values()) == rows
            for channel, part in block.readings.items():
                n = len(part.time_s)
                assert (part.reading == full.readings[channel].reading[:n]).all()
    for length in range(0, len(whole) + 1, 7):
        copy = yard.folder / f"copy-{length}"
        shutil.copytree(folder, copy)
        (copy / name).write_bytes(whole[:length])
        assert verify(copy).state == "cut short"
        with disk(NoSync()):
            assert repair(copy).state == verify(copy).state == "complete"
        torn = whole[:length].rpartition(b"\n")[2]
        kept = (copy / "torn-tail.bin").read_bytes() if torn else b""
        assert kept == torn
        assert read_all(copy).events[-1].kind == "repaired"
        shutil.rmtree(copy)


def test_repair_of_a_long_session_dates_its_event_by_the_last_reading(yard: Yard) -> None:
    folder = unsealed(yard)
    rows = "".join(f"{k / 997:.4f},haul_force,1\n" for k in range(20_000))
    (folder / "readings.csv").write_text("time_s,channel,reading\n" + rows)
    assert repair(folder).state == "complete"
    last = (folder / "events.csv").read_text().splitlines()[-1]
    assert float(last.split(",")[0]) == pytest.approx(19_999 / 997, abs=0.01)


def test_repair_works_on_cut_short_alone_and_covers_nothing_up(yard: Yard) -> None:
    folder = yard.imported()
    assert repair(folder).state == "complete"
    (folder / "readings.csv").write_bytes(
        (folder / "readings.csv").read_bytes() + b"9,haul_force,1\n"
    )
    assert repair(folder).state == "changed"
    (folder / "SHA256SUMS").unlink()  # a seal that was taken away does not launder the change
    before = snapshot(folder)
    found = repair(folder)
    assert found.state == verify(folder).state == "changed"
    assert found.changed == ("SHA256SUMS", "readings.csv") and snapshot(folder) == before
