"""Holds a rig while it is edited: a file's text, the edits made to it, and what is wrong with it now."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from analysis.rig.rig import Rig
from analysis.rig_edit.edits import RigEdit
from analysis.rig_edit.toml_text import edited
from analysis.rig_file.load import parse_rig, sketch_rig
from logger.errors import RigFault, UserFault

MOST_STEPS = 1000  # memory only: edits that can be undone


@dataclass(frozen=True)
class DraftOutcome:
    """What a draft amounts to: a rig that can work, or the reason why not."""

    rig: Rig | None  # the checked rig; None where there is a fault
    drawn: Rig | None  # the rig as far as it can be drawn; None where it can't
    fault: UserFault | None  # with its place; None where there is none


@dataclass(frozen=True)
class Draft:
    """A rig file that is edited; a value, so that each edit makes another draft.

    A draft whose rig can't work is kept like any other.
    """

    name: str  # of the file, for faults
    texts: tuple[str, ...]  # the file's text as it was opened, then after each edit
    undone: tuple[str, ...] = ()  # texts that `redo` brings back, the nearest last

    @property
    def text(self) -> str:
        """The file's text now."""
        return self.texts[-1]

    @property
    def changed(self) -> bool:
        """Whether the text differs from that of the opened file."""
        return self.text != self.texts[0]

    def make(self, *edits: RigEdit) -> Draft:
        """The draft after these edits, which are one step to undo.

        Raises EditFault for an edit that the file has no place for; the draft stays as it is.
        """
        return self.replaced(edited(self.text, *edits))

    def replaced(self, text: str) -> Draft:
        """The draft with another text in its place, such as a rig of the shelf; one step to undo."""
        if text == self.text:
            return self
        texts = (*self.texts, text)
        if len(texts) > MOST_STEPS:
            texts = (texts[0], *texts[-MOST_STEPS + 1 :])
        return replace(self, texts=texts, undone=())

    def undo(self) -> Draft:
        """The draft before its last step; itself where there is none."""
        if len(self.texts) == 1:
            return self
        return replace(self, texts=self.texts[:-1], undone=(*self.undone, self.text))

    def redo(self) -> Draft:
        """The draft with the step that was undone last; itself where there is none."""
        if not self.undone:
            return self
        return replace(self, texts=(*self.texts, self.undone[-1]), undone=self.undone[:-1])

    def settled(self) -> Draft:
        """The draft without what `redo` would bring back: something else was done since."""
        return replace(self, undone=()) if self.undone else self

    def outcome(self) -> DraftOutcome:
        """The rig that the text describes, or what is wrong with it."""
        return _outcome(self.text, self.name)


def opened(text: str, name: str) -> Draft:
    """A draft of a file's text."""
    return Draft(name=name, texts=(text,))


@lru_cache(maxsize=64)  # speed only: undo, redo and two viewers ask for the same texts again
def _outcome(text: str, name: str) -> DraftOutcome:
    try:
        rig = parse_rig(text, name)
        return DraftOutcome(rig=rig, drawn=rig, fault=None)
    except RigFault as fault:
        return DraftOutcome(rig=None, drawn=_sketched(text, name), fault=fault)


def _sketched(text: str, name: str) -> Rig | None:
    """The rig as far as it can be drawn, or None."""
    try:
        return sketch_rig(text, name)
    except RigFault:
        return None
