"""Moves the rows that an interruption spoilt out of the tables into torn-tail.bin.

A killed recorder leaves at most one row without its end.  After a power cut the disk may hold
anything behind the last sync: nothing, zeros, other bytes, or the recorder's own bytes in another
order, which may look like good rows.  So, if there is any doubt, the rows that no journal mark
proves are moved first.

Then the shape of every row is checked, which is the only check of a session without marks.  A bad
row is moved together with the row on either side, because a row next to foreign bytes may have lost
its end or its beginning and still look good.
"""

from __future__ import annotations

import csv
import math
import os
import re
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from contextlib import closing
from functools import partial
from pathlib import Path

from logger import filesystem as files
from logger.filesystem import open_plain, sync_folder, write_all
from logger.session import descriptor as package
from logger.session import write_journal as marks
from logger.session.descriptor import csv_line

_PIECE = 1 << 20  # bytes read at once; memory only
# bytes at the end of a table in which times must not go back; chosen by us: an interruption spoils
# the end
_IN_ORDER = 4 << 20
# bytes of a line judged as one; memory only: a line of 4 kB in rejects.csv takes 16 kB
_MOST_LINE = 1 << 16
_NUMBER = rb"[-+]?+(?:[0-9]++(?:\.[0-9]*+)?+|\.[0-9]++)(?:[eE][-+]?+[0-9]++)?+"
_TIME = re.compile(_NUMBER)
_UTC = re.compile(r"(?:[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]+)?Z)?")
_ID = re.compile(r"[A-Za-z0-9_.-]{1,80}")
_KIND = re.compile(r"[a-z][a-z ]{0,39}")

Check = Callable[[list[str]], bool]


def move_unproved_rows(folder: Path, boot: str) -> list[str]:
    """Move the rows that no mark proves to torn-tail.bin, if there is doubt about them.

    boot: `boot_id` of the running system.  Returns what was moved and why, one sentence, or
        nothing.
    Raises OSError.
    """
    try:
        journal = marks.read(folder)
    except FileNotFoundError:
        return []
    except OSError as error:
        return [
            f"{package.MARKS} cannot be used ({error.strerror}): rows were judged by their shape alone"
        ]
    proofs: dict[str, marks.Proof] = {}
    for name in package.TABLES:
        path = _table_path(folder, name)
        if path is not None and name in journal.tables:
            with open_plain(path) as file:
                size = os.fstat(file.fileno()).st_size
                proofs[name] = marks.prove(file, size, journal.tables[name])
    why = marks.doubt(journal, proofs.values(), boot)
    if not why:
        return []
    moved = {name: _move_behind(folder / name, proof.proved) for name, proof in proofs.items()}
    bytes_of = " and ".join(f"{size} bytes of {name}" for name, size in moved.items() if size)
    where = f"after the last proved row were moved to {package.TORN_TAIL}"
    return [f"{bytes_of} {where}: {why}"] if bytes_of else []


def move_spoilt_rows(folder: Path, names: Sequence[str]) -> list[str]:
    """Move the bad rows of the four tables to torn-tail.bin; returns a sentence for each move.

    names: the session's channels.  Raises OSError.
    """
    sentences = []
    for name, header in package.headers(names).items():
        path = _table_path(folder, name)
        if path is None:
            continue
        make = (
            partial(_Readings, names)
            if name == package.READINGS
            else partial(_Cells, name, len(names))
        )
        if moved := _clean(path, csv_line(header), make):
            sentences.append(f"{moved} bytes of {name} were moved to {package.TORN_TAIL}")
    return sentences


def _table_path(folder: Path, name: str) -> Path | None:
    """Path of a table, None if it is missing; raises OSError for a link."""
    path = folder / name
    if path.is_symlink():
        raise OSError(0, f"{name} is a link: remove it")
    return path if path.exists() else None


