"""Puts load cells at places of the rig, and takes that back: one step of the page, written into the sensors file."""

from __future__ import annotations

from analysis.rig_edit.cell_steps import CellStep
from dashboard.rig_page.draft_store import DraftStore
from dashboard.rig_page.places.cells import CellKeeper, cell_place_words, is_cell_place
from logger.errors import CallFault


def cell_put(
    store: DraftStore, keeper: CellKeeper, asked: tuple[str, str, str], run: str = ""
) -> str:
    """Put a cell at a place of the rig; what is to be said.

    asked: channel, place, mark of the sensors file; run: of the page.  Raises CallFault for a place that the rig
    does not have, and what the keeper raises.
    """
    channel, at, mark = asked
    rig = store.state().draft.outcome().rig
    if rig is None or not is_cell_place(rig, at):
        raise CallFault("cell", "this rig has no such place", "touch a strand or a part of it")
    cells = keeper.now()  # as the page showed them, else the keeper refuses
    before = next((one.at for one in cells.channels if one.name == channel), at)
    keeper.put(channel, at, mark)
    if before != at:
        store.cell_was_put(CellStep(cells.file, channel, before, at), run)
    return f"{channel} sits at {cell_place_words(at)} now."


def cell_moved_back(
    store: DraftStore, keeper: CellKeeper, page: tuple[int, str], redo: bool
) -> str:
    """Undo a cell that was put elsewhere, or put it there again, where that is the step in turn.

    page: the version that it shows, and the name of its run.  Returns what is to be said; "" where the step in turn
    is another one.  Raises what the keeper raises, the step kept.
    """

    def move(step: CellStep) -> bool:
        """Put the cell there; false where it sits elsewhere by now."""
        cells = keeper.now()
        here, there = (step.before, step.at) if redo else (step.at, step.before)
        sits = {one.name: one.at for one in cells.channels}.get(step.channel)
        if cells.file != step.file or sits != here:
            return False
        keeper.put(step.channel, there, cells.mark)
        return True

    version, run = page
    done = store.move_cell(version, redo, move, run)
    if done is None:
        return ""
    step, moved = done
    if not moved:
        return f"{step.channel} was moved elsewhere since, and stays there: this step is left out."
    if redo:
        return f"{step.channel} sits at {cell_place_words(step.at)} again."
    return f"Undone: {step.channel} sits at {cell_place_words(step.before)} again."
