"""What a repair moves, and that it holds no table in memory."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.disks import NoSync, disk
from support.tiers import every
from support.yard import Yard, force

from logger.session.descriptor import MARKS, TORN_TAIL, csv_line, headers
from logger.session.recovery import move_spoilt_rows
from logger.session.verify import verify
from logger.session.writer import SessionWriter

HEADER = csv_line(headers(["force"])["readings.csv"])


def cut_short(folder: Path, rows: int = 20) -> Yard:
    """A session of an older version, without marks, whose recorder was killed."""
    yard = Yard(folder, force("x"))
    with disk(NoSync()):
        writer = SessionWriter.create(yard.out, yard.rig.read_bytes(), yard.sensors)
        writer.event(0.0, "start")
        writer.readings(b"".join(b"%.4f,force,%d\n" % (k, k) for k in range(rows)))
        writer.flush()
        writer.abandon()
    (yard.out / MARKS).unlink()
    return yard


ROOT = Path(__file__).parents[4]
# the highest resident memory (proc(5), VmHWM); ru_maxrss would begin with that of the process that started this one
REPAIR = """
import re, sys
from pathlib import Path
from logger.session.verify import repair
def peak():
    return int(re.search("VmHWM:[^0-9]+([0-9]+)", Path("/proc/self/status").read_text())[1])
before = peak()
print(repair(sys.argv[1]).state)
print((peak() - before) * 1024)
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other system: no /proc")
@pytest.mark.parametrize("rows_behind", every(2, [True, False]))
@pytest.mark.parametrize("table", every(2, ["readings.csv", "events.csv"]))
def test_a_tail_far_larger_than_the_memory_used(
    tmp_path: Path, table: str, rows_behind: bool
) -> None:
    """200 MB of zeros, as a file system leaves them after a power cut; the process takes 25 MB more at most."""
    yard = cut_short(tmp_path / "yard")
    size = (yard.out / table).stat().st_size + 200_000_000
    os.truncate(yard.out / table, size)
    if rows_behind:
        row = b"99.0000,force,99\n" if table == "readings.csv" else b"99.0000,r000009,mark,,,text\n"
        with (yard.out / table).open("ab") as file:
            file.write(b"\n" + 3 * row)
    done = subprocess.run(
        [sys.executable, "-c", REPAIR, str(yard.out)], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    state, took = done.stdout.split()
    assert state == "complete" and int(took) < 25_000_000, done.stdout
    assert (yard.out / TORN_TAIL).stat().st_size >= 200_000_000
    assert verify(yard.out).state == "complete"
    if table == "readings.csv":
        assert yard.values() == [*map(float, range(19)), *([99.0, 99.0] if rows_behind else [])]
    (yard.out / TORN_TAIL).unlink()


def by_hand(data: bytes) -> tuple[bytes, bytes]:
    """What stays of a small table without marks and what is moved, by the rule in words: a bad row goes with
    the row on either side; the last row may only lack its end, and then the row before it stays."""
    lines = data[len(HEADER) :].splitlines(keepends=True)
    good = []
    for line in lines:
        ok = line.endswith(b"\n") and line.count(b",force,") == 1 and line[-2:-1].isdigit()
        good.append(bool(ok))
    stays = list(good)
    for k, ok in enumerate(good):
        if ok:
            continue
        if k + 1 < len(lines):
            stays[k + 1] = False
        cut = k == len(lines) - 1 and not lines[k].endswith(b"\n") and lines[k].isascii()
        if k and not cut:
            stays[k - 1] = False
    kept = b"".join(line for line, ok in zip(lines, stays, strict=True) if ok)
    moved = b"".join(line for line, ok in zip(lines, stays, strict=True) if not ok)
    return HEADER + kept, moved


@settings(max_examples=150, deadline=None)
@given(st.lists(st.sampled_from("ggggggb"), max_size=30), st.booleans())
def test_the_rows_on_either_side_of_a_bad_one_go_with_it(tmp_path_factory, kinds, cut) -> None:
    folder = tmp_path_factory.mktemp("rows")
    lines = [
        b"%d.0000,force,%d\n" % (k, k) if kind == "g" else b"\xff\x00%d\n" % k
        for k, kind in enumerate(kinds)
    ]
    data = HEADER + b"".join(lines) + (b"99.0000,for" if cut else b"")
    (folder / "readings.csv").write_bytes(data)
    with disk(NoSync()):
        move_spoilt_rows(folder, ["force"])
    kept, moved = by_hand(data)
    assert (folder / "readings.csv").read_bytes() == kept
    torn = folder / TORN_TAIL
    assert (torn.read_bytes() if torn.exists() else b"") == moved


def test_lines_without_an_end_are_moved_in_pieces(tmp_path: Path) -> None:
    yard = cut_short(tmp_path / "yard")
    junk = random.Random(1).randbytes(300_000).replace(b"\n", b"?")
    with (yard.out / "readings.csv").open("ab") as file:
        file.write(junk + b"\n")
    with disk(NoSync()):
        move_spoilt_rows(yard.out, ["force"])
    assert (yard.out / TORN_TAIL).read_bytes().endswith(junk + b"\n")
    assert yard.values() == [*map(float, range(19))]
