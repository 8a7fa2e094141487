"""Keeps the order of what was done on the rig page: edits of the draft, and load cells put elsewhere.

A draft undoes its own edits; a cell sits in the sensors file.  So that one Undo takes back what was done last,
each cell step remembers after how many edits of the draft it was done.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from analysis.rig_edit.draft import Draft


@dataclass(frozen=True)
class CellStep:
    """One load cell that was put elsewhere."""

    file: str  # name of the sensors file with its ending
    channel: str  # name of the channel
    before: str  # where it sat, as the file says it
    at: str  # where it was put


@dataclass(frozen=True)
class CellSteps:
    """The cell steps between the edits of a draft, and those that Redo brings back."""

    edits: int = 0  # edits of the draft that are done
    done: tuple[tuple[int, CellStep], ...] = ()  # with `edits` at that time, the last one last
    undone: tuple[tuple[int, CellStep], ...] = ()  # the same, the nearest last

    @property
    def last(self) -> CellStep | None:
        """The cell step that Undo takes back; None: an edit of the draft was done after it, or there is none."""
        return self.done[-1][1] if self.done and self.done[-1][0] == self.edits else None

    @property
    def next(self) -> CellStep | None:
        """The cell step that Redo does again; None: an edit of the draft comes before it, or there is none."""
        return self.undone[-1][1] if self.undone and self.undone[-1][0] == self.edits else None

    def put(self, step: CellStep) -> CellSteps:
        """The steps with a new one."""
        return replace(self, done=(*self.done, (self.edits, step)), undone=())

    def back(self) -> CellSteps:
        """The steps with the last one undone."""
        return replace(self, done=self.done[:-1], undone=(*self.undone, self.done[-1]))

    def again(self) -> CellSteps:
        """The steps with the next one done again."""
        return replace(self, done=(*self.done, self.undone[-1]), undone=self.undone[:-1])

    def dropped(self, redo: bool) -> CellSteps:
        """The steps without the last one, or without the next one to redo."""
        if redo:
            return replace(self, undone=self.undone[:-1])
        return replace(self, done=self.done[:-1])

    def edited(self, old: Draft, new: Draft) -> CellSteps:
        """The steps after the draft went from old to new: by an edit, an undo or a redo."""
        if new is old:
            return self
        if len(new.undone) > len(old.undone):
            return replace(self, edits=self.edits - 1)
        redone = bool(old.undone) and new == old.redo()
        return replace(self, edits=self.edits + 1, undone=self.undone if redone else ())
