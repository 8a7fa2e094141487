"""Compares a session with its seal: SHA256SUMS and the hashes in the descriptor."""

from __future__ import annotations

import hashlib
import json
import os
import re
import stat
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from logger.errors import one_line
from logger.filesystem import open_plain, read_plain
from logger.session.descriptor import (
    DESCRIPTOR,
    FORMAT,
    INBOX,
    MARKS,
    MOST_DESCRIPTOR,
    SEALED_KEYS,
    SUMS,
    self_consistent,
)
from logger.session.lock import LOCK_NAME

MOST_SUMS = 16_000_000  # bytes; memory only
HALF_WRITTEN = re.compile(r"(?:^|/)\.[^/]+\.[0-9]+\.tmp$")  # temporary files of a killed recorder
NOT_ITSELF = "was changed after sealing: it does not fit its own hash"
CHANGED = "was changed after sealing"
_LINE = re.compile(r"([0-9a-f]{64})  ([^\\\n]+)")


def sums_text(hashes: Mapping[str, str]) -> str:
    """The text of SHA256SUMS, as `sha256sum -c` reads it, sorted by name; hashes: name -> hex."""
    return "".join(f"{digest}  {path}\n" for path, digest in sorted(hashes.items()))


def parse_sums(text: str) -> dict[str, str] | None:
    """The digests (SHA-256, hex) of SHA256SUMS by name; None if `sums_text` did not write it."""
    digests: dict[str, str] = {}
    for line in text.split("\n")[:-1]:
        match = _LINE.fullmatch(line)
        if match is None or match[2] in digests:
            return None
        digests[match[2]] = match[1]
    return digests if digests and sums_text(digests) == text else None


@dataclass(frozen=True)
class Inspection:
    """The result of comparing a session with its seal."""

    state: str  # "complete", "cut short" or "changed"
    changed: tuple[str, ...]  # names of the files that differ from the seal
    details: tuple[str, ...]  # a sentence for each of them, or why the session is cut short
    digest: str | None  # SHA-256 of SHA256SUMS, hex; None without SHA256SUMS


def hash_file(path: Path) -> str:
    """SHA-256 of a plain file, hex; raises OSError, also for a link."""
    if path.is_symlink():
        raise OSError(0, "it is a link")
    with open_plain(path) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def files_in(folder: Path) -> dict[str, str]:
    """Everything in the folder but directories, by relative name (with /): "file", "link" or
    "other".

    The lock, the journal and SHA256SUMS are left out.
    """
    kinds: dict[str, str] = {}
    stack = [folder]
    while stack:
        here = stack.pop()
        for entry in os.scandir(here):
            name = Path(entry.path).relative_to(folder).as_posix()
            if entry.is_symlink():
                kinds[name] = "link"
            elif entry.is_dir(follow_symlinks=False):
                stack.append(Path(entry.path))
            else:
                kinds[name] = "file" if entry.is_file(follow_symlinks=False) else "other"
    for name in (LOCK_NAME, MARKS, SUMS):
        kinds.pop(name, None)
    return kinds


def inspect(folder: Path) -> Inspection:
    """Compare every file of a session that no process writes with SHA256SUMS and the descriptor.

    A file that fits one of the two but not the other shows which of them was changed.  Changes
    nothing; raises OSError if SHA256SUMS cannot be read.
    """
    if not (folder / SUMS).exists():
        return _without_sums(folder)
    with open_plain(folder / SUMS) as file:
        data = file.read(MOST_SUMS)
    changed: dict[str, str] = {}
    stated = parse_sums(data.decode("utf-8", "replace"))
    present = files_in(folder)
    own = own_hashes(folder)
    if stated is None:
        changed[SUMS] = "is not in the form that sealing writes"
    if (folder / SUMS).is_symlink():
        changed[SUMS] = "is a link"
    for name in sorted({*(stated or {}), *own.files, *([] if stated is None else present)}):
        actual = _hash_and_size(folder, name, present)
        if isinstance(actual, str):
            changed[name] = actual
        elif name == DESCRIPTOR:
            changed.update(_descriptor_faults(actual, stated, own))
        else:
            changed.update(_file_faults(name, actual, stated, own))
    return _inspection(changed, hashlib.sha256(data).hexdigest())


def quick_state(folder: Path) -> str:
    """The state as of `inspect`, but by names and sizes alone; raises nothing."""
    own = own_hashes(folder)
    sums = (folder / SUMS).exists()
    if not own.sealed:
        return "changed" if sums else "cut short"
    if not sums and not os.path.lexists(folder / MARKS):
        return "changed"
    for name, stated in own.files.items():
        try:
            size = (folder / name).lstat().st_size
        except (OSError, ValueError):
            return "changed"
        if any(size != of_bytes for _, of_bytes in stated):
            return "changed"
    if not own.whole:
        return "changed"
    return "complete" if sums else "cut short"


def _inspection(changed: Mapping[str, str], digest: str | None) -> Inspection:
    names = tuple(sorted(changed, key=lambda name: (name != SUMS, name)))
    details = tuple(f"{name} {changed[name]}" for name in names)
    return Inspection("changed" if changed else "complete", tuple(sorted(changed)), details, digest)


