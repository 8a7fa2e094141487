"""What lies in the desk's folder: rigs, sensors files, sessions, and which session is being recorded.

A file is told by what it holds, not by its name.  A file at fault stays in the list with its fault, because a
person must see what to mend.  Links are not followed, and no name leads out of the folder.
"""

from __future__ import annotations

import re
import stat
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from analysis.rig.rig import Rig
from dashboard.desk.desk_page import STORE
from dashboard.live.session_hub import sessions_in
from logger.channels.channel import Sensors
from logger.errors import CallFault, RigFault, SessionFault, UserFault, one_line
from logger.session.descriptor import RIG, read_descriptor
from logger.session.lock import is_held
from logger.session.reader import session_state
from logger.toml_tables import parse_toml, read_text

NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 ._-]{0,58}[A-Za-z0-9_-])?")
TOML = ".toml"
DRAFT = ".toml.draft"  # in STORE; `rig_page.draft_store` writes it
NOT_SAVED = "is a draft that was not saved yet"
MOST_FILES = 300  # of a folder that are read; speed only
SENSORS_TABLES = ("channel",)  # at the top of a sensors file, and of no rig file
CALIBRATION_KEYS = ("haul_calibration",)  # at the top of a calibration file, which a channel names
NEITHER = "is neither a rig file nor a sensors file; a rig has [[rope]] tables, a sensors file [[channel]] tables"
RIG_TABLES = (
    "rope",
    "anchor_to_load_m",
    "anchor_to_load_ft",
    "anchor_to_load_in",
    "anchor_to_load_mm",
)


@dataclass(frozen=True)
class RigFile:
    """A rig file of the folder."""

    name: str  # of the file, without its ending
    path: Path  # of the file
    title: str  # as written in it; its name where it has none
    rig: Rig | None  # None where it can't work
    fault: str  # why it can't work, and what to write instead; "" if it can
    draft: bool = False  # whether it has changes that are not saved


@dataclass(frozen=True)
class SensorsFile:
    """A sensors file of the folder."""

    name: str  # of the file, without its ending
    path: Path  # of the file
    sensors: Sensors | None  # None where it is at fault
    fault: str  # what is wrong in it, and what to write instead; "" for nothing


@dataclass(frozen=True)
class OddFile:
    """A TOML file that is neither, or can't be read."""

    name: str  # of the file, with its ending
    fault: str  # why


@dataclass(frozen=True)
class SessionEntry:
    """A session of the folder."""

    name: str  # of its folder
    path: Path  # of its folder
    title: str  # of its rig; "" without one
    started_at: str  # UTC; "" where it can't be read
    state: str  # of the session, or why it can't be read


@dataclass(frozen=True)
class DeskFiles:
    """The TOML files of the folder, each kind in order of name."""

    rigs: tuple[RigFile, ...]  # also those at fault
    sensors: tuple[SensorsFile, ...]  # also those at fault
    odd: tuple[OddFile, ...]  # what is neither

    def at_fault(self, rigs: bool = True, sensors: bool = True) -> tuple[str, ...]:
        """A line for each file at fault: its name, the place, what is wrong and the cure.

        rigs, sensors: whether those of this kind count; files that can't be read as either always do.
        """
        lines = [f"{one.name}: {one.fault}" for one in self.odd]
        if sensors:
            lines += [f"{one.path.name}: {one.fault}" for one in self.sensors if one.fault]
        if rigs:
            lines += [
                f"{one.path.name}: {one.fault}"
                for one in self.rigs
                if one.fault and one.fault != NOT_SAVED
            ]
        return tuple(sorted(lines))


def checked_name(text: str, suffix: str = "") -> str:
    """A name that a person typed or a browser sent, with the ending; raises CallFault.

    Letters, digits, blanks, dashes, dots and underscores, 60 at most; a letter or digit first; never "..".
    """
    name = text.strip()
    name = name.removesuffix(suffix) if suffix else name
    if not NAME.fullmatch(name) or ".." in name:
        raise CallFault(
            "name",
            "a name has letters, digits, blanks, dashes and dots, 60 at most",
            'write such as "launch 12 to 1"',
        )
    return name + suffix


def within(folder: Path, text: str, suffix: str = "") -> Path:
    """The path of a checked name in the folder, which need not exist; raises CallFault.

    What exists under it must be a file or a folder itself, and no link.
    """
    path = folder / checked_name(text, suffix)
    if path.is_symlink():
        raise CallFault(
            path.name, "is a link, which may lead out of the folder", "put the file itself there"
        )
    return path


def draft_names(folder: Path) -> list[str]:
    """Names of the rigs that have a draft, in order of name."""
    try:
        names = sorted(path.name.removesuffix(DRAFT) for path in (folder / STORE).glob(f"*{DRAFT}"))
    except OSError:
        return []
    return [name for name in names if NAME.fullmatch(name)]


