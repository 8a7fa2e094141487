"""Never a wrong row: what the marks of a growing session prove is kept, the rest is set aside."""

from __future__ import annotations

import contextlib
import errno
import os
import random
import shutil
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from support.disks import HOWS, Killed, NoSync, PowerCut, RefusesMarks, disk, killed_in, restarted
from support.systems import pseudo_terminals
from support.waiting import patience, until
from support.yard import Counter, Yard, begun, count_into, force, further_rows, in_order, recording

from dashboard.cli import main
from logger.session import descriptor as package
from logger.session import write_journal as marks
from logger.session.descriptor import MARKS
from logger.session.reader import read_all, session_state
from logger.session.verify import repair, verify
from logger.session.writer import SessionWriter
from logger.transports.simulated import serve_pty

pytestmark = pseudo_terminals
TABLES = package.TABLES


def tables(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in TABLES}


def torn(folder: Path) -> bytes:
    path = folder / package.TORN_TAIL
    return path.read_bytes() if path.exists() else b""


def mended(folder: Path) -> dict[str, bytes]:
    """The tables of a session that is repaired, less the row that says so."""
    with disk(NoSync()):
        assert repair(folder).state == "complete"
    found = tables(folder)
    rows = found[package.EVENTS].splitlines(keepends=True)
    while rows[-1].split(b",")[2] == b"repaired":  # more than one where a repair was cut short
        del rows[-1]
    found[package.EVENTS] = b"".join(rows)
    assert read_all(folder).events[-1].kind == "repaired" and read_all(folder).malformed == 0
    return found


def said(folder: Path) -> str:
    return read_all(folder).events[-1].text


def write(writer: SessionWriter, name: str, k: int, rows: int) -> None:
    """A piece of one table.  The readings grow, so that most of what can be made of two is a
    number that might have been read."""
    if name == package.READINGS:
        writer.readings(b"".join(b"%d.%04d,force,%d\n" % (k, i, k * 37 + i) for i in range(rows)))
    for i in range(rows if name != package.READINGS else 0):
        if name == package.EVENTS:
            writer.event(k + i / 1000, "mark", value=float(k * 7 + i), text=f"sill {k}")
        elif name == package.CLOCK:
            writer.clock(k + i / 1000, "2026-05-04T10:00:00.000Z", (k * 11 + i, k))
        else:
            writer.reject(k + i / 1000, "x", "checksum", b"$%d" % (k * 13 + i))


# -- the power fails ---------------------------------------------------------------------------
pieces = st.lists(
    st.one_of(
        st.tuples(st.sampled_from(TABLES), st.integers(1, 90)),
        st.tuples(st.just("sync"), st.just(0)),
    ),
    min_size=1, max_size=14,
)  # fmt: skip


SPLICED = [(package.READINGS, 60), ("sync", 0), (package.READINGS, 85)]


@pytest.mark.parametrize("examples", [25, pytest.param(1500, marks=pytest.mark.long)])
def test_whatever_becomes_of_what_was_not_synced_the_tables_are_beginnings_of_what_was_written(
    examples: int,
) -> None:
    """At each moment, also within a sync; all that was durable by the last sync is there, and what
    is there ends with a row."""

    @settings(max_examples=examples, deadline=None)
    @given(
        pieces=pieces, how=st.sampled_from([*HOWS, "mixed"]), restart=st.booleans(),
        seed=st.integers(0, 2**32), at=st.floats(0, 1),
    )  # fmt: skip
    @example(SPLICED, "pages", True, 3, 1.0)
    @example(SPLICED, "pages", False, 3, 1.0)
    def run(pieces: list[tuple[str, int]], how: str, restart: bool, seed: int, at: float) -> None:
        with tempfile.TemporaryDirectory() as name:
            cut_and_mended(Path(name), pieces, how, restart, random.Random(seed), at)

    run()


