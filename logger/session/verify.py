"""Is a session what the recorder sealed?  And the repair of one that was cut short."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

from logger import filesystem as files
from logger.errors import SessionFault, one_line
from logger.filesystem import open_plain
from logger.session import descriptor as package
from logger.session import lock, seal
from logger.session.parser import parse_clock, parse_events
from logger.session.recovery import move_spoilt_rows, move_unproved_rows
from logger.session.write_journal import boot_id
from logger.session.writer import SessionWriter

REFUSED = (
    "--repair refuses a changed session: a new seal would pass the change off as what was recorded; "
    "take a copy that is whole"
)


@dataclass(frozen=True)
class Verdict:
    """state: complete, cut short, changed, growing or unreadable; digest: SHA-256 of SHA256SUMS;
    details: a sentence each; changed: the names of the files that differ."""

    state: str
    digest: str | None
    details: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()


def verify(path: str | os.PathLike[str]) -> Verdict:
    """The record's state.  Changes nothing and raises nothing."""
    folder = Path(path)
    try:
        if not folder.is_dir():
            what = "is a file, not a folder" if folder.exists() else "there is no such folder"
            return Verdict("unreadable", None, (what,))
        if lock.is_held(folder):
            return Verdict("growing", None, ("it is being recorded",))
        return _judged(folder)
    except SessionFault as fault:
        return Verdict("unreadable", None, (f"{fault.fault}; {fault.cure}",))
    except OSError as error:
        return Verdict("unreadable", None, (f"cannot be read ({error.strerror})",))


def _judged(folder: Path) -> Verdict:
    """The state of a session that nobody else writes; raises SessionFault and OSError."""
    found = seal.inspect(folder)
    if not found.changed:
        package.read_descriptor(folder)  # a seal of a newer format is not ours to judge
    return Verdict(found.state, found.digest, found.details, found.changed)


def repair(path: str | os.PathLike[str]) -> Verdict:
    """Seal a session that was cut short; the torn end goes to torn-tail.bin and an event says so.

    Works on `cut short` alone: any other state is returned as it is.  Raises SessionFault where
    the folder cannot be written.
    """
    folder = Path(path)
    verdict = verify(folder)
    if verdict.state != "cut short":
        return verdict
    try:
        held = lock.acquire(folder)
        if held is None:
            return Verdict("growing", None, ("it is being recorded or repaired",))
        try:
            if _judged(folder).state == "cut short":  # somebody may have been faster
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
            folder / package.DESCRIPTOR, "its channels or resources are not a session's",
            "put the recorder's own file back",
        )
    # where sealing was interrupted, the descriptor's hashes fit, and prove every row
    proved = seal.own_hashes(folder).sealed
    said = [] if proved else [*move_unproved_rows(folder, boot_id()), *move_spoilt_rows(folder, names)]
    last, own_ids = _last_time(folder, names)
    unsealed = package.unsealed_descriptor(descriptor)
    writer = SessionWriter.resume(folder, unsealed, held, own_ids)
    try:
        if proved:
            # before any row is added: an end just then must not look like a change after sealing
            files.write_atomic(folder / package.DESCRIPTOR, package.to_bytes(unsealed))
        for name, header in package.headers(names).items():
            writer.give_header(name, header)
        for name, kind in seal.files_in(folder).items():
            inner = name.startswith(package.INBOX + "/")
            if seal.HALF_WRITTEN.search(name):
                files.ops.unlink(folder / name)
                continue
            if not name.isprintable() or "\\" in name:
                raise OSError(0, f"{one_line(name, 60)!r} is a name that a seal cannot hold: rename it")
            if kind == "file" and name not in (*package.TABLES, package.DESCRIPTOR) and not inner:
                writer.note(name, seal.hash_file(folder / name), (folder / name).stat().st_size)
            elif kind != "file" and not inner:
                raise OSError(0, f"{name} is a link or no plain file: remove it")
        text = "sealed after an interruption; " + (
            ", ".join(said) or ("sealing itself was interrupted" if proved else "no torn end")
        )
        writer.event(last, "repaired", text=text)
        writer.seal()
    except OSError:
        writer.abandon()
        raise


def _last_time(folder: Path, names: list[str]) -> tuple[float, int]:
    """The last time that any file tells, and the highest own id of an event."""
    last, own = 0.0, 0
    events = parse_events(_bytes(folder / package.EVENTS, 1 << 30))[0]
    for event in events:
        last = max(last, event.time_s)
        match = re.fullmatch(r"r([0-9]{6,12})", event.id)
        own = max(own, int(match[1])) if match else own
    for row in parse_clock(_bytes(folder / package.CLOCK, 65536), names)[0]:
        last = max(last, row.time_s)
    for line in _bytes(folder / package.READINGS, 65536).split(b"\n"):
        match_time = re.match(rb"([0-9]{1,12}(?:\.[0-9]*)?),", line)
        last = max(last, float(match_time[1])) if match_time else last
    return last, own


def _bytes(path: Path, most: int) -> bytes:
    """Whole lines among the last `most` bytes of a file; b"" if it is missing."""
    if not path.exists():
        return b""
    with open_plain(path) as file:
        start = max(0, os.fstat(file.fileno()).st_size - most)
        file.seek(start)
        data = file.read()
    # the end of a number that was cut in two would be read as a time
    return data if start == 0 else data.partition(b"\n")[2]