def files_in(folder: Path) -> DeskFiles:
    """The TOML files of the folder, and the drafts of rigs that have no file yet.

    Raises CallFault where it can't be read.
    """
    rigs: list[RigFile] = []
    sensors: list[SensorsFile] = []
    odd: list[OddFile] = []
    for path in _toml_files(folder):
        one = _file(path, *_mark(path))
        if isinstance(one, RigFile):
            rigs.append(one)
        elif isinstance(one, SensorsFile):
            sensors.append(one)
        elif one is not None:
            odd.append(one)
    written = {path.stem for path in _toml_files(folder)}
    drafts = draft_names(folder)
    rigs += [
        RigFile(
            name=name,
            path=folder / (name + TOML),
            title=name,
            rig=None,
            fault=NOT_SAVED,
            draft=True,
        )
        for name in drafts
        if name not in written
    ]
    rigs = [replace(one, draft=one.name in drafts) for one in rigs]
    rigs.sort(key=lambda one: one.name)
    return DeskFiles(tuple(rigs), tuple(sensors), tuple(odd))


def running(folder: Path) -> str | None:
    """The name of the session that is being recorded, found by its recorder's lock; None without one."""
    return next((name for name in sessions_in(folder) if is_held(folder / name)), None)


def sessions(folder: Path, most: int) -> list[SessionEntry]:
    """The newest sessions of the folder, `most` of them."""
    return [_session(folder / name) for name in sessions_in(folder)[:most]]


def _session(path: Path) -> SessionEntry:
    title = started_at = ""
    try:
        started_at = one_line(str(read_descriptor(path).get("started_at", "")), 40)
        state = session_state(path, quick=True)
        document = parse_toml(
            read_text(path / RIG, SessionFault, plain=True), path.name, SessionFault
        )
        title = one_line(str(document.get("title", "")), 120)
    except UserFault as fault:
        state = f"cannot be read: {fault.fault}"
    return SessionEntry(name=path.name, path=path, title=title, started_at=started_at, state=state)


def _toml_files(folder: Path) -> list[Path]:
    """The TOML files of the folder itself, in order of name; no links, none whose name is not allowed."""
    try:
        entries = sorted(folder.iterdir())
    except OSError as error:
        raise CallFault(
            folder,
            f"cannot be read ({error.strerror or error})",
            "give a folder that this user may read",
        ) from None
    plain = []
    for path in entries:
        if path.suffix != TOML or not NAME.fullmatch(path.stem) or ".." in path.stem:
            continue
        try:
            if stat.S_ISREG(path.lstat().st_mode):
                plain.append(path)
        except OSError:  # gone meanwhile
            continue
    return plain[:MOST_FILES]


def _mark(path: Path) -> tuple[int, int, int]:
    """What changes whenever the file does: its number, size and time."""
    try:
        now = path.lstat()
    except OSError:
        return 0, 0, 0
    return now.st_ino, now.st_size, now.st_mtime_ns


@lru_cache(maxsize=2 * MOST_FILES)  # speed only: every page asks again
def _file(
    path: Path, number: int, size: int, time_ns: int
) -> RigFile | SensorsFile | OddFile | None:
    """What a file holds; None where it is gone or holds a calibration.  number, size, time_ns: as `_mark` gives them."""
    from analysis.rig_file.load import parse_rig
    from logger.channels.sensors_file import load_sensors

    if not number and not size and not time_ns:
        return None
    try:
        text = read_text(path, RigFault, plain=True)
        document: dict[str, Any] = parse_toml(text, path.name, RigFault)
    except UserFault as fault:
        return OddFile(path.name, _said(fault))
    if any(key in document for key in SENSORS_TABLES):
        try:
            return SensorsFile(path.stem, path, load_sensors(path), "")
        except UserFault as fault:
            return SensorsFile(path.stem, path, None, _said(fault))
    if any(key in document for key in CALIBRATION_KEYS):
        return None
    if not any(key in document for key in RIG_TABLES):
        return OddFile(path.name, NEITHER)
    title = one_line(str(document.get("title") or path.stem), 120)
    try:
        rig = parse_rig(text, path.name)
        return RigFile(name=path.stem, path=path, title=title, rig=rig, fault="")
    except UserFault as fault:
        return RigFile(name=path.stem, path=path, title=title, rig=None, fault=_said(fault))


def _said(fault: UserFault) -> str:
    """A fault without the name of its file."""
    where = f"{fault.place}: " if fault.place else ""
    return one_line(f"{where}{fault.fault}" + (f"; {fault.cure}" if fault.cure else ""), 300)
