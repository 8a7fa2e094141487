"""The session folder: what is written is read back, wherever it was cut and whatever was done."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.channels import json_channel
from support.yard import Yard, unsealed

from logger.errors import SessionFault
from logger.session import parser as session_parse
from logger.session import reader as session
from logger.session.descriptor import TABLES
from logger.session.lock import acquire
from logger.session.reader import Follower, open_session, read_all, session_state
from logger.session.verify import repair, verify


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


@pytest.mark.filterwarnings("ignore")
def test_frictionless_calls_it_valid(yard: Yard) -> None:
    """Outside check: the `frictionless` library, with the hashes and sizes of the descriptor."""
    from frictionless import Package

    report = Package(str(yard.imported() / "datapackage.json")).validate()
    assert report.valid, report.flatten()
    assert len(report.tasks) == 4


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
