"""Verifies that a session is what the recorder sealed; repairs one that was cut short."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from logger import filesystem as files
from logger.errors import SessionFault, one_line
from logger.filesystem import open_plain
from logger.session import descriptor as package
from logger.session import lock, seal
from logger.session.parser import parse_clock
from logger.session.recovery import move_spoilt_rows, move_unproved_rows
from logger.session.rest import judged_at_rest
from logger.session.unbegun_session import is_unbegun
from logger.session.write_journal import boot_id
from logger.session.writer import SessionWriter

UNBEGUN = (
    "a recorder was killed before this session began, so nothing of it is lost; delete the folder, "
    "or record into it"
)
_EVENT = re.compile(rb"([0-9]{1,12}(?:\.[0-9]{0,12})?),(?:r([0-9]{6,12}),)?")
_MOST_LINE = 1 << 16  # bytes of a line read at once; memory only

REFUSED = (
    "--repair refuses a changed session, because a new seal would hide the change; "
    "use an unchanged copy"
)


@dataclass(frozen=True)
class Verdict:
    """The result of a verification."""

    state: str  # "complete", "cut short", "changed", "growing" or "unreadable"
    digest: str | None  # SHA-256 of SHA256SUMS, hex; None without a seal
    details: tuple[str, ...] = ()  # reasons, a sentence each
    changed: tuple[str, ...] = ()  # names of the files that differ from the seal


_GROWING = Verdict("growing", None, ("it is being recorded or repaired",))


def verify(path: str | os.PathLike[str]) -> Verdict:
    """Compare a session folder with its seal.  Changes nothing and raises nothing."""
    folder = Path(path)
    try:
        if not folder.is_dir():
            what = "it is a file, not a folder" if folder.exists() else "there is no such folder"
            return Verdict("unreadable", None, (f"{what}; {package.GIVE_A_SESSION}",))
        if lock.is_held(folder):
            return _GROWING
        if is_unbegun(folder):
            return Verdict("unreadable", None, (UNBEGUN,))
        return judged_at_rest(folder, lambda: _inspected(folder)) or _GROWING
    except SessionFault as fault:
        return Verdict("unreadable", None, (_sentence(fault, folder),))
    except OSError as error:
        file = "" if error.filename is None else Path(error.filename).name + " "
        return Verdict("unreadable", None, (f"{file}cannot be read ({error.strerror})",))


def _sentence(fault: SessionFault, folder: Path) -> str:
    """A fault as a sentence: its subject is the folder ("it"), or the file in it."""
    name = "it" if fault.file == one_line(str(folder)) else Path(fault.file).name
    text = f"{fault.fault}; {fault.cure}" if fault.cure else fault.fault
    return f"{name} {text}" if fault.fault.startswith(("is ", "has ", "cannot ")) else text


def _inspected(folder: Path) -> Verdict:
    """The verdict on a session that no other process writes; raises SessionFault and OSError."""
    seen = seal.inspect(folder)
    if not seen.changed:
        package.read_descriptor(folder)  # raises for a newer format, which is not judged
    return Verdict(seen.state, seen.digest, seen.details, seen.changed)


def repair(path: str | os.PathLike[str]) -> Verdict:
    """Seal a session that was cut short; returns its verdict afterwards.

    Spoilt rows are moved to torn-tail.bin, and a `repaired` event says so.  A session in any other
    state is left as it is.  Raises SessionFault if the folder cannot be written.
    """
    folder = Path(path)
    verdict = verify(folder)
    if verdict.state != "cut short":
        return verdict
    try:
        held = lock.acquire(folder)
        if held is None:
            return _GROWING
        try:
            if _inspected(folder).state == "cut short":  # another process may have repaired it
                _seal_again(folder, held)
        finally:
            held.release(remove=True)
    except OSError as error:
        raise SessionFault(
            folder, f"cannot be repaired ({error.strerror or error})", "copy it to a writable disk"
        ) from None
    return verify(folder)


def _seal_again(folder: Path, held: lock.SessionLock) -> None:
    descriptor = package.read_descriptor(folder)
    try:
        names = [str(row["name"]) for row in descriptor["channels"]]
        paths = [row["path"] for row in descriptor["resources"]]
    except (KeyError, TypeError):
        paths = []
    if sorted(map(str, paths)) != sorted(package.TABLES):
        raise SessionFault(
            folder / package.DESCRIPTOR,
            "its channels or resources are not those of a session",
            "put the file back that the recorder wrote",
        )
    # if sealing was interrupted, the descriptor's hashes fit and prove every row
    proved = seal.own_hashes(folder).sealed
    moves = (
        [] if proved else [*move_unproved_rows(folder, boot_id()), *move_spoilt_rows(folder, names)]
    )
    last, own_ids = _last_time(folder, names)
    unsealed = package.unsealed_descriptor(descriptor)
    writer = SessionWriter.resume(folder, unsealed, held, own_ids)
    try:
        if proved:
            # before any row is added, so that a crash does not look like a change after sealing
            files.write_atomic(folder / package.DESCRIPTOR, package.to_bytes(unsealed))
        for name, header in package.headers(names).items():
            writer.write_header(name, header)
        for name, kind in seal.files_in(folder).items():
            inner = name.startswith(package.INBOX + "/")
            if seal.HALF_WRITTEN.search(name):
                files.ops.unlink(folder / name)
                continue
            if not name.isprintable() or "\\" in name:
                raise OSError(
                    0, f"the file name {one_line(name, 60)!r} cannot be sealed: rename it"
                )
            if kind == "file" and name not in (*package.TABLES, package.DESCRIPTOR) and not inner:
                writer.add_to_seal(
                    name, seal.hash_file(folder / name), (folder / name).stat().st_size
                )
            elif kind != "file" and not inner:
                raise OSError(0, f"{name} is not a plain file: remove it")
        text = "sealed after an interruption; " + (
            ", ".join(moves) or ("sealing itself was interrupted" if proved else "no torn end")
        )
        writer.event(last, "repaired", text=text)
        writer.seal()
    except OSError:
        writer.abandon()
        raise


def _last_time(folder: Path, names: list[str]) -> tuple[float, int]:
    """The latest time in any table, s, and the highest number of an event's own id."""
    last, own = 0.0, 0
    for line in _lines(folder / package.EVENTS):
        if match := _EVENT.match(line):
            last = max(last, float(match[1]))
            own = max(own, int(match[2] or 0))
    for row in parse_clock(_bytes(folder / package.CLOCK, 65536), names)[0]:
        last = max(last, row.time_s)
    for line in _bytes(folder / package.READINGS, 65536).split(b"\n"):
        match_time = re.match(rb"([0-9]{1,12}(?:\.[0-9]*)?),", line)
        last = max(last, float(match_time[1])) if match_time else last
    return last, own


def _lines(path: Path) -> Iterator[bytes]:
    """The lines of a file, the longest in pieces; none if it is missing."""
    if path.exists():
        with open_plain(path) as file:
            yield from iter(partial(file.readline, _MOST_LINE), b"")


def _bytes(path: Path, most: int) -> bytes:
    """The complete lines among the last `most` bytes of a file; b"" if it is missing."""
    if not path.exists():
        return b""
    with open_plain(path) as file:
        start = max(0, os.fstat(file.fileno()).st_size - most)
        file.seek(start)
        data = file.read()
    # the first line is cut, and the rest of its number would be read as a time
    return data if start == 0 else data.partition(b"\n")[2]
