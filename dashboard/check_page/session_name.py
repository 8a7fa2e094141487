"""Suggests a name for the next session: the day and the rig."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path

from dashboard.desk.chosen import NextHaul

MOST_NAME = 50  # characters, so that a number still fits behind it
MOST_TRIED = 1000  # hauls a day with one rig; the search must end
NOT_ALLOWED = re.compile(r"[^A-Za-z0-9 -]+")


def suggested_name(folder: Path, files: NextHaul) -> str:
    """A name that no file of the folder has yet, such as "2026-11-30 launch 12 to 1"."""
    title = "haul" if files.rig is None else files.rig.title
    plain = " ".join(NOT_ALLOWED.sub(" ", title.replace(":", " to ")).split())
    day = datetime.now().astimezone().strftime("%Y-%m-%d")
    begin = f"{day} {plain or 'haul'}"[:MOST_NAME].rstrip(" -")
    for k in range(1, MOST_TRIED):
        name = begin if k == 1 else f"{begin} {k}"
        if not (folder / name).exists():
            return name
    return f"{begin} {datetime.now().strftime('%H%M%S')}"
