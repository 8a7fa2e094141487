"""Works out the conversion of one rig of the desk into another, one at a time and within a time."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from analysis.conversion.convert import Conversion, convert
from analysis.prediction.choose_rig import shelf_texts
from analysis.rig_file.load import sketch_rig
from dashboard.desk.folder import files_in
from dashboard.web.gate import Refused
from logger.errors import CallFault, RigFault, one_line
from logger.toml_tables import read_text

SHELF = "shelf:"  # stands before the name of a rig of the shelf; no file's name may hold it
WITHIN_S = 15.0  # of the search; chosen by us: a pair of the shelf takes 2 s at most
KEPT = 16  # conversions that are kept; speed only: a page is loaded again
MOST_TITLE = 80  # characters
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True)
class OfferedRig:
    """A rig that may be chosen."""

    key: str  # by which it is chosen: the name of its file, or of the rig on the shelf
    title: str  # of the rig, with what tells it from others
    text: str  # of the rig file


def offered(folder: Path) -> tuple[list[OfferedRig], list[OfferedRig]]:
    """The rigs that may stand, those of the folder; and those that may be wanted, with the shelf behind.

    Raises CallFault where the folder can't be read.
    """
    own = []
    for one in files_in(folder).rigs:
        if one.rig is None:
            continue
        try:
            text = read_text(one.path, RigFault, plain=True)
        except RigFault:  # a draft that has no file yet
            continue
        own.append(OfferedRig(key=one.name, title=_title(one.title, one.name), text=text))
    return own, [*own, *_shelf()]


@lru_cache(maxsize=1)
def _shelf() -> tuple[OfferedRig, ...]:
    """The rigs that come with the program."""
    return tuple(
        OfferedRig(
            key=SHELF + name, title=f"{sketch_rig(text, name).title or name} (shelf)", text=text
        )
        for name, text in shelf_texts().items()
    )


def _title(title: str, name: str) -> str:
    return one_line(title if title == name else f"{title} ({name})", MOST_TITLE)


def chosen_rig(rigs: list[OfferedRig], key: str) -> OfferedRig:
    """The rig of this key; raises CallFault where there is none."""
    for one in rigs:
        if one.key == key:
            return one
    raise CallFault("rig", "there is no such rig in the folder", "choose one of the list")


def planned(rig: OfferedRig, other: OfferedRig) -> Conversion:
    """The conversion of one rig into another.

    Raises Refused while another one is worked out, RigFault for a file that is no rig that can haul.
    """
    if not _ONE_AT_A_TIME.acquire(blocking=False):
        raise Refused(
            503, "another list of moves is being worked out: load the page again in a moment"
        )
    try:
        return _kept(rig, other)
    finally:
        _ONE_AT_A_TIME.release()


@lru_cache(maxsize=KEPT)
def _kept(rig: OfferedRig, other: OfferedRig) -> Conversion:
    return convert(rig.text, other.text, rig.key, other.key, WITHIN_S)