def cut_and_mended(
    folder: Path, pieces: list[tuple[str, int]], how: str, restart: bool, draw: random.Random,
    at: float,
) -> None:  # fmt: skip
    layer = PowerCut()
    with disk(layer):
        yard, writer = begun(folder)
        moments: list[tuple[Path, dict[str, bytes]]] = []
        durable = tables(yard.out)
        calls = 0

        def cut() -> None:
            moments.append((folder / f"cut-{len(moments)}", durable))
            layer.cut(yard.out, moments[-1][0], how, draw, restart)

        def after(what: str) -> None:
            nonlocal calls
            calls += 1
            if calls % 23 == int(at * 22.99):
                cut()

        layer.after = after
        for k, (what, rows) in enumerate(pieces):
            if what == "sync":
                before = tables(yard.out)
                writer.sync()
                durable = before
            else:
                write(writer, what, k, rows)
        layer.after = lambda what: None
        cut()
        written = tables(yard.out)
        writer.abandon()
    for found, sure in moments:
        for table, data in mended(found).items():
            assert written[table].startswith(data), (table, how, found.name)
            assert data.startswith(sure[table]) and data.endswith(b"\n"), (table, found.name)


def spliced(folder: Path) -> tuple[Path, bytes]:
    """A session of which the power cut left the unsynced pages in another order, so that a row of
    the one and a row of the other make a row; and the row that nobody measured."""
    layer = PowerCut()
    with disk(layer):
        yard, writer = begun(folder)
        write(writer, package.READINGS, 1, 50)
        writer.sync()
        synced = (yard.out / package.READINGS).read_bytes()
        writer.readings(b"".join(b"2.%04d,force,%d\n" % (i, 12000 + 7 * i) for i in range(160)))
        written = (yard.out / package.READINGS).read_bytes()
        layer.cut(yard.out, folder / "cut", "drop", random.Random(0))
        writer.abandon()
    tail = written[len(synced) :]
    found = [tail[i : i + 512] for i in range(0, len(tail), 512)]
    assert len(found) > 4
    data = synced + found[0] + found[2] + found[1] + b"".join(found[3:])
    row = (found[0].rpartition(b"\n")[2] + found[2].partition(b"\n")[0]) + b"\n"
    assert row in data and row not in written
    (folder / "cut" / package.READINGS).write_bytes(data)
    return folder / "cut", row


@pytest.mark.parametrize("marked", [False, True])
def test_two_rows_that_make_a_plausible_third_are_seen_by_the_marks_alone(
    tmp_path: Path, marked: bool
) -> None:
    """The shape of the rows and the order of their times do not show it: without marks it stays."""
    folder, row = spliced(tmp_path)
    if not marked:
        (folder / MARKS).unlink()
    rows = mended(folder)[package.READINGS]
    assert (row in rows) != marked
    if marked:
        assert rows.count(b"\n") == 51 and row in torn(folder)
        assert f"bytes of {package.READINGS} after the last proved row" in said(folder)
        assert "the machine was restarted since" in said(folder)


def test_the_marks_are_durable_before_the_tables_they_tell_of(tmp_path: Path) -> None:
    """Else a table could be durable whose rows cannot be proved."""
    order: list[str] = []

    class Watch(NoSync):
        names: dict[int, str] = {}  # noqa: RUF012

        def open(self, path: Path, flags: int, mode: int = 0o644) -> int:
            fd = super().open(path, flags, mode)
            self.names[fd] = path.name
            return fd

        def write(self, fd: int, data: bytes | memoryview) -> int:
            order.append(f"write {self.names[fd]}")
            return super().write(fd, data)

        def fsync(self, fd: int) -> None:
            order.append(f"fsync {self.names[fd]}")

    with disk(Watch()):
        _, writer = begun(tmp_path)
        for sync in (writer.sync, writer.sync_written):
            order.clear()
            for k, name in enumerate(TABLES):
                write(writer, name, k, 1)
            assert order == [f"write {n}" for table in TABLES for n in (MARKS, table)]
            order.clear()
            sync()
            assert order == [f"fsync {n}" for n in (MARKS, *TABLES)]
        writer.abandon()