def _without_sums(folder: Path) -> Inspection:
    """Inspect a session without SHA256SUMS.

    The descriptor says whether sealing had begun.  The journal is deleted after SHA256SUMS is
    written, so it shows whether the recorder died before that.
    """
    own = own_hashes(folder)
    if not own.sealed:
        text = "recording was interrupted: there is no seal"
        return Inspection("cut short", (), (text,), None)
    changed: dict[str, str] = {}
    if not own.whole:
        changed[DESCRIPTOR] = NOT_ITSELF
    present = files_in(folder)
    for name in sorted({*own.files, *present} - {DESCRIPTOR}):
        if name not in own.files and (name.startswith(f"{INBOX}/") or HALF_WRITTEN.search(name)):
            continue  # sealing, or a repair, removes them
        actual = _hash_and_size(folder, name, present)
        if isinstance(actual, str):
            changed[name] = actual
        elif name in own.files and not own.fits(name, actual):
            changed[name] = CHANGED
        elif name not in own.files and own.whole:
            changed[name] = "was added after sealing"
    if not os.path.lexists(folder / MARKS):
        changed[SUMS] = (
            f"is missing, though {DESCRIPTOR} says that the session was sealed{own.when}"
        )
    elif not changed:
        text = f"sealing was interrupted: {SUMS} is missing, and every file is as {DESCRIPTOR} says"
        return Inspection("cut short", (), (text,), None)
    return _inspection(changed, None)


def _hash_and_size(folder: Path, name: str, present: Mapping[str, str]) -> tuple[str, int] | str:
    """SHA-256 (hex) and size in bytes of a file, or the reason why it cannot be read.

    present: the folder's files, from `files_in`.
    """
    kind = present.get(name)
    if kind is None:
        return "is missing"
    if kind != "file":
        return "is a link" if kind == "link" else "is not a plain file"
    try:
        return hash_file(folder / name), (folder / name).stat().st_size
    except OSError as error:
        return f"cannot be read ({error.strerror})"


def _descriptor_faults(
    actual: tuple[str, int], stated: Mapping[str, str] | None, own: OwnHashes
) -> dict[str, str]:
    in_sums = (stated or {}).get(DESCRIPTOR)
    if in_sums is not None and in_sums != actual[0]:
        if own.whole:
            return {SUMS: f"does not fit {DESCRIPTOR}, which fits its own hash"}
        return {DESCRIPTOR: CHANGED}
    if in_sums is None and stated is not None:
        return {SUMS: f"lacks {DESCRIPTOR}"}
    if own.readable and not own.whole:  # SHA256SUMS was rewritten for a changed descriptor
        return {
            DESCRIPTOR: NOT_ITSELF if own.sealed else "does not say that the session was sealed"
        }
    return {}


def _file_faults(
    name: str, actual: tuple[str, int], stated: Mapping[str, str] | None, own: OwnHashes
) -> dict[str, str]:
    in_sums, in_package, fits = (stated or {}).get(name), name in own.files, own.fits(name, actual)
    if in_sums is None and not in_package:
        return {name: "was added after sealing"}
    if in_sums is None:
        faults = {} if fits else {name: CHANGED}
        return faults if stated is None else {**faults, SUMS: f"lacks {name}"}
    if actual[0] != in_sums:
        if fits:
            return {SUMS: f"does not fit {name}, which fits {DESCRIPTOR}"}
        return {name: CHANGED}
    if own.whole and not fits:
        return {name: f"does not fit {DESCRIPTOR}", SUMS: f"does not fit {DESCRIPTOR}"}
    return {}


@dataclass(frozen=True)
class OwnHashes:
    """What a descriptor states about the seal of its session.

    files: by name, each (SHA-256 in hex, size in bytes) that the descriptor states for the file
    """

    readable: bool = False  # whether it is a descriptor of a format that this program reads
    sealed: bool = False  # whether it says that the session was sealed
    whole: bool = False  # whether it is sealed and fits its own hash
    files: Mapping[str, tuple[tuple[str, object], ...]] = field(default_factory=dict)
    when: str = ""  # " at " and the time of sealing; "" if it states none

    def fits(self, name: str, actual: tuple[str, int]) -> bool:
        """Whether a file with this (SHA-256 in hex, size in bytes) is as the descriptor states."""
        return name in self.files and all(stated == actual for stated in self.files[name])


def own_hashes(folder: Path) -> OwnHashes:
    """Read what the descriptor states about the session's seal; raises nothing."""
    try:
        if not stat.S_ISREG((folder / DESCRIPTOR).lstat().st_mode):
            return OwnHashes()
        data = read_plain(folder / DESCRIPTOR, MOST_DESCRIPTOR)
        document = json.loads(data)
    except (OSError, ValueError, RecursionError):
        return OwnHashes()
    version = document.get("haul_format") if isinstance(document, dict) else None
    if not isinstance(version, int) or version > FORMAT:
        return OwnHashes()  # `read_descriptor` raises the fault
    resources = document.get("resources")
    resources = (
        [row for row in resources if isinstance(row, dict)] if isinstance(resources, list) else []
    )
    if not any(key in document for key in SEALED_KEYS) and not any(
        "hash" in row for row in resources
    ):
        return OwnHashes(readable=True)
    ended = document.get("ended_at")
    when = f" at {one_line(ended, 40)}" if isinstance(ended, str) else ""
    stated: dict[str, list[tuple[str, object]]] = {}
    try:
        if not self_consistent(data):
            raise ValueError
        for row in [*document["haul_files"], *resources]:
            digest = str(row["hash"]).removeprefix("sha256:")
            stated.setdefault(str(row["path"]), []).append((digest, row["bytes"]))
    except (ValueError, KeyError, TypeError):
        return OwnHashes(readable=True, sealed=True, when=when)
    return OwnHashes(
        readable=True,
        sealed=True,
        whole=True,
        files={name: tuple(rows) for name, rows in stated.items()},
        when=when,
    )
