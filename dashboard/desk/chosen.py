"""Which rig and which sensors file the next haul is with: kept in a file, so that every page and phone agrees."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TypeVar

from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import DeskFiles, RigFile, SensorsFile, files_in
from logger.errors import CallFault
from logger.filesystem import read_plain, write_atomic

File = TypeVar("File", RigFile, SensorsFile)

FILE = "chosen.json"
MOST = 4096  # bytes of the file; two names


@dataclass(frozen=True)
class NextHaul:
    """The files of the next haul; None where the folder has none of the kind."""

    rig: RigFile | None  # may be at fault
    sensors: SensorsFile | None  # may be at fault


def chosen(desk: Desk, files: DeskFiles | None = None) -> NextHaul:
    """What is chosen; without a choice that still exists, the file that was changed last.

    files: of the folder, where the caller has read it.
    """
    files = files_in(desk.folder) if files is None else files
    names = _names(desk)
    return NextHaul(_one(files.rigs, names.get("rig")), _one(files.sensors, names.get("sensors")))


def choose(desk: Desk, rig: str | None = None, sensors: str | None = None) -> NextHaul:
    """Choose a rig or a sensors file by its name; raises CallFault where the folder has none such."""
    files = files_in(desk.folder)
    names = _names(desk)
    for kind, name, there in (("rig", rig, files.rigs), ("sensors", sensors, files.sensors)):
        if name is None:
            continue
        if not any(name == one.name for one in there):
            raise CallFault(kind, "there is no such file in the folder", "load the page again")
        names[kind] = name
    try:
        desk.store.mkdir(exist_ok=True)
        write_atomic(desk.store / FILE, json.dumps(names).encode())
    except OSError as error:
        raise CallFault(
            desk.store, f"cannot be written ({error.strerror or error})", "make the folder writable"
        ) from None
    return chosen(desk, files)


def _names(desk: Desk) -> dict[str, str]:
    """The names in the file; empty where it is missing or is not ours."""
    try:
        names = json.loads(read_plain(desk.store / FILE, MOST))
    except (OSError, ValueError, RecursionError):
        return {}
    return {k: v for k, v in names.items() if isinstance(v, str)} if isinstance(names, dict) else {}


def _one(files: tuple[File, ...], name: str | None) -> File | None:
    """The file of this name, else the one that was changed last, those without a fault first."""
    named = next((one for one in files if one.name == name), None)
    if named is not None or not files:
        return named
    return max(files, key=lambda one: (not one.fault, _changed(one)))


def _changed(one: RigFile | SensorsFile) -> int:
    try:
        return one.path.lstat().st_mtime_ns
    except OSError:
        return 0
