"""The seal of a session: SHA256SUMS over every file, and what it finds when looked at again."""

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
from logger.filesystem import open_plain
from logger.session.descriptor import (
    DESCRIPTOR,
    FORMAT,
    INBOX,
    MARKS,
    SEALED_KEYS,
    SUMS,
    self_consistent,
)
from logger.session.lock import LOCK_NAME

MOST_SUMS = 16_000_000  # bytes; memory only
HALF_WRITTEN = re.compile(r"(?:^|/)\.[^/]+\.[0-9]+\.tmp$")  # by a recorder that was killed
NOT_ITSELF = "is not what was sealed: it does not fit the hash of itself that it holds"
_LINE = re.compile(r"([0-9a-f]{64})  ([^\\\n]+)")


def sums_text(hashes: Mapping[str, str]) -> str:
    """SHA256SUMS as `sha256sum -c` reads it, sorted by name."""
    return "".join(f"{digest}  {path}\n" for path, digest in sorted(hashes.items()))


def parse_sums(text: str) -> dict[str, str] | None:
    """Name to digest; None where a line is not one that `sums_text` writes."""
    found: dict[str, str] = {}
    for line in text.split("\n")[:-1]:
        match = _LINE.fullmatch(line)
        if match is None or match[2] in found:
            return None
        found[match[2]] = match[1]
    return found if found and sums_text(found) == text else None


@dataclass(frozen=True)
class Inspection:
    """state: complete, cut short or changed; changed: names of the files that differ from the
    seal; details: a sentence each, or why it is cut short; digest: SHA-256 of SHA256SUMS, None
    without one."""

    state: str
    changed: tuple[str, ...]
    details: tuple[str, ...]
    digest: str | None


def hash_file(path: Path) -> str:
    """SHA-256 of a file, hex; raises OSError."""
    if path.is_symlink():
        raise OSError(0, "it is a link")
    with open_plain(path) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def files_in(folder: Path) -> dict[str, str]:
    """Relative name (with /) of everything in the folder but directories, and what it is: "file",
    "link" or "other".  The lock, the marks and the seal itself are left out."""
    found: dict[str, str] = {}
    stack = [folder]
    while stack:
        here = stack.pop()
        for entry in os.scandir(here):
            name = Path(entry.path).relative_to(folder).as_posix()
            if entry.is_symlink():
                found[name] = "link"
            elif entry.is_dir(follow_symlinks=False):
                stack.append(Path(entry.path))
            else:
                found[name] = "file" if entry.is_file(follow_symlinks=False) else "other"
    for name in (LOCK_NAME, MARKS, SUMS):
        found.pop(name, None)
    return found


def inspect(folder: Path) -> Inspection:
    """The state of a session that nobody writes, by SHA256SUMS and the hashes in the descriptor.

    A file that fits the one but not the other shows which of the two was changed.  Reads only;
    raises OSError where SHA256SUMS cannot be read.
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
        changed[SUMS] = "is not as sealing writes it"
    if (folder / SUMS).is_symlink():
        changed[SUMS] = "is a link"
    for name in sorted({*(stated or {}), *own.files, *([] if stated is None else present)}):
        found = _look(folder, name, present)
        if isinstance(found, str):
            changed[name] = found
        elif name == DESCRIPTOR:
            changed.update(_descriptor_faults(found, stated, own))
        else:
            changed.update(_file_faults(name, found, stated, own))
    return _inspection(changed, hashlib.sha256(data).hexdigest())


def quick_state(folder: Path) -> str:
    """The state as `inspect` says it, by the names and sizes in the descriptor alone; raises
    nothing."""
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
    """The descriptor says whether there was a seal, and the marks, which stand until SHA256SUMS
    does, whether the recorder died before it had written that."""
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
        found = _look(folder, name, present)
        if isinstance(found, str):
            changed[name] = found
        elif name in own.files and not own.fits(name, found):
            changed[name] = "is not what was sealed"
        elif name not in own.files and own.whole:
            changed[name] = "was added after sealing"
    if not os.path.lexists(folder / MARKS):
        changed[SUMS] = f"is gone, though {DESCRIPTOR} says that the session was sealed{own.when}"
    elif not changed:
        text = f"sealing was interrupted: {SUMS} is missing, and every file is as {DESCRIPTOR} says"
        return Inspection("cut short", (), (text,), None)
    return _inspection(changed, None)


def _look(folder: Path, name: str, present: Mapping[str, str]) -> tuple[str, int] | str:
    """SHA-256 and bytes of a file, or in words why there are none."""
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
            return {SUMS: f"does not fit {DESCRIPTOR}, which fits itself"}
        return {DESCRIPTOR: "is not what was sealed"}
    if in_sums is None and stated is not None:
        return {SUMS: f"lacks {DESCRIPTOR}"}
    if own.readable and not own.whole:  # SHA256SUMS was made anew over a descriptor by another hand
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
        found = {} if fits else {name: "is not what was sealed"}
        return found if stated is None else {**found, SUMS: f"lacks {name}"}
    if actual[0] != in_sums:
        if fits:
            return {SUMS: f"does not fit {name}, which fits {DESCRIPTOR}"}
        return {name: "is not what was sealed"}
    if own.whole and not fits:
        return {name: f"is not what {DESCRIPTOR} says", SUMS: f"does not fit {DESCRIPTOR}"}
    return {}


@dataclass(frozen=True)
class OwnHashes:
    """What a descriptor says of its session's seal.

    readable: it is a session's, of a format that this program knows; sealed: it says that there
    was a seal; whole: and fits the hash of itself that it holds; files: by name, each (SHA-256 in
    hex, bytes) that it states of the file; when: " at " and the time of sealing, or "".
    """

    readable: bool = False
    sealed: bool = False
    whole: bool = False
    files: Mapping[str, tuple[tuple[str, object], ...]] = field(default_factory=dict)
    when: str = ""

    def fits(self, name: str, actual: tuple[str, int]) -> bool:
        """Whether a file with this SHA-256 and so many bytes is what the descriptor states."""
        return name in self.files and all(stated == actual for stated in self.files[name])


def own_hashes(folder: Path) -> OwnHashes:
    """What the descriptor says of its session's seal; raises nothing."""
    try:
        if not stat.S_ISREG((folder / DESCRIPTOR).lstat().st_mode):
            return OwnHashes()
        data = (folder / DESCRIPTOR).read_bytes()
        found = json.loads(data)
    except (OSError, ValueError, RecursionError):
        return OwnHashes()
    version = found.get("haul_format") if isinstance(found, dict) else None
    if not isinstance(version, int) or version > FORMAT:
        return OwnHashes()  # `package.read_descriptor` says what is wrong
    resources = found.get("resources")
    resources = (
        [row for row in resources if isinstance(row, dict)] if isinstance(resources, list) else []
    )
    if not any(key in found for key in SEALED_KEYS) and not any("hash" in row for row in resources):
        return OwnHashes(readable=True)
    ended = found.get("ended_at")
    when = f" at {one_line(ended, 40)}" if isinstance(ended, str) else ""
    stated: dict[str, list[tuple[str, object]]] = {}
    try:
        if not self_consistent(data):
            raise ValueError
        for row in [*found["haul_files"], *resources]:
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
