"""Keeps the draft of one rig file: in memory for the page, and on disk so that no edit is lost."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from analysis.rig_edit.cell_steps import CellStep, CellSteps
from analysis.rig_edit.draft import Draft, opened
from dashboard.desk.written_files import keep_draft, write_text
from logger.errors import CallFault, RigFault
from logger.toml_tables import read_text

FOLDER = ".desk"  # beside the rig file, for drafts
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 .-]{0,59}")  # of a file that a page names
EMPTY = 'title = ""\nanchor_to_load_m = 12.0\n'


@dataclass(frozen=True)
class DraftState:
    """One state of the draft, as a page shows it."""

    draft: Draft  # the file's text with all edits
    version: int  # rises with every change
    saved: bool  # whether the file holds this text
    changed_on_disk: bool  # whether somebody else changed the file since it was opened
    offered: bool  # whether a draft of an earlier run is waiting to be taken up
    cells: CellSteps = field(default=CellSteps())  # load cells put elsewhere between the edits


class DraftStore:
    """The draft of one rig file.  Safe for several threads.

    path: of the rig file, which need not exist yet.  Raises RigFault for a file that can't be read.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self._lock = threading.RLock()
        self._version = 1
        # (page, from, to): versions that one page alone has made, by name
        self._own = ("", 0, 0)
        # of the file when it was opened or saved last
        self._base = self._on_disk() if self.path.exists() else EMPTY
        self._draft = opened(self._base, self.path.name)
        self._cells = CellSteps()
        self._told_changed = False
        kept = self._kept()
        self._offered = kept if kept is not None and kept != self._base else None

    @property
    def draft_path(self) -> Path:
        """Where the draft lies while it differs from the file."""
        return self.path.parent / FOLDER / f"{self.path.name}.draft"

    @property
    def text(self) -> str:
        """The draft's text as it is."""
        with self._lock:
            return self._draft.text

    def state(self) -> DraftState:
        """The draft as it is."""
        with self._lock:
            disk = self._disk_or_none()
            changed = disk is not None and disk not in (self._base, self._draft.text)
            if changed != self._told_changed:
                self._told_changed = changed
                self._version += 1  # so that every page shows it
            return DraftState(
                draft=self._draft,
                version=self._version,
                saved=disk == self._draft.text,
                changed_on_disk=changed,
                offered=self._offered is not None,
                cells=self._cells,
            )

    def change(
        self, version: int, make: Callable[[Draft], Draft], page: str = "", by_name: bool = False
    ) -> bool:
        """Replace the draft by `make` of it; False where it is no longer at this version.

        page: name of the page's run, "" for none.  by_name: the change does not depend on the order of stations; it
        may then also stand on what the same page changed in this way since that version, whose answer the page had
        not yet: a second field is filled while the first is still on its way.
        The new text is on disk when this returns.  Raises what `make` raises, the draft unchanged.
        """
        with self._lock:
            if not self._may_change(version, page, by_name):
                return False
            changed = make(self._draft)
            if changed is not self._draft:
                self._count(page, by_name)
                self._replace(changed)
                self._keep()
            return True

    def cell_was_put(self, step: CellStep, page: str = "") -> None:
        """Remember a load cell that was put elsewhere, so that Undo takes it back in its turn.  page: as for `change`."""
        with self._lock:
            self._count(page, True)
            self._draft = self._draft.settled()
            self._cells = self._cells.put(step)

    def move_cell(
        self, version: int, redo: bool, move: Callable[[CellStep], bool], page: str = ""
    ) -> tuple[CellStep, bool] | None:
        """Undo the cell step that was done last, or do the next one again.

        move: puts the cell there; false where it was moved by somebody else since: the step is then dropped.
        version, page: as for `change` by name.  Returns the step and what `move` returned; None where the step in
        turn is no cell's, or the draft is no longer at this version.  Raises what `move` raises, the step kept.
        """
        with self._lock:
            step = self._cells.next if redo else self._cells.last
            if step is None or not self._may_change(version, page, True):
                return None
            moved = move(step)
            self._count(page, True)
            if not moved:
                self._cells = self._cells.dropped(redo)
            else:
                self._cells = self._cells.again() if redo else self._cells.back()
            return step, moved

    def _may_change(self, version: int, page: str, by_name: bool) -> bool:
        """Whether a change that stands on this version may be made; the lock is held."""
        return version == self._version or (
            by_name and self._goes_on(page) and self._own[1] <= version
        )

    def _goes_on(self, page: str) -> bool:
        """Whether this page alone made the last changes, by name."""
        own, _, last = self._own
        return page != "" and page == own and last == self._version

    def _count(self, page: str, by_name: bool) -> None:
        """Raise the version for a change of this page; the lock is held."""
        if by_name:
            first = self._own[1] if self._goes_on(page) else self._version
            self._own = (page, first, self._version + 1)
        self._version += 1

    def _replace(self, draft: Draft) -> None:
        """Go on with another draft; the lock is held."""
        self._cells = self._cells.edited(self._draft, draft)
        self._draft = draft

    def save(self, name: str = "", over_other: bool = False) -> None:
        """Write the rig file, or another file in its folder.

        name: of the other file, without its ending; "" for the file itself.  over_other: write it even
        though somebody else changed it meanwhile.  Raises RigFault for a rig that can't work, CallFault
        for a name that is not allowed or taken, and for a file that was changed.
        """
        with self._lock:
            fault = self._draft.outcome().fault
            if fault is not None:
                raise RigFault(self.path, f"not saved: {fault.fault}", fault.cure, fault.place)
            text = self._draft.text
            if name:
                self._save_as(name, text)
                return
            if self.state().changed_on_disk and not over_other:
                raise CallFault(
                    self.path.name,
                    "was changed by another program since it was opened, and is not overwritten",
                    "save under another name, or take the file as it is now",
                )
            write_text(self.path, text)
            self._base = text
            self._version += 1
            self._forget()

    def take_file(self) -> None:
        """Go on with the file as it is on disk; the draft is one step to undo."""
        with self._lock:
            text = self._on_disk()
            self._base = text
            self._replace(self._draft.replaced(text))
            self._version += 1
            self._keep()

    def take_offered(self, wanted: bool) -> None:
        """Go on with the draft of the earlier run, or leave it."""
        with self._lock:
            if self._offered is not None and wanted:
                self._replace(self._draft.replaced(self._offered))
            self._offered = None
            self._version += 1
            self._keep()

    def _on_disk(self) -> str:
        return read_text(self.path, RigFault)

    def _disk_or_none(self) -> str | None:
        try:
            return self._on_disk()
        except RigFault:
            return None

    def _kept(self) -> str | None:
        try:
            return read_text(self.draft_path, RigFault, plain=True)
        except RigFault:
            return None

    def _keep(self) -> None:
        """Write the draft beside the file, or take it away where it holds nothing new."""
        if self._draft.text == self._base:
            self._forget()
            return
        keep_draft(self.draft_path, self._draft.text)

    def _forget(self) -> None:
        self.draft_path.unlink(missing_ok=True)

    def _save_as(self, name: str, text: str) -> None:
        if not NAME.fullmatch(name) or ".." in name:
            raise CallFault(
                "save as",
                "a name has letters, digits, blanks, dashes and dots",
                'write such as "launch 12 to 1"',
            )
        path = self.path.parent / (name if name.endswith(".toml") else f"{name}.toml")
        if path.exists() or path.is_symlink():
            raise CallFault(path.name, "exists, and no file is overwritten", "choose another name")
        write_text(path, text)
