"""Lists the rig files of a folder that a rig on the ground may be changed to, and reads one by its name."""

from __future__ import annotations

import re
import stat
from pathlib import Path

from dashboard.live.wire import RigChoice
from logger.errors import CallFault, one_line
from logger.toml_tables import MOST_BYTES, parse_toml, read_text

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,79}\.toml")
MOST_FILES = 60  # chosen by us: more can't be told apart on a phone
MOST_TITLE = 80  # characters; chosen by us: two lines of a phone


def rig_files(folder: Path) -> list[RigChoice]:
    """The rig files in a folder, in order of their names; a file that is no rig is left out.

    A rig file is told by its table [[rope]].  Links are not followed.  Raises nothing.
    """
    rigs: list[RigChoice] = []
    try:
        names = sorted(entry.name for entry in folder.iterdir() if NAME.fullmatch(entry.name))
    except OSError:
        return []
    for name in names:
        if len(rigs) == MOST_FILES:
            break
        try:
            document = parse_toml(rig_text(folder, name), name, CallFault)
        except CallFault:
            continue
        if isinstance(document.get("rope"), list) and "channel" not in document:
            title = document.get("title", "")
            rigs.append(
                RigChoice(
                    file=name, title=one_line(title, MOST_TITLE) if isinstance(title, str) else ""
                )
            )
    return rigs


def rig_text(folder: Path, name: str) -> str:
    """The text of a file of a folder; raises CallFault for a name that is none of a plain file there."""
    if not NAME.fullmatch(name) or ".." in name:
        raise CallFault("rig", "this is no name of a rig file", "choose one of the list")
    path = folder / name
    try:
        status = path.lstat()
        plain = stat.S_ISREG(status.st_mode) and status.st_size <= MOST_BYTES
    except OSError:
        plain = False
    if not plain:
        raise CallFault(name, "there is no such rig file", "choose one of the list")
    return read_text(path, CallFault, plain=True)
