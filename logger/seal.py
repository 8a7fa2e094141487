"""The seal of a session: SHA256SUMS over every file, and what it finds when looked at again."""

from __future__ import annotations

import hashlib
import json
import os
import re
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from logger.files import open_plain
from logger.lock import LOCK_NAME
from logger.package import DESCRIPTOR, MARKS, SUMS, self_consistent

MOST_SUMS = 16_000_000
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
    """changed: names of the files that differ from the seal; details: a sentence each; digest:
    SHA-256 of SHA256SUMS."""

    changed: tuple[str, ...]
    details: tuple[str, ...]
    digest: str


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
    """Every file held against SHA256SUMS and against the hashes in the descriptor.

    A file that fits the one but not the other shows which of the two was changed.  Reads only;
    raises OSError where SHA256SUMS cannot be read.
    """
    with open_plain(folder / SUMS) as file:
        data = file.read(MOST_SUMS)
    digest = hashlib.sha256(data).hexdigest()
    changed: dict[str, str] = {}
    stated = parse_sums(data.decode("utf-8", "replace"))
    present = files_in(folder)
    inner, whole = inner_hashes(folder)
    if stated is None:
        changed[SUMS] = "is not as sealing writes it"
    if (folder / SUMS).is_symlink():
        changed[SUMS] = "is a link"
    sums = stated or {}
    for name in sorted({*sums, *inner, *([] if stated is None else present)}):
        kind = present.get(name)
        if kind is None:
            changed[name] = "is missing"
            continue
        if kind != "file":
            changed[name] = "is a link" if kind == "link" else "is not a plain file"
            continue
        try:
            actual = hash_file(folder / name)
        except OSError as error:
            changed[name] = f"cannot be read ({error.strerror})"
            continue
        in_sums, in_package = sums.get(name), inner.get(name)
        if name == DESCRIPTOR:
            if in_sums is not None and in_sums != actual:
                if whole:
                    changed[SUMS] = f"does not fit {name}, which fits itself"
                else:
                    changed[name] = "is not what was sealed"
            elif in_sums is None and stated is not None:
                changed[SUMS] = f"lacks {name}"
        elif in_sums is None and in_package is None:
            changed[name] = "was added after sealing"
        elif in_sums is None:
            if actual != in_package:
                changed[name] = "is not what was sealed"
            if stated is not None:
                changed[SUMS] = f"lacks {name}"
        elif actual != in_sums:
            if actual == in_package:
                changed[SUMS] = f"does not fit {name}, which fits {DESCRIPTOR}"
            else:
                changed[name] = "is not what was sealed"
        elif whole and actual != in_package:
            changed[name] = f"is not what {DESCRIPTOR} says"
            changed[SUMS] = f"does not fit {DESCRIPTOR}"
    names = tuple(sorted(changed))
    return Inspection(names, tuple(f"{name} {changed[name]}" for name in names), digest)


def inner_hashes(folder: Path) -> tuple[dict[str, str], bool]:
    """The hashes that a sealed descriptor holds, and whether it fits its own; else nothing."""
    try:
        if not stat.S_ISREG((folder / DESCRIPTOR).lstat().st_mode):
            return {}, False
        data = (folder / DESCRIPTOR).read_bytes()
        if not self_consistent(data):
            return {}, False
        files = json.loads(data)["haul_files"]
        found = {str(row["path"]): str(row["hash"]).removeprefix("sha256:") for row in files}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}, False
    return found, True