class _Readings:
    """Checks rows of readings.csv: their shape, and that times do not go back."""

    def __init__(self, names: Sequence[str]) -> None:
        labels = b"|".join(re.escape(csv_line([name])[:-1]) for name in names) or rb"(?!)"
        row = rb"%s,(?:%s),%s\n" % (_NUMBER, labels, _NUMBER)
        self._rows = re.compile(rb"(?:%s)*+" % row)
        self._last: dict[bytes, float] = {}

    def prefix(self, data: bytes) -> int:
        """The number of bytes at the beginning of `data` that are rows of the right shape."""
        match = self._rows.match(data)
        return match.end() if match else 0

    def good(self, line: bytes, remember: bool) -> bool:
        """Whether `line` is a row no earlier than the last remembered row of its channel.

        remember: whether later rows are compared with this one.
        """
        if not self._rows.fullmatch(line) or line.count(b"\n") != 1:
            return False
        head, _, reading = line[:-1].rpartition(b",")
        time_text, _, label = head.partition(b",")
        time_s = float(time_text)
        if not (math.isfinite(time_s) and math.isfinite(float(reading))):
            return False
        if time_s < self._last.get(label, -math.inf):
            return False
        if remember:
            self._last[label] = time_s
        return True


class _Cells:
    """Checks rows of the other tables, which are short."""

    def __init__(self, name: str, channels: int) -> None:
        self._last = -math.inf
        self._ordered = name == package.CLOCK
        checks: dict[str, Check] = {
            package.EVENTS: lambda c: len(c) == 6 and bool(
                _ID.fullmatch(c[1]) and _KIND.fullmatch(c[2]) and _finite(c[4] or "0")),
            package.CLOCK: lambda c: len(c) == 2 + 2 * channels and bool(_UTC.fullmatch(c[1])) and all(
                n.isascii() and n.isdigit() and len(n) < 16 for n in c[2:]),
            package.REJECTS: lambda c: len(c) == 4 and bool(c[2]),
        }  # fmt: skip
        self._check = checks[name]

    def prefix(self, data: bytes) -> int:
        """0: these rows are checked one by one."""
        return 0

    def good(self, line: bytes, remember: bool) -> bool:
        """Whether `line` is a row of the table; in clock.csv, times must not go back.

        remember: whether later rows are compared with this one.
        """
        try:
            text = line.decode("utf-8")
            cells = next(csv.reader([text[:-1]], strict=True), [])
        except (UnicodeDecodeError, csv.Error):
            return False
        if not text[:-1].isprintable() or not cells or not _finite(cells[0]):
            return False
        time_s = float(cells[0])
        if not self._check(cells) or (self._ordered and time_s < self._last):
            return False
        if remember:
            self._last = time_s
        return True


def _finite(text: str) -> bool:
    return bool(_TIME.fullmatch(text.encode())) and math.isfinite(float(text))


def _clean(path: Path, header: bytes, make_table: Callable[[], _Readings | _Cells]) -> int:
    """Move the bad rows of one table to torn-tail.bin; returns how many bytes.

    make_table: makes the checks of its rows, anew for each pass.  The table is read in passes,
    because what is bad may be larger than the memory.
    """
    start = _first_doubt(path, header, make_table())
    at, first, moved, good_behind = start, start, 0, False
    with closing(_judged(path, start, header, make_table())) as lines:
        for line, good in lines:
            if good:
                good_behind = good_behind or moved > 0
            else:
                first = first if moved else at
                moved += len(line)
            at += len(line)
    if not moved:
        return 0
    with closing(_judged(path, start, header, make_table())) as lines:
        _set_aside(path.parent, _in_pieces(line for line, good in lines if not good))
    if not good_behind:
        _truncate(path, first)
        return moved
    with closing(_judged(path, start, header, make_table())) as lines:
        kept = _in_pieces(line for line, good in lines if good)
        _rewrite(path, start, header if start < len(header) else b"", kept)
    return moved


def _first_doubt(path: Path, header: bytes, table: _Readings | _Cells) -> int:
    """The offset from which lines are checked one by one.

    At least one good line comes between it and the first bad one, unless that is at the beginning.
    """
    with open_plain(path) as file:
        size = os.fstat(file.fileno()).st_size
        start = len(header) if file.read(len(header)) == header else 0
        at, before = start, start
        while start and at < max(start, size - _IN_ORDER):
            file.seek(at)
            data = file.read(_PIECE)
            good = table.prefix(data)
            if not good:
                break
            before = at + data.rfind(b"\n", 0, good - 1) + 1
            at += good
        return before