# -- only the recorder dies --------------------------------------------------------------------
@pytest.mark.parametrize("step", [7, pytest.param(1, marks=pytest.mark.long)])
@pytest.mark.parametrize("restart", [False, True])
@pytest.mark.parametrize("name", TABLES)
def test_a_file_cut_at_any_byte_keeps_each_whole_row_while_the_machine_runs_on(
    tmp_path: Path, name: str, restart: bool, step: int
) -> None:
    """On another run or machine, each row up to the last mark; the rest is kept beside them."""
    with disk(NoSync()):
        yard, writer = begun(tmp_path / "yard")
        for k in range(2):
            write(writer, name, k, 3)
        writer.abandon()
    whole = (yard.out / name).read_bytes()
    of = marks.read(yard.out).tables[name]
    for length in range(0, len(whole) + 1, step):
        copy = tmp_path / "copy"
        shutil.copytree(yard.out, copy)
        (copy / name).write_bytes(whole[:length])
        if restart:
            restarted(copy)
        found = mended(copy)
        rows = whole[: whole.rfind(b"\n", 0, length) + 1]
        if restart:
            rows = whole[: max((size for size in of if size <= length), default=0)]
        header = whole[: whole.index(b"\n") + 1]
        assert found[name] == (rows or header), length
        assert torn(copy) == whole[len(rows) : length]
        shutil.rmtree(copy)


def test_a_session_taken_to_another_machine_keeps_every_row_that_was_announced(
    tmp_path: Path,
) -> None:
    """A recorder that is killed leaves its marks and its rows at the same end."""
    with disk(NoSync()):
        yard, writer = begun(tmp_path)
        for k, name in enumerate(TABLES * 3):
            write(writer, name, k, 5)
        writer.abandon()
    before = tables(yard.out)
    restarted(yard.out)
    assert mended(yard.out) == before and torn(yard.out) == b""
    assert "no torn end" in said(yard.out) and not (yard.out / MARKS).exists()


def test_a_killed_recorder_leaves_no_row_without_its_mark(tmp_path: Path) -> None:
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    counter = Counter([count_into(device, yard)])
    process = yard.start()
    until(lambda: len(yard.values()) > 200, 20)
    process.kill()
    process.communicate()
    counter.stop()
    device.close()
    before, of = tables(yard.out), marks.read(yard.out)
    for name in TABLES:
        with (yard.out / name).open("rb") as file:
            proof = marks.prove(file, len(before[name]), of.tables[name])
        assert proof.agrees and not proof.beyond
    assert mended(yard.out) == before and in_order(yard.values())


@pytest.mark.parametrize("name", TABLES)
def test_a_row_changed_by_hand_is_not_sealed_as_if_it_had_been_measured(
    tmp_path: Path, name: str
) -> None:
    with disk(NoSync()):
        yard, writer = begun(tmp_path)
        for k in range(6):
            write(writer, name, k, 1)
        writer.abandon()
    data = (yard.out / name).read_bytes()
    rows = data.splitlines(keepends=True)
    other = [*rows[:4], rows[4].replace(b"3", b"9"), *rows[5:]]
    assert other != rows
    (yard.out / name).write_bytes(b"".join(other))
    assert mended(yard.out)[name] == b"".join(rows[:4])
    assert torn(yard.out) == b"".join(other[4:])
    assert "the table is not as it was written" in said(yard.out)


# -- what else may stand under the marks' name ---------------------------------------------------
FOREIGN = ("link", "link to the readings", "pipe", "folder", "empty", "noise", "hole")


def lay(path: Path, what: str) -> None:
    if what == "link":
        path.symlink_to("/dev/zero")
    elif what.startswith("link"):
        path.symlink_to(package.READINGS)
    elif what == "pipe":
        os.mkfifo(path)
    elif what == "folder":
        path.mkdir()
    elif what == "hole":
        with path.open("wb") as file:
            file.truncate(1 << 40)
    else:
        path.write_bytes(b"" if what == "empty" else random.Random(5).randbytes(5000))


