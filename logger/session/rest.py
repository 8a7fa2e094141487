"""Judges a session folder while no process writes in it: a repair may begin and end while another one looks."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from logger.session import lock, seal
from logger.session.descriptor import MARKS, SUMS

# a session is sealed or repaired once; chosen by us: more changes than this are not a recorder's
MOST_TRIES = 5

Judged = TypeVar("Judged")


def file_stamps(folder: Path) -> tuple[object, ...]:
    """Name, size, time of change and number of each file of a session, sorted by name; None in place of
    the three for a file that went meanwhile.  Raises OSError."""
    names = [name for name in (MARKS, SUMS) if os.path.lexists(folder / name)]
    stamps: list[object] = []
    for name in sorted([*seal.files_in(folder), *names]):
        try:
            status = (folder / name).lstat()
        except FileNotFoundError:
            stamps += [name, None]
        else:
            stamps += [name, status.st_size, status.st_mtime_ns, status.st_ino]
    return tuple(stamps)


def judged_at_rest(folder: Path, judge: Callable[[], Judged]) -> Judged | None:
    """What `judge` says of a session in which no process wrote while it looked; None while one writes.

    Files of before and after a sealing do not fit each other, so a look across it would tell of a
    change that nobody made.  Raises what `judge` raises.
    """
    for tries_left in reversed(range(MOST_TRIES)):
        try:
            before = file_stamps(folder)
            judged = judge()
            after = file_stamps(folder)
        except FileNotFoundError:  # sealing removes temporary files, the journal and the inbox
            if tries_left:
                continue
            raise
        if lock.is_held(folder):
            return None
        if not tries_left or after == before:
            return judged
    raise AssertionError("the last try returns or raises")