def _judged(
    path: Path, start: int, header: bytes, table: _Readings | _Cells
) -> Generator[tuple[bytes, bool], None, None]:
    """Each line of a table from offset `start` on, and whether it stays there.

    A line beyond _MOST_LINE comes in pieces, which do not stay.  The last line may lack its line
    feed.
    """
    with open_plain(path) as file:
        file.seek(start)
        lines = iter(partial(file.readline, _MOST_LINE), b"")
        if start < len(header) and (first := next(lines, b"")):
            yield first, first == header
        yield from _verdicts(lines, table)


def _verdicts(lines: Iterator[bytes], table: _Readings | _Cells) -> Iterator[tuple[bytes, bool]]:
    """Each line, and whether it stays in the table."""
    waiting: tuple[bytes, bool] | None = None  # the line before, which a bad one may take along
    after_bad = False
    line = next(lines, b"")
    while line:
        following = next(lines, b"")
        if line.endswith(b"\n") and table.good(line, remember=not after_bad):
            stays, after_bad = not after_bad, False
        else:
            # the last row may only lack its end, because it was being written: then the row before
            # stays
            if waiting is not None and (following or not _is_cut_row(line)):
                waiting = waiting[0], False
            stays, after_bad = False, True
        if waiting is not None:
            yield waiting
        waiting, line = (line, stays), following
    if waiting is not None:
        yield waiting


def _in_pieces(lines: Iterable[bytes]) -> Iterator[bytes]:
    """The same bytes in pieces of about _PIECE, so that each takes one call of the system."""
    piece = bytearray()
    for line in lines:
        piece += line
        if len(piece) >= _PIECE:
            yield bytes(piece)
            piece.clear()
    if piece:
        yield bytes(piece)


def _is_cut_row(line: bytes) -> bool:
    """Whether a line is the beginning of a row: printable text without its line feed."""
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.reason != "unexpected end of data":
            return False
        text = line[: error.start].decode("utf-8")
    return not line.endswith(b"\n") and text.isprintable()


def _move_behind(path: Path, at: int) -> int:
    """Move the bytes from offset `at` to the table's end to torn-tail.bin; returns how many."""
    with open_plain(path) as file:
        moved = os.fstat(file.fileno()).st_size - at
        if moved <= 0:
            return 0
        file.seek(at)
        _set_aside(path.parent, iter(lambda: file.read(_PIECE), b""))
    _truncate(path, at)
    return moved


def _truncate(path: Path, size: int) -> None:
    fd = files.ops.open(path, os.O_RDWR)
    try:
        files.ops.truncate(fd, size)
        files.ops.fsync(fd)
    finally:
        os.close(fd)


def _set_aside(folder: Path, pieces: Iterable[bytes]) -> None:
    """Append bytes to torn-tail.bin and make them durable, before they are cut off their table."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_NOFOLLOW", 0)
    fd = files.ops.open(folder / package.TORN_TAIL, flags)
    try:
        for data in pieces:
            write_all(fd, data)
        files.ops.fsync(fd)
    finally:
        os.close(fd)
    sync_folder(folder)


def _rewrite(path: Path, start: int, header: bytes, kept: Iterable[bytes]) -> None:
    """Replace the file, in one step, by its first `start` bytes, `header` and `kept`."""
    other = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    flags = os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_NOFOLLOW", 0)
    fd = files.ops.open(other, flags)
    try:
        with open_plain(path) as file:
            while start > 0 and (piece := file.read(min(_PIECE, start))):
                write_all(fd, piece)
                start -= len(piece)
        write_all(fd, header)
        for data in kept:
            write_all(fd, data)
        files.ops.fsync(fd)
    finally:
        os.close(fd)
    files.ops.replace(other, path)
    sync_folder(path.parent)
