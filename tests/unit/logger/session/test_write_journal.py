"""The marks of a growing session: any bytes may stand there, and none proves what is not so."""

from __future__ import annotations

import hashlib
import io
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.disks import NoSync, disk
from support.yard import Yard, force

from logger.session import write_journal as marks
from logger.session.descriptor import MARKS, TABLES
from logger.session.write_journal import Marks, Proof

BOOT = "12345678-9abc-4def-8123-456789abcdef"


def sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def growing(folder: Path, rows: int = 6) -> Yard:
    """A session whose recorder was killed; each of its tables grew more than once."""
    yard = Yard(folder, force("x"))
    with disk(NoSync()):
        writer = yard.create()
        for k in range(rows):
            writer.readings(b"%d.5000,force,%d\n%d.7500,force,%d\n" % (k, k, k, k))
            writer.event(float(k), "mark", text="é")
            writer.clock(k + 0.8, "2026-05-04T10:00:00.000Z", (2 * k + 2, 0))
            writer.reject(k + 0.9, "x", "not ASCII", b"\xff")
        writer.abandon()
    return yard


some_lines = st.lists(
    st.one_of(
        st.builds(
            marks.line,
            st.sampled_from([*TABLES, "other.csv"]),
            st.integers(1, 10**15),
            st.text("0123456789abcdef", min_size=16, max_size=16),
        ),
        st.binary(max_size=40),
        st.sampled_from([b"\n", b"\0", b"readings.csv 05 0123456789abcdef\n", b"readings.csv 5 "]),
    ),
    max_size=12,
).map(b"".join)


@settings(deadline=None)
@given(head=st.one_of(st.binary(max_size=80), st.just(marks.header(BOOT))), data=some_lines)
def test_any_bytes_are_marks_or_damage_and_raise_nothing(head: bytes, data: bytes) -> None:
    found = marks.parse(head, data)
    if found is None:
        assert head != marks.header(BOOT)
        return
    assert head == marks.header(found.boot)
    *whole, last = data.split(b"\n")
    for name, of in found.tables.items():
        for size, digest in of.items():
            assert marks.line(name, size, digest.decode())[:-1] in whole
    told = [(name, size) for name, of in found.tables.items() for size in of]
    if not found.damaged:
        again = [text.split(b" ") for text in whole]
        assert [marks.line(a.decode(), int(b), c.decode()) for a, b, c in again] == [
            text + b"\n" for text in whole
        ]
        assert set(told) == {(a.decode(), int(b)) for a, b, _ in again}
        assert len(last) < 60


def test_what_the_recorder_writes_is_read_back_and_each_mark_fits_its_table(tmp_path: Path) -> None:
    """Outside check: coreutils' sha256sum over the first bytes of each table."""
    yard = growing(tmp_path)
    found = marks.read(yard.out)
    assert found.boot == marks.boot_id() and not found.damaged and set(found.tables) == set(TABLES)
    for name, of in found.tables.items():
        data = (yard.out / name).read_bytes()
        ends = [i + 1 for i, byte in enumerate(data) if byte == 10]
        # a header and six pieces, of which those of readings.csv have two rows each
        assert sorted(of) == ([ends[0], *ends[2::2]] if name == "readings.csv" else ends)
        with (yard.out / name).open("rb") as file:
            assert marks.prove(file, len(data), of) == Proof(len(data), True, 0)
        if shutil.which("sha256sum") is None:
            pytest.skip("other system: no sha256sum")
        for size, digest in of.items():
            told = subprocess.run(["sha256sum"], input=data[:size], capture_output=True, check=True)
            assert told.stdout.startswith(digest)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other system: no boot_id")
def test_the_run_of_the_machine_is_the_systems_own_number() -> None:
    """random(4): /proc/sys/kernel/random/boot_id is made once, when the system starts."""
    told = subprocess.run(
        ["cat", "/proc/sys/kernel/random/boot_id"], capture_output=True, text=True, check=True
    )
    assert marks.boot_id() == told.stdout.strip() != ""


def test_marks_that_are_cut_anywhere_are_not_damaged(tmp_path: Path) -> None:
    head, end, rest = (growing(tmp_path).out / MARKS).read_bytes().partition(b"\n")
    for length in range(len(rest) + 1):
        found = marks.parse(head + end, rest[:length])
        assert found is not None and not found.damaged, rest[:length]
        assert sum(map(len, found.tables.values())) == rest[:length].count(b"\n")


@pytest.mark.parametrize("name", TABLES)
def test_a_byte_changed_in_a_table_is_seen_by_the_first_mark_behind_it(
    tmp_path: Path, name: str
) -> None:
    yard = growing(tmp_path)
    of = marks.read(yard.out).tables[name]
    data = (yard.out / name).read_bytes()
    for at in range(len(data)):
        other = data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]
        proof = marks.prove(io.BytesIO(other), len(other), of)
        assert proof == Proof(max((size for size in of if size <= at), default=0), False, 0)


