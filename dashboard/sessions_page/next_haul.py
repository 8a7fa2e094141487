"""Takes the rig of a session for the next haul: the folder's own file of it, or a new one."""

from __future__ import annotations

import re
from pathlib import Path

from dashboard.desk.chosen import choose
from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import TOML, checked_name, files_in
from logger.errors import CallFault, SessionFault
from logger.filesystem import write_atomic
from logger.session.descriptor import RIG
from logger.toml_tables import read_text

LATER = re.compile(r"rig-([0-9]{1,6})\.toml")  # of a session whose rig was changed
NOT_ALLOWED = re.compile(r"[^A-Za-z0-9 -]+")
MOST_NAME = 50  # characters, so that a number still fits behind it
MOST_TRIED = 200  # names; the search must end


def last_rig(session: Path) -> str:
    """The text of the rig that a session ended with; raises SessionFault."""
    numbers = [
        int(match[1])
        for path in session.iterdir()
        if (match := LATER.fullmatch(path.name)) and path.is_file() and not path.is_symlink()
    ]
    name = f"rig-{max(numbers)}.toml" if numbers else RIG
    return read_text(session / name, SessionFault, plain=True)


def take_rig(desk: Desk, session: str) -> str:
    """Choose the rig of a session for the next haul; returns the name of its file.

    A rig file of the folder with the same text is taken; else the rig is written under a name that is free.
    session: checked.  Raises UserFault.
    """
    text = last_rig(desk.folder / session)
    files = files_in(desk.folder)
    for rig in files.rigs:
        try:
            same = not rig.draft and read_text(rig.path, CallFault, plain=True) == text
        except CallFault:
            continue
        if same:
            choose(desk, rig=rig.name)
            return rig.name
    name = _free(desk.folder, session)
    try:
        write_atomic(desk.folder / (name + TOML), text.encode())
    except OSError as error:
        raise CallFault(
            name, f"cannot be written ({error.strerror or error})", "make the folder writable"
        ) from None
    choose(desk, rig=name)
    return name


def _free(folder: Path, session: str) -> str:
    """A name for the rig of a session that no file of the folder has."""
    begin = " ".join(NOT_ALLOWED.sub(" ", f"rig of {session}").split())[:MOST_NAME].rstrip(" -")
    for k in range(1, MOST_TRIED):
        name = checked_name(begin if k == 1 else f"{begin} {k}")
        path = folder / (name + TOML)
        if not path.exists() and not path.is_symlink():
            return name
    raise CallFault("rig", "there are too many files of this name", "take some away")
