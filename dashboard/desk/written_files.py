"""Writes the files that a person makes on the desk's pages, and the drafts beside them.

A fault is one line that names the file or the folder.
"""

from __future__ import annotations

from pathlib import Path

from logger.errors import CallFault
from logger.filesystem import write_atomic

CURE = "free the disk, or make the folder writable"


def write_text(path: Path, text: str) -> None:
    """Write a rig file or a sensors file at once; raises CallFault."""
    try:
        write_atomic(path, text.encode())
    except OSError as error:
        why = f"cannot be written ({error.strerror or error})"
        raise CallFault(path.name, why, CURE) from None


def keep_draft(path: Path, text: str) -> None:
    """Write what is not saved yet, in a folder that is made where it is missing; raises CallFault."""
    try:
        path.parent.mkdir(exist_ok=True)
        write_atomic(path, text.encode())
    except OSError as error:
        why = f"the draft cannot be kept there ({error.strerror or error})"
        raise CallFault(path.parent, why, CURE) from None