@pytest.mark.parametrize("what", FOREIGN)
def test_marks_of_no_use_are_said_and_the_rows_judged_by_their_shape(
    tmp_path: Path, what: str
) -> None:
    with disk(NoSync()):
        yard, writer = begun(tmp_path)
        write(writer, package.READINGS, 1, 30)
        writer.abandon()
    rows = (yard.out / package.READINGS).read_bytes()
    (yard.out / MARKS).unlink()
    lay(yard.out / MARKS, what)
    with (yard.out / package.READINGS).open("ab") as file:
        file.write(b"31.5,for")
    assert verify(yard.out).state == "cut short"
    with disk(NoSync()):
        assert repair(yard.out).state == verify(yard.out).state == "complete"
    assert (yard.out / package.READINGS).read_bytes() == rows and torn(yard.out) == b"31.5,for"
    assert f"{MARKS} cannot be used" in said(yard.out) and "their shape alone" in said(yard.out)
    assert os.path.lexists(yard.out / MARKS) == (what == "folder")


@pytest.mark.parametrize("what", ["left", *FOREIGN])
def test_marks_left_in_a_sealed_session_are_no_part_of_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], what: str
) -> None:
    """As a recorder leaves them that was killed between the seal and its last step.  Outside checks:
    coreutils' sha256sum, and the digest of the same session without them."""
    with disk(NoSync()):
        yard, writer = begun(tmp_path)
        write(writer, package.READINGS, 1, 30)
        left = (yard.out / MARKS).read_bytes()
        digest = writer.seal()
    assert not (yard.out / MARKS).exists()
    if what == "left":
        (yard.out / MARKS).write_bytes(left)
    else:
        lay(yard.out / MARKS, what)
    assert verify(yard.out).state == "complete" and verify(yard.out).digest == digest
    assert session_state(yard.out) == session_state(yard.out, quick=True) == "sealed"
    assert repair(yard.out).digest == digest and len(yard.values()) == 30
    assert MARKS not in (yard.out / package.DESCRIPTOR).read_text("utf-8")
    assert MARKS not in (yard.out / package.SUMS).read_text("utf-8")
    assert main(["verify", str(yard.out)]) == 0
    assert main(["review", str(yard.out), "--csv", str(tmp_path / "out.csv")]) == 0
    assert main(["review", str(yard.out), "--html", str(tmp_path / "out.html")]) == 0
    capsys.readouterr()
    if shutil.which("sha256sum") is not None:
        subprocess.run(
            ["sha256sum", "-c", "--strict", "--quiet", package.SUMS], cwd=yard.out, check=True
        )
    if what == "left":  # and a copy without them is the same session
        shutil.copytree(yard.out, tmp_path / "copy", ignore=shutil.ignore_patterns(MARKS))
        assert verify(tmp_path / "copy").digest == digest


def test_a_session_whose_sealing_was_interrupted_loses_no_row_to_marks_that_end_early(
    tmp_path: Path,
) -> None:
    """The hashes in its descriptor prove every row; the marks say only that sealing had begun."""
    with disk(NoSync()):
        yard, writer = begun(tmp_path)
        write(writer, package.READINGS, 1, 30)
        left = (yard.out / MARKS).read_bytes()
        write(writer, package.READINGS, 2, 30)
        writer.seal()
    (yard.out / package.SUMS).unlink()
    (yard.out / MARKS).write_bytes(left)
    restarted(yard.out)
    before = (yard.out / package.READINGS).read_bytes()
    assert mended(yard.out)[package.READINGS] == before and torn(yard.out) == b""
    assert "sealing itself was interrupted" in said(yard.out)


# -- a disk that refuses the marks alone ---------------------------------------------------------
@contextmanager
def recorder_whose_marks_are_refused(
    folder: Path, kind: str, times: int | None = None
) -> Iterator[Yard]:
    device = serve_pty()
    yard, layer = Yard(folder, force(device.url)), RefusesMarks(kind, on=False, times=times)
    with disk(layer), recording(yard) as running:
        counter = Counter([count_into(device, yard)])
        until(lambda: len(yard.values()) > 50)
        layer.on = True
        yield yard
        counter.stop()
        outcome = running.end()
    assert layer.refused and outcome.state == "sealed" and outcome.drops == {"force": 0}
    assert outcome.disk == ""
    assert in_order(yard.values()) and yard.values()[-1] == len(counter.sent) - 1
    assert verify(yard.out).state == "complete"
    device.close()


