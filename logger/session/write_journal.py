"""Reads the journal marks of a growing session, and determines how far they prove its tables.

Before the recorder appends to a table it writes a mark into a hidden file: the table's name, its
coming size in bytes, and the first 16 digits of the SHA-256 of that many bytes.  The first line of
the file names the machine's run (`boot_id`).  A table that fits a mark is proved up to that size.
If the machine may have lost what it held in memory, nothing behind the last such mark is trusted.
Otherwise only the recorder died, and complete rows of the piece that it was writing are good.

It changes nothing, and the file may hold any bytes.  `write_journal_writer` writes the marks,
`recovery` moves unproved rows.
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

DIGITS = 16  # of a SHA-256; chosen by us: 64 bits show an accident, see DEVELOPERS.md, The marks
MOST_READ = 8 << 20  # bytes from the end; derived: 40 bytes, 50 times a second, are 7 MB an hour
# bytes after which every table is marked again, whether it grew or not; derived from MOST_READ
AGAIN = MOST_READ // 8
_BOOT = Path("/proc/sys/kernel/random/boot_id")
_HEADER = re.compile(rb"haul marks 1 ([0-9a-f-]{0,36})\n")
_MOST_HEADER = 64  # bytes; memory only
_MARK = re.compile(rb"([a-z]{1,20}\.csv) ([1-9][0-9]{0,15}) ([0-9a-f]{16})\n")
_PART = re.compile(
    rb"[a-z]{1,20}(?:\.(?:c(?:sv?)?)?|\.csv (?:[1-9][0-9]{0,15}(?: [0-9a-f]{0,16})?)?)?"
)
_PIECE = 1 << 20  # bytes read at once; memory only


def boot_id() -> str:
    """An id of the running system that changes with every start; "" if the system has none."""
    with contextlib.suppress(OSError):
        text = _BOOT.read_text("ascii", "replace").strip()
        if re.fullmatch(r"[0-9a-f-]{1,36}", text):
            return text
    return ""


def header(boot: str) -> bytes:
    """The first line of the journal; boot: `boot_id` of the running system."""
    return b"haul marks 1 %s\n" % boot.encode("ascii")


def line(name: str, size: int, digest: str) -> bytes:
    """One mark of the table `name`; size: its bytes; digest: 16 or more digits of the SHA-256."""
    return b"%s %d %s\n" % (name.encode("ascii"), size, digest[:DIGITS].encode("ascii"))


@dataclass(frozen=True)
class Marks:
    """The marks of a session."""

    boot: str  # `boot_id` of the system that wrote them; "" if unknown
    tables: Mapping[str, Mapping[int, bytes]]  # by table, size in bytes -> 16 digits of the SHA-256
    damaged: bool  # whether there are lines that no recorder writes, or marks that disagree


@dataclass(frozen=True)
class Proof:
    """How far marks prove a table."""

    proved: int  # bytes from the table's beginning that are as they were written
    agrees: bool  # whether every mark within the table fits it
    beyond: int  # bytes behind the greatest size that any mark states


def read(folder: Path) -> Marks:
    """Read the marks of a session.

    Raises FileNotFoundError if there is no journal (a session of an older version, a sealed one),
    and OSError with the reason if the journal cannot be used.
    """
    path = folder / MARKS
    if path.is_symlink():
        raise OSError(0, "it is a link")
    with open_plain(path) as file:
        head = file.readline(_MOST_HEADER)
        start, size = len(head), os.fstat(file.fileno()).st_size
        if size - start > MOST_READ:
            file.seek(size - MOST_READ)
            file.readline(_MOST_HEADER)
        journal = parse(head, file.read(MOST_READ))
    if journal is None:
        raise OSError(0, "its first line is not that of a journal")
    return journal


def parse(head: bytes, data: bytes) -> Marks | None:
    """The marks of a journal with first line `head` and further lines `data`; None if `head` is not
    the first line of a journal."""
    match = _HEADER.fullmatch(head)
    if match is None:
        return None
    tables: dict[str, dict[int, bytes]] = {}
    damaged = False
    for text in io.BytesIO(data):
        mark = _MARK.fullmatch(text)
        if mark is None:
            # the recorder may have died while it wrote the last one
            damaged = damaged or not _PART.fullmatch(text)
            continue
        digests = tables.setdefault(mark[1].decode("ascii"), {})
        if digests.setdefault(int(mark[2]), mark[3]) != mark[3]:
            damaged = True
    return Marks(match[1].decode("ascii"), tables, damaged)


def prove(file: BinaryIO, size: int, digests: Mapping[int, bytes]) -> Proof:
    """Determine, in one pass, how far its marks prove a table; raises OSError.

    file: the table, of `size` bytes; digests: its marks, size in bytes -> 16 digits of the SHA-256.
    """
    hasher, at, proved, agrees = hashlib.sha256(), 0, 0, True
    for mark in sorted(digests):
        if mark > size:
            break
        while at < mark and (piece := file.read(min(_PIECE, mark - at))):
            hasher.update(piece)
            at += len(piece)
        if at == mark and hasher.hexdigest()[:DIGITS].encode("ascii") == digests[mark]:
            proved = mark
        else:
            agrees = False
    return Proof(proved, agrees, max(0, size - max(digests, default=0)))


def doubt(journal: Marks, proofs: Iterable[Proof], boot: str) -> str:
    """The reason why unproved rows may differ from what was written; "" if only the recorder died.

    proofs: one for each table with marks; boot: `boot_id` of the running system.  While the same
    system runs, nothing written is lost; so a table that is longer than its marks, or does not fit
    them, was changed, or was on a disk that was pulled out.
    """
    tables = list(proofs)
    why = []
    if boot and journal.boot and journal.boot != boot:
        why.append("the machine was restarted since, or it is another machine")
    if not all(proof.agrees for proof in tables):
        why.append("the table is not as it was written")
    if journal.damaged:
        why.append("the journal of what was written is damaged")
    if not why and not (boot and journal.boot):
        why.append("it is not known whether the machine was restarted since")
    if not why and any(proof.beyond for proof in tables):
        why.append("the table is longer than what was written")
    return ", and ".join(why)
