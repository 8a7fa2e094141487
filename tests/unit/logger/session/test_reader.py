"""The session folder: what is written is read back, wherever it was cut and whatever was done."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.channels import json_channel
from support.disks import NoSync, disk
from support.yard import Yard

from logger.errors import SessionFault
from logger.session import parser as session_parse
from logger.session import reader as session
from logger.session.lock import acquire
from logger.session.reader import Follower, open_session, read_all, session_state
from logger.session.verify import repair, verify

TABLES = ("readings.csv", "events.csv", "clock.csv", "rejects.csv")


def snapshot(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def unsealed(yard: Yard, rows: int = 20, name: str = "cut") -> Path:
    """A session as a recorder leaves it that was killed."""
    folder = yard.imported(rows, name)
    (folder / "SHA256SUMS").unlink()
    found = json.loads((folder / "datapackage.json").read_text())
    for key in ("haul_files", "haul_self", "ended_at"):
        del found[key]
    for resource in found["resources"]:
        del resource["bytes"], resource["hash"]
    (folder / "datapackage.json").write_text(json.dumps(found))
    return folder


def test_a_sealed_session_is_read_back_as_it_was(yard: Yard) -> None:
    folder = yard.imported(50)
    info, block = open_session(folder), read_all(folder)
    assert info.state == "sealed" and info.started_at.endswith("Z")
    assert info.rigs == ((0.0, folder / "rig.toml"),)
    force = block.readings["haul_force"]
    assert force.time_s == pytest.approx(np.arange(50) / 100)
    assert force.reading.tolist() == [1000 + i * 0.5 for i in range(50)]
    assert [e.kind for e in block.events] == ["start", "stop"]
    assert block.clock[-1].readings == {"haul_force": 50, "haul_travel": 50}
    assert block.malformed == 0


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


@pytest.mark.filterwarnings("ignore")
def test_frictionless_calls_it_valid(yard: Yard) -> None:
    """Outside check: the `frictionless` library, with the hashes and sizes of the descriptor."""
    from frictionless import Package

    report = Package(str(yard.imported() / "datapackage.json")).validate()
    assert report.valid, report.flatten()
    assert len(report.tasks) == 4


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


def test_a_held_lock_means_growing_and_its_end_cut_short(yard: Yard) -> None:
    folder = unsealed(yard)
    held = acquire(folder)
    assert held is not None
    assert session_state(folder) == verify(folder).state == "growing"
    assert repair(folder).state == "growing"
    held.release(remove=False)
    assert session_state(folder) == verify(folder).state == "cut short"


def test_a_read_only_copy_works(yard: Yard) -> None:
    folder = yard.imported()
    for path in folder.iterdir():
        path.chmod(0o444)
    folder.chmod(0o555)
    try:
        assert verify(folder).state == "complete"
        assert len(read_all(folder).readings["haul_force"].time_s) == 50
    finally:
        folder.chmod(0o755)


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


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (None, "no datapackage.json"),
        (b"{", "is not JSON"),
        (b"[]", "no key haul_format"),
        (b'{"haul_format": 2}', "newer"),
        (b'{"haul_format": "1"}', "whole number"),
        (b"\xff", "is not JSON"),
        (b"[" * 100_000, "is not JSON"),
    ],
)
def test_what_is_no_session_is_unreadable_in_one_line(
    tmp_path: Path, data: bytes | None, said: str
) -> None:
    if data is not None:
        (tmp_path / "datapackage.json").write_bytes(data)
    with pytest.raises(SessionFault, match=said):
        open_session(tmp_path)
    found = verify(tmp_path)
    assert found.state == "unreadable" and said in found.details[0]


def test_a_missing_folder_and_a_file_are_unreadable(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    for name in ("none", "file"):
        assert verify(tmp_path / name).state == "unreadable"
        with pytest.raises(SessionFault):
            open_session(tmp_path / name)


def test_hostile_rows_are_counted_and_left_out(yard: Yard) -> None:
    folder = unsealed(yard, 3)
    with (folder / "readings.csv").open("ab") as file:
        file.write(
            b"5,haul_force,7\n"
            b"6,nobody,1\n"
            b"x,haul_force,1\n"
            b"7,haul_force\n"
            b"8,haul_force,nan\n"
            b"1,haul_force,9\n"
            b"9,haul_force,1,2\n"
            b"\xff\xff\n"
            b'"\n'
            b"10,haul_force,8\n"
        )
    with (folder / "events.csv").open("ab") as file:
        file.write(b'1,"x\ny,r9,mark,,,\n')
    block = read_all(folder)
    assert block.readings["haul_force"].reading.tolist()[3:] == [7.0, 8.0]
    assert block.malformed == 8 + 2


@settings(max_examples=60, deadline=None)
@given(data=st.binary(max_size=300), name=st.sampled_from(TABLES), header=st.booleans())
def test_no_bytes_raise_anything_but_a_session_fault(
    tmp_path_factory: pytest.TempPathFactory, data: bytes, name: str, header: bool
) -> None:
    folder = _master(tmp_path_factory)
    whole = (folder / name).read_bytes()
    try:
        (folder / name).write_bytes(whole[: whole.index(b"\n") + 1] * header + data)
        read_all(folder)
    except SessionFault as fault:
        assert "\n" not in str(fault)
    finally:
        (folder / name).write_bytes(whole)


_kept: list[Path] = []


def _master(factory: pytest.TempPathFactory) -> Path:
    from logger.session.csv_import import import_table

    if not _kept:
        base = factory.mktemp("master")
        (base / "rig.toml").write_text("")
        (base / "s.toml").write_text(json_channel("f", "force", "f"))
        (base / "t.csv").write_text("time_s,f\n0,1\n1,2\n")
        _kept.append(import_table(base / "t.csv", base / "rig.toml", base / "s.toml", base / "o"))
        (_kept[0] / "SHA256SUMS").unlink()
    return _kept[0]


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(cuts=st.lists(st.integers(0, 3000), max_size=15))
def test_a_follower_reads_each_row_once_wherever_the_file_grew(
    tmp_path_factory: pytest.TempPathFactory, cuts: list[int]
) -> None:
    folder = _master(tmp_path_factory)
    path = folder / "readings.csv"
    whole = path.read_bytes()
    data = whole.split(b"\n")[0] + b"\n" + b"".join(b"%d.5,f,%d\n" % (i, i * i) for i in range(200))
    try:
        path.write_bytes(b"")
        follower = Follower(folder)
        seen: list[float] = []
        for cut in [*sorted(cuts), len(data)]:
            path.write_bytes(data[:cut])
            seen += follower.read().readings["f"].reading.tolist()
        assert seen == [float(i * i) for i in range(200)]
    finally:
        path.write_bytes(whole)


def test_the_fast_and_the_careful_parser_agree_to_the_last_bit() -> None:
    rng = np.random.default_rng(7)
    rows = b"".join(
        b"%.4f,%s,%r\n" % (i / 300, (b"a", b"b")[i % 2], float(v))
        for i, v in enumerate(rng.normal(1000, 300, 5000))
    )
    fast, slow = session_parse.ReadingsParser(["a", "b"]), session_parse.ReadingsParser(["a", "b"])
    quick, careful = fast._fast(rows), slow._slow(rows)
    assert quick is not None
    for name in ("a", "b"):
        for one, two in zip(quick[name], careful[name], strict=True):
            assert one.tobytes() == two.tobytes()


lines = st.lists(
    st.sampled_from([b"f", b"f", b"f", b"g", b'"f"', b"nobody", b"f,3", b""]).flatmap(
        lambda name: st.tuples(
            st.one_of(st.integers(0, 30).map(float), st.floats(0, 30)), st.just(name), st.floats(-1e6, 1e6)
        )
    ).map(lambda row: b"%r,%s,%r\n" % row),
    max_size=60,
)  # fmt: skip


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    rows=st.one_of(lines, lines.map(sorted)), wild=st.booleans(), rows_each=st.integers(1, 50),
    later=st.lists(st.integers(31, 40), max_size=3),
)  # fmt: skip
def test_a_long_file_read_at_once_is_read_as_in_pieces(
    tmp_path_factory: pytest.TempPathFactory, rows: list[bytes], wild: bool, rows_each: int,
    later: list[int],
) -> None:  # fmt: skip
    """Whatever stands in it, and what is appended afterwards; a file counts as long from 1 byte on."""
    folder = _master(tmp_path_factory)
    path = folder / "readings.csv"
    whole = path.read_bytes()
    plain = [row for row in rows if row.count(b",") == 2 and row.split(b",")[1] == b"f"]
    data = whole.split(b"\n")[0] + b"\n" + b"".join(rows if wild else plain)
    more = b"".join(b"%d,f,%d\n" % (t, t) for t in later)

    def read() -> tuple[list[bytes], int]:
        path.write_bytes(data)
        follower = Follower(folder)
        first = follower.read()
        with path.open("ab") as file:
            file.write(more)
        blocks = [first, follower.read()]
        each = [b.readings["f"] for b in blocks]
        return [x.tobytes() for r in each for x in (r.time_s, r.reading)], sum(
            b.malformed for b in blocks
        )

    at_once: list[bool] = []
    parse_file = session_parse.ReadingsParser.parse_file

    def seen(self: session_parse.ReadingsParser, path: Path, size: int) -> Any:
        found = parse_file(self, path, size)
        at_once.append(found is not None)
        return found

    try:
        expected = read()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(session, "_PIECE", 1)
            patch.setattr(session_parse, "_ROWS", rows_each)
            patch.setattr(session_parse.ReadingsParser, "parse_file", seen)
            assert read() == expected
        assert at_once[:1] == [True] or wild or not plain
    finally:
        path.write_bytes(whole)