@pytest.mark.parametrize("kind", ["write", "fsync"])
def test_a_disk_that_refuses_the_marks_alone_costs_no_reading_and_is_told(
    tmp_path: Path, kind: str
) -> None:
    """The rows wait for a moment, until it is seen that it takes other files; then they go on
    without marks, since a repair would take those behind the last one for unproved."""
    start = time.monotonic()
    with recorder_whose_marks_are_refused(tmp_path / "yard", kind) as yard:
        until(lambda: yard.kinds().count("disk") == 2)
        assert not (yard.out / MARKS).exists()
        until(further_rows(yard), 8, "rows without marks")
        shutil.copytree(yard.out, tmp_path / "copy")
    waited, told = [event for event in yard.events() if event.kind == "disk"]
    assert "nothing could be written for" in waited.text and waited.value is not None
    assert waited.value < 1.5 * patience(start)
    assert os.strerror(errno.EIO) in told.text and "refuses the journal" in told.text
    assert not list(yard.out.glob(".*"))
    rows = (tmp_path / "copy" / package.READINGS).read_bytes()
    found = mended(tmp_path / "copy")[package.READINGS]
    assert found == rows[: rows.rindex(b"\n") + 1]


def test_marks_that_were_given_up_do_not_come_back_after_a_power_cut(tmp_path: Path) -> None:
    """They would end where the disk began to refuse them, and cost all rows behind them."""

    class Refuses(PowerCut):
        def fsync(self, fd: int) -> None:
            if self._paths[fd].name == MARKS and (yard.out / package.DESCRIPTOR).exists():
                raise OSError(errno.EIO, os.strerror(errno.EIO))
            super().fsync(fd)

    layer = Refuses()
    yard = Yard(tmp_path, force("x"))
    with disk(layer):
        writer = yard.create()
        for k in range(8):
            write(writer, package.READINGS, k, 9)
            try:
                writer.sync_written()
            except OSError:
                with contextlib.suppress(OSError):
                    writer.retry()
        assert writer.unmarked == os.strerror(errno.EIO)
        rows = (yard.out / package.READINGS).read_bytes()
        layer.cut(yard.out, tmp_path / "cut", "scramble", random.Random(2))
        writer.abandon()
    assert rows.count(b"\n") == 73 and mended(tmp_path / "cut")[package.READINGS] == rows


@pytest.mark.parametrize("kind", ["write", "fsync"])
def test_marks_that_were_refused_for_a_moment_go_on_at_the_very_byte(
    tmp_path: Path, kind: str
) -> None:
    with recorder_whose_marks_are_refused(tmp_path / "yard", kind, times=1) as yard:
        until(lambda: "disk" in yard.kinds())
        until(further_rows(yard), 8, "rows with marks again")
        shutil.copytree(yard.out, tmp_path / "copy")
        found = marks.read(tmp_path / "copy")
        assert not found.damaged
        with (tmp_path / "copy" / package.READINGS).open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            proof = marks.prove(file, size, found.tables[package.READINGS])
        assert proof.agrees and proof.proved > size - 2000
    assert yard.kinds().count("disk") == 1


def test_no_table_grows_beyond_its_marks_on_a_disk_that_takes_a_part_now_and_then(
    tmp_path: Path,
) -> None:
    """Else a repair would take rows that were written, and counted, for foreign ones."""

    class Trickles(NoSync):
        on, calls = False, 0

        def write(self, fd: int, data: bytes | memoryview) -> int:
            self.calls += self.on
            if self.on and self.calls % 3 == 0:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            return super().write(fd, data[:7] if self.on else data)

    layer = Trickles()
    with disk(layer):
        yard, writer = begun(tmp_path)
        layer.on = True
        for k in range(60):
            with contextlib.suppress(OSError):
                write(writer, TABLES[k % 4], k, 3)
            with contextlib.suppress(OSError):
                writer.retry()
            found = marks.read(yard.out)
            for name, data in tables(yard.out).items():
                assert len(data) <= max(found.tables[name])
        layer.on = False
        writer.retry()
        assert proved(yard.out)
        writer.seal()
    assert verify(yard.out).state == "complete"


