"""Reads what a person added to a session after the haul: site, crew, notes.

They lie in a file beside the session, where the desk keeps them, and never in the record.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from logger.errors import CallFault, one_line
from logger.toml_tables import parse_toml, read_text

FOLDER = (".desk", "notes")  # below the folder that holds the session
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

    @property
    def line(self) -> str:
        """The note as one line."""
        return " ".join(self.note.split())


def notes_file(session: str | Path) -> Path:
    """The file of the notes of a session, which may not be there."""
    folder = Path(session).absolute()
    return folder.parent.joinpath(*FOLDER, f"{folder.name}.toml")


def notes_of(session: str | Path) -> Notes:
    """The notes of a session; empty where there are none, or the file is not one of ours."""
    path = notes_file(session)
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
