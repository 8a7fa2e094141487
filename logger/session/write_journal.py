"""What is proved of a growing session's tables: the marks in a hidden file beside them.

Before the recorder appends to a table it writes a mark: the table's name, how many bytes it will
have, and the first 16 digits of the SHA-256 of all of them.  The first line names the running
machine.  A table that fits a mark is proved up to there, byte by byte.  Where the machine may have
lost what it held in memory, nothing behind the last such mark is believed; where it surely has not,
only the recorder died, and whole rows of the piece that it was writing are good as they are.

Reads and judges only; any bytes may stand in the file.  `mark_writer` writes it, `salvage` acts.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from logger.filesystem import open_plain
from logger.session.descriptor import MARKS

DIGITS = 16  # of a SHA-256; chosen by us: 64 bits tell an accident, see DEVELOPERS.md, The marks
MOST_READ = 8 << 20  # bytes from the end; derived: 40 bytes, 50 times a second, are 7 MB an hour
AGAIN = MOST_READ // 8  # bytes after which each table is marked again, if it grew or not; derived from it
_BOOT = Path("/proc/sys/kernel/random/boot_id")
_HEADER = re.compile(rb"haul marks 1 ([0-9a-f-]{0,36})\n")
_MOST_HEADER = 64  # bytes; memory only
_MARK = re.compile(rb"([a-z]{1,20}\.csv) ([1-9][0-9]{0,15}) ([0-9a-f]{16})\n")
_PART = re.compile(
    rb"[a-z]{1,20}(?:\.(?:c(?:sv?)?)?|\.csv (?:[1-9][0-9]{0,15}(?: [0-9a-f]{0,16})?)?)?"
)
_PIECE = 1 << 20  # bytes read at once; memory only


def boot_id() -> str:
    """Names the running system from its start to its end; "" where none can be had."""
    with contextlib.suppress(OSError):
        found = _BOOT.read_text("ascii", "replace").strip()
        if re.fullmatch(r"[0-9a-f-]{1,36}", found):
            return found
    return ""


def header(boot: str) -> bytes:
    """The first line."""
    return b"haul marks 1 %s\n" % boot.encode("ascii")


def line(name: str, size: int, digest: str) -> bytes:
    """One mark.  size: bytes of the table; digest: SHA-256 of them in hex, or its beginning."""
    return b"%s %d %s\n" % (name.encode("ascii"), size, digest[:DIGITS].encode("ascii"))


@dataclass(frozen=True)
class Marks:
    """boot: the machine's run that they are of, "" if unknown; tables: by name, size to digest;
    damaged: there are lines that no recorder writes."""

    boot: str
    tables: Mapping[str, Mapping[int, bytes]]
    damaged: bool


@dataclass(frozen=True)
class Proof:
    """proved: bytes from the table's beginning that are as they were written; agrees: no mark
    within the table says otherwise; beyond: bytes behind the last that any mark tells of."""

    proved: int
    agrees: bool
    beyond: int


def read(folder: Path) -> Marks:
    """The marks of a session; raises FileNotFoundError where there are none (an older version's,
    an imported session), and OSError, which says why, where they are of no use."""
    path = folder / MARKS
    if path.is_symlink():
        raise OSError(0, "it is a link")
    with open_plain(path) as file:
        head = file.readline(_MOST_HEADER)
        start, size = len(head), os.fstat(file.fileno()).st_size
        if size - start > MOST_READ:
            file.seek(size - MOST_READ)
            file.readline(_MOST_HEADER)
        found = parse(head, file.read(MOST_READ))
    if found is None:
        raise OSError(0, "it does not begin as marks do")
    return found


def parse(head: bytes, data: bytes) -> Marks | None:
    """The marks in the file's first line and in lines behind it; None where it is no such file."""
    match = _HEADER.fullmatch(head)
    if match is None:
        return None
    tables: dict[str, dict[int, bytes]] = {}
    damaged = False
    for text in io.BytesIO(data):
        mark = _MARK.fullmatch(text)
        if mark is None:
            # the recorder may have died in the middle of the last one
            damaged = damaged or not _PART.fullmatch(text)
            continue
        of = tables.setdefault(mark[1].decode("ascii"), {})
        if of.setdefault(int(mark[2]), mark[3]) != mark[3]:
            damaged = True
    return Marks(match[1].decode("ascii"), tables, damaged)


def prove(file: BinaryIO, size: int, of: Mapping[int, bytes]) -> Proof:
    """How far a table of `size` bytes is proved by its marks, in one pass; raises OSError."""
    hasher, at, proved, agrees = hashlib.sha256(), 0, 0, True
    for mark in sorted(of):
        if mark > size:
            break
        while at < mark and (piece := file.read(min(_PIECE, mark - at))):
            hasher.update(piece)
            at += len(piece)
        if at == mark and hasher.hexdigest()[:DIGITS].encode("ascii") == of[mark]:
            proved = mark
        else:
            agrees = False
    return Proof(proved, agrees, max(0, size - max(of, default=0)))


def doubt(found: Marks, proofs: Iterable[Proof], boot: str) -> str:
    """Why what is not proved may be other than what was written; "" where only the recorder died.

    boot: the machine's run now.  On the same run nothing is lost that was written, so a table that
    is longer than its marks, or another, stood on a disk that was taken away, or was changed.
    """
    tables = list(proofs)
    why = []
    if boot and found.boot and found.boot != boot:
        why.append("the machine was started anew since, or it is another")
    if not all(proof.agrees for proof in tables):
        why.append("what stands there is not what was written")
    if found.damaged:
        why.append("the marks of what was written are damaged")
    if not why and not (boot and found.boot):
        why.append("whether the machine was started anew since is not known")
    if not why and any(proof.beyond for proof in tables):
        why.append("more stands there than was written")
    return ", and ".join(why)
