"""Keeps what a person adds to a session afterwards, beside the record and never in it: site, crew, notes.

A sealed record stays as it was; the notes lie in the desk's store, a TOML file a session.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

from dashboard.desk.desk_page import Desk
from dashboard.export.notes_file import Notes, notes_file, notes_of
from logger.errors import CallFault
from logger.filesystem import write_atomic


def notes_path(desk: Desk, name: str) -> Path:
    """The file of the notes of a session; name: checked."""
    return notes_file(desk.folder / name)


def read_notes(desk: Desk, name: str) -> Notes:
    """The notes of a session of the desk's folder; name: checked."""
    return notes_of(desk.folder / name)


def write_notes(desk: Desk, name: str, notes: Notes) -> None:
    """Keep the notes of a session; raises CallFault where they can't be written.  name: checked."""
    path = notes_path(desk, name)
    # a string of JSON without escapes beyond the basic plane is a basic string of TOML
    text = "".join(
        f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in asdict(notes).items()
    )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_atomic(path, text.encode("utf-8", "replace"))
    except OSError as error:
        raise CallFault(
            path.parent,
            f"cannot be written ({error.strerror or error})",
            "make the folder writable",
        ) from None
