"""Recognises and clears what a recorder leaves that is killed before its session begins.

A session begins with its descriptor, which is written last; without it no row was recorded.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from logger import filesystem as files
from logger.filesystem import sync_folder
from logger.session import descriptor as package
from logger.session.lock import LOCK_NAME
from logger.session.seal import HALF_WRITTEN

MOST_HEADER = 65_536  # bytes; memory only: the header of clock.csv grows with the channels
_OWN = {LOCK_NAME, package.MARKS, *package.TABLES, package.RIG, package.SENSORS}
_OWN_FOLDERS = {package.INBOX, package.CALIBRATION}


def is_unbegun(folder: Path) -> bool:
    """Whether nothing is in the folder but what a recorder makes before its session begins.

    The journal, which it makes first and which is removed last, shows that the files are its own;
    no table holds a row.  Says nothing of whether the recorder still runs.  Raises OSError.
    """
    entries = {entry.name: entry for entry in os.scandir(folder)}
    if LOCK_NAME not in entries:
        return False
    rest = {name for name in entries if name != LOCK_NAME and not HALF_WRITTEN.search(name)}
    if not rest:
        return len(entries) > 1
    if package.MARKS not in rest or not rest <= _OWN | _OWN_FOLDERS:
        return False
    for name in rest:
        entry = entries[name]
        is_own = entry.is_dir if name in _OWN_FOLDERS else entry.is_file
        if not is_own(follow_symlinks=False):
            return False
        if name in package.TABLES and not _only_header(Path(entry.path)):
            return False
    return not (package.INBOX in rest and any((folder / package.INBOX).iterdir()))


def clear_unbegun(folder: Path) -> None:
    """Remove everything but the lock from a folder that `is_unbegun`; raises OSError."""
    for entry in list(os.scandir(folder)):
        if entry.is_dir(follow_symlinks=False):
            shutil.rmtree(entry.path)
        elif entry.name not in (LOCK_NAME, package.MARKS):
            files.ops.unlink(Path(entry.path))
    # last: without the journal nothing tells that the files are a recorder's
    if (folder / package.MARKS).exists():
        files.ops.unlink(folder / package.MARKS)
    sync_folder(folder)


def _only_header(table: Path) -> bool:
    """Whether a table holds at most one line."""
    with table.open("rb") as file:
        data = file.read(MOST_HEADER)
    return len(data) < MOST_HEADER and data.find(b"\n") in (-1, len(data) - 1)