def test_a_disk_that_refuses_the_marks_from_the_first_is_told_before_anything_is_recorded(
    tmp_path: Path,
) -> None:
    yard = Yard(tmp_path, force("x"))
    for kind in ("open", "write", "fsync"):
        layer = RefusesMarks(kind)
        with disk(layer), pytest.raises(Exception, match="cannot be written"):
            yard.create()
        assert not yard.out.exists() and layer.refused


def proved(folder: Path) -> bool:
    """Whether all that stands in the tables is proved."""
    found = marks.read(folder)
    for name in TABLES:
        with (folder / name).open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            proof = marks.prove(file, size, found.tables[name])
        if proof != marks.Proof(size, True, 0):
            return False
    return not found.damaged


def test_a_removed_folder_gets_its_marks_back_too(tmp_path: Path) -> None:
    with disk(NoSync()):
        yard, writer = begun(tmp_path)
        for k, name in enumerate(TABLES):
            write(writer, name, k, 9)
        shutil.rmtree(yard.out)
        with pytest.raises(FileNotFoundError):
            writer.check_in_place()
        writer.put_back()
        writer.check_in_place()
        for k, name in enumerate(TABLES):
            write(writer, name, 10 + k, 9)
        assert proved(yard.out) and not writer.unmarked
        writer.abandon()
        before = tables(yard.out)
        restarted(yard.out)
        assert mended(yard.out) == before


@pytest.mark.parametrize("how", ["removed", "moved"])
def test_marks_that_somebody_removes_are_written_anew(tmp_path: Path, how: str) -> None:
    with disk(NoSync()):
        yard, writer = begun(tmp_path)
        write(writer, package.READINGS, 1, 9)
        if how == "removed":
            (yard.out / MARKS).unlink()
        else:
            (yard.out / MARKS).rename(tmp_path / "elsewhere")
        for _ in range(2):
            writer.check_in_place()
        write(writer, package.READINGS, 2, 9)
        assert proved(yard.out) and not writer.unmarked
        writer.seal()
    assert verify(yard.out).state == "complete"


@pytest.mark.parametrize("what", FOREIGN)
def test_what_is_laid_in_the_marks_place_is_neither_followed_nor_taken_for_them(
    tmp_path: Path, what: str
) -> None:
    with disk(NoSync()):
        yard, writer = begun(tmp_path)
        (yard.out / MARKS).unlink()
        lay(yard.out / MARKS, what)
        for k in range(3):
            write(writer, package.READINGS, k, 9)
            writer.sync()
            writer.check_in_place()
        assert writer.unmarked
        rows = (yard.out / package.READINGS).read_bytes()
        assert rows.count(b"\n") == 28
        writer.abandon()
        assert repair(yard.out).state == "complete"
    assert (yard.out / package.READINGS).read_bytes() == rows


# -- a repair is itself cut short ----------------------------------------------------------------
def cut_on_another_machine(folder: Path, how: str) -> tuple[Path, dict[str, bytes]]:
    """A session that a power cut ended, and what a repair that nothing disturbs makes of it."""
    layer = PowerCut()
    with disk(layer):
        yard, writer = begun(folder / "yard")
        for k, name in enumerate((*TABLES, *TABLES)):
            write(writer, name, k, 60)
            if k == 5:
                writer.sync()
        layer.cut(yard.out, folder / "master", how, random.Random(8))
        written = tables(yard.out)
        writer.abandon()
    shutil.copytree(folder / "master", folder / "whole")
    whole = mended(folder / "whole")
    assert all(written[name].startswith(data) for name, data in whole.items())
    assert any(written[name] != data for name, data in whole.items())
    return folder / "master", whole