@settings(deadline=None)
@given(
    data=st.binary(max_size=200),
    sizes=st.sets(st.integers(1, 260), max_size=12),
    wrong=st.sets(st.integers(1, 260), max_size=4),
)
def test_a_table_is_proved_up_to_the_last_mark_that_fits_it(
    data: bytes, sizes: set[int], wrong: set[int]
) -> None:
    of = {n: (b"0" * 16 if n in wrong else sha(data[:n])[:16].encode()) for n in sizes}
    good = [n for n in sizes - wrong if n <= len(data)]
    found = marks.prove(io.BytesIO(data), len(data), of)
    assert found.proved == max(good, default=0)
    assert found.agrees == (not [n for n in sizes & wrong if n <= len(data)])
    assert found.beyond == max(0, len(data) - max(sizes, default=0))


WHOLE, LONGER, OTHER = Proof(50, True, 0), Proof(50, True, 7), Proof(20, False, 0)


@pytest.mark.parametrize(
    ("boot", "now", "damaged", "proofs", "said"),
    [
        (BOOT, BOOT, False, [WHOLE, WHOLE], ""),
        (BOOT, BOOT, False, [], ""),
        (BOOT, BOOT, False, [WHOLE, OTHER], "is not as it was written"),
        (BOOT, BOOT, False, [LONGER, WHOLE], "longer than what was written"),
        (BOOT, BOOT, True, [WHOLE], "damaged"),
        (BOOT, BOOT[::-1], False, [WHOLE], "restarted"),
        (BOOT, BOOT[::-1], False, [OTHER], "or it is another machine, and the table is not as"),
        ("", BOOT, False, [WHOLE], "not known"),
        (BOOT, "", False, [WHOLE], "not known"),
        ("", "", False, [WHOLE], "not known"),
    ],
)
def test_there_is_doubt_unless_the_machine_ran_on_and_every_mark_fits(
    boot: str, now: str, damaged: bool, proofs: list[Proof], said: str
) -> None:
    found = marks.doubt(Marks(boot, {}, damaged), proofs, now)
    assert said in found and bool(found) == bool(said)


@pytest.mark.parametrize(
    "data",
    [b"", b"haul marks 1 " + BOOT.encode(), b"haul marks 2 x\n", b"\n" * 100, b"\0" * 100,
     b"x" * (9 << 20), b"haul marks 1 \xff\n"],
)  # fmt: skip
def test_what_does_not_begin_as_marks_do_is_refused_with_the_reason(
    tmp_path: Path, data: bytes
) -> None:
    (tmp_path / MARKS).write_bytes(data)
    with pytest.raises(OSError, match="first line is not that of a journal"):
        marks.read(tmp_path)


def test_no_file_and_what_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        marks.read(tmp_path)
    (tmp_path / MARKS).symlink_to("/dev/zero")
    with pytest.raises(OSError, match="is a link"):
        marks.read(tmp_path)
    (tmp_path / MARKS).unlink()
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / MARKS)  # nobody will ever write into it
        with pytest.raises(OSError, match="not a plain file"):
            marks.read(tmp_path)
        (tmp_path / MARKS).unlink()
    (tmp_path / MARKS).mkdir()
    with pytest.raises(OSError, match="is a folder"):
        marks.read(tmp_path)


def test_a_table_that_grew_long_ago_has_its_mark_in_the_part_that_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else the one event of an afternoon, spoilt by the power cut behind it, would have none."""
    monkeypatch.setattr(marks, "MOST_READ", 8000)
    monkeypatch.setattr(marks, "AGAIN", 1000)
    yard = Yard(tmp_path, force("x"))
    with disk(NoSync()):
        writer = yard.create()
        writer.event(0.0, "start")
        for k in range(2000):
            writer.readings(b"%d.5000,force,%d\n" % (k, k))
        writer.abandon()
    assert (yard.out / MARKS).stat().st_size > 8 * 8000
    found = marks.read(yard.out)
    assert not found.damaged and set(found.tables) == set(TABLES)
    for name, of in found.tables.items():
        data = (yard.out / name).read_bytes()
        assert marks.prove(io.BytesIO(data), len(data), of) == Proof(len(data), True, 0)


@pytest.mark.skipif(sys.platform == "win32", reason="other system: no holes in files")
@pytest.mark.parametrize("filling", [b"\n", b"ab\n", b"readings.csv 5 0123456789abcdef\n"])
def test_of_a_file_of_any_size_a_bounded_part_is_read(tmp_path: Path, filling: bytes) -> None:
    """A terabyte, most of it a hole; its end counts, which tells of the last rows."""
    last = marks.line("readings.csv", 77, "f" * 64)
    with (tmp_path / MARKS).open("wb") as file:
        file.write(marks.header(BOOT))
        file.truncate((1 << 40) - 4 * marks.MOST_READ)
        file.seek(0, os.SEEK_END)
        file.write(filling * (2 * marks.MOST_READ // len(filling)) + last)
    found = marks.read(tmp_path)
    assert found.boot == BOOT and found.tables["readings.csv"][77] == b"f" * 16
    assert found.damaged == (not filling.startswith(b"readings"))
