"""Keeps what a person adds to a session afterwards, beside the record and never in it: site, crew, notes.

A sealed record stays as it was; the notes lie in the desk's store, a TOML file a session.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import TOML
from logger.errors import CallFault, one_line
from logger.filesystem import write_atomic
from logger.toml_tables import parse_toml, read_text

FOLDER = "notes"  # in the desk's store
MOST_LINE, MOST_NOTE = 200, 4000  # characters; chosen by us: a name, and two pages of a notebook


@dataclass(frozen=True)
class Notes:
    """What a person wrote about a haul."""

    site: str = ""  # where it was
    crew: str = ""  # who was there
    note: str = ""  # anything else, lines

    @property
    def empty(self) -> bool:
        """Whether nothing is written."""
        return not (self.site or self.crew or self.note)


def notes_path(desk: Desk, name: str) -> Path:
    """The file of the notes of a session; name: checked."""
    return desk.store / FOLDER / (name + TOML)


def read_notes(desk: Desk, name: str) -> Notes:
    """The notes of a session; empty where there are none, or the file is not ours."""
    path = notes_path(desk, name)
    try:
        if path.is_symlink():
            return Notes()
        table = parse_toml(read_text(path, CallFault, plain=True), path.name, CallFault)
    except CallFault:
        return Notes()
    return cleaned(*(table.get(key) for key in ("site", "crew", "note")))


def cleaned(site: object, crew: object, note: object) -> Notes:
    """Notes of what a browser or a file holds: texts alone, bounded, without control characters."""
    lines = note.splitlines() if isinstance(note, str) else []
    written = "\n".join(one_line(line, MOST_NOTE) for line in lines[:MOST_NOTE]).strip()
    return Notes(
        site=one_line(site, MOST_LINE) if isinstance(site, str) else "",
        crew=one_line(crew, MOST_LINE) if isinstance(crew, str) else "",
        note=written[:MOST_NOTE],
    )


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