def check_mended_again(out: Path, master: Path, whole: dict[str, bytes], n: int) -> None:
    assert mended(out) == whole, n
    for name, data in whole.items():
        assert (master / name).read_bytes()[len(data) :] in torn(out), (name, n)


def cut_by_hand(folder: Path) -> tuple[Path, dict[str, bytes]]:
    """A session whose readings end within a piece, on the machine that wrote it."""
    with disk(NoSync()):
        yard, writer = begun(folder / "yard")
        for k, name in enumerate((*TABLES, package.READINGS)):
            write(writer, name, k, 20)
        writer.abandon()
    whole = tables(yard.out)
    rows = whole[package.READINGS].splitlines(keepends=True)
    whole[package.READINGS] = b"".join(rows[:-6])
    (yard.out / package.READINGS).write_bytes(whole[package.READINGS] + rows[-6][:9])
    return yard.out, whole


@pytest.mark.parametrize("how", ["pages", "scramble", "part", "by hand"])
@pytest.mark.many
def test_a_repair_may_be_killed_at_any_call_and_done_again_here_or_elsewhere(
    tmp_path: Path, how: str
) -> None:
    """A second time no row is lost that the first one had taken for good."""
    by_hand = how == "by hand"
    master, whole = cut_by_hand(tmp_path) if by_hand else cut_on_another_machine(tmp_path, how)
    n = 0
    done = False
    while not done:
        out, left, layer = tmp_path / f"try-{n}" / "session", n, PowerCut()
        out.parent.mkdir()
        shutil.copytree(master, out)

        def after(what: str) -> None:
            nonlocal left
            left -= 1
            if left < 0:
                raise Killed

        layer.after = after
        with disk(layer):
            done = not killed_in(lambda out=out: repair(out), tmp_path)
        if n % 2 and not by_hand:
            restarted(out)
        check_mended_again(out, master, whole, n)
        n += 1
    assert n > 30


@pytest.mark.parametrize("how", ["pages", "scramble", "part"])
def test_the_power_may_fail_at_any_call_of_a_repair(tmp_path: Path, how: str) -> None:
    master, whole = cut_on_another_machine(tmp_path, how)
    out = tmp_path / "again" / "session"
    out.parent.mkdir()
    shutil.copytree(master, out)
    layer, draw = PowerCut(), random.Random(9)
    layer.hold(out)
    found: list[Path] = []

    def after(what: str) -> None:
        found.append(tmp_path / f"cut-{len(found)}")
        layer.cut(out, found[-1], how, draw)

    layer.after = after
    with disk(layer):
        assert repair(out).state == "complete"
    for n, other in enumerate(found):
        check_mended_again(other, master, whole, n)
    assert len(found) > 30


@pytest.mark.parametrize("how", HOWS)
def test_what_a_repair_has_sealed_outlives_a_power_cut_just_then(tmp_path: Path, how: str) -> None:
    """A killed recorder's last rows are in the system's memory alone, until the repair syncs them."""
    layer = PowerCut()
    with disk(layer):
        yard, writer = begun(tmp_path)
        for k, name in enumerate(TABLES):
            write(writer, name, k, 9)
        writer.abandon()
        verdict = repair(yard.out)
        layer.cut(yard.out, tmp_path / "cut", how, random.Random(4))
    assert verdict.state == "complete" and verify(tmp_path / "cut") == verdict


def test_syncing_from_another_thread_never_leaves_a_mark_in_part(tmp_path: Path) -> None:
    with disk(NoSync()):
        yard, writer = begun(tmp_path)
        halt = threading.Event()

        def sync() -> None:
            while not halt.is_set():
                writer.sync_written()

        thread = threading.Thread(target=sync)
        thread.start()
        for k in range(400):
            write(writer, TABLES[k % 4], k, 3)
        halt.set()
        thread.join()
        assert proved(yard.out)
        writer.seal()
    assert verify(yard.out).state == "complete"
