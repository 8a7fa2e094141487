"""Lists the rigs that the rig in use may be made into: the rig files beside the sessions, those of the call, the
shelf."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from analysis.prediction.choose_rig import shelf_texts
from dashboard.live.rig_files import MOST_TITLE, rig_files, rig_text
from logger.errors import CallFault, UserFault, one_line
from logger.toml_tables import parse_toml, read_text


@dataclass(frozen=True)
class WantedRig:
    """A rig that may be chosen."""

    name: str  # of its file with the ending, or of the rig on the shelf without one
    title: str  # of the rig; its name where it has none
    text: str  # of the rig file


def wanted_rigs(folder: Path | None, files: Sequence[Path]) -> list[WantedRig]:
    """The rigs that may be chosen, those of the call first, the shelf last.

    folder: of the sessions; None where there is one session alone.  files: rig files that the call names.  A file
    that is no rig is left out; links in the folder are not followed.  Raises nothing.
    """
    named = [one for path in files if (one := _rig(path)) is not None]
    rigs = {one.name: one for one in (*named, *_beside(folder))}
    return [*rigs.values(), *_shelf()]


def wanted_rig(folder: Path | None, files: Sequence[Path], name: str) -> WantedRig:
    """The rig of this name; raises CallFault where it may not be chosen."""
    for one in wanted_rigs(folder, files):
        if one.name == name:
            return one
    raise CallFault("rig", "there is no such rig", "choose one of the list")


@cache
def _shelf() -> tuple[WantedRig, ...]:
    """The rigs that come with the program."""
    return tuple(
        WantedRig(name=name, title=_title(text, name) or name, text=text)
        for name, text in shelf_texts().items()
    )


def _beside(folder: Path | None) -> list[WantedRig]:
    """The rig files of a folder, in order of their names."""
    if folder is None:
        return []
    rigs = []
    for one in rig_files(folder):
        try:
            text = rig_text(folder, one["file"])
        except CallFault:  # gone meanwhile
            continue
        rigs.append(WantedRig(name=one["file"], title=one["title"] or one["file"], text=text))
    return rigs


def _rig(path: Path) -> WantedRig | None:
    """The rig file that a call names; None where it is none."""
    try:
        text = read_text(path, CallFault)
    except CallFault:
        return None
    title = _title(text, path.name)
    return None if title is None else WantedRig(path.name, title or path.name, text)


def _title(text: str, name: str) -> str | None:
    """The title in a rig file, "" where it has none; None where the text is no rig file."""
    try:
        document = parse_toml(text, name, CallFault)
    except UserFault:
        return None
    if not isinstance(document.get("rope"), list):
        return None
    title = document.get("title", "")
    return one_line(title, MOST_TITLE) if isinstance(title, str) else ""
