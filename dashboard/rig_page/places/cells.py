"""Says where load cells sit in a rig, and offers to put one at a place; the sensors file holds the places."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from analysis.mechanics.model import force_gain
from analysis.rig.rig import Rig
from analysis.rig_edit.edits import StationPlace
from dashboard.rig_page.acts import act
from dashboard.rig_page.menu_parts import About, Choice, MenuGroup
from logger.errors import RigFault

CELL_HERE = "Load cell here"  # title of the group in a menu
SENSORS_PAGE = ("Sensors", "/sensors/")  # the link to where channels are made


@dataclass(frozen=True)
class ForceChannel:
    """One force channel of the sensors file."""

    name: str  # of the channel
    at: str  # where it sits, as the file says it
    before: str = ""  # where it sat before this page put it here; "" where it did not


@dataclass(frozen=True)
class RigCells:
    """The force channels of the sensors file of the next haul."""

    file: str  # its name with the ending; "" where the folder has none
    channels: tuple[ForceChannel, ...]  # in the order of the file
    why: str = ""  # why there is no channel to place; "" where there is one
    mark: str = ""  # changes with the file's text


class CellKeeper(Protocol):
    """What reads and changes the sensors file for the page."""

    def now(self) -> RigCells:
        """The force channels as the file has them."""

    def put(self, channel: str, at: str, mark: str) -> None:
        """Write another place of a channel; mark: of the file that the page showed.  Raises a UserFault."""


def place_of_strand(rig: Rig | None, place: StationPlace) -> str:
    """The strand before a station as the sensors file names it; "" where the rig has no such strand."""
    if rig is None or not 0 <= place.rope < len(rig.ropes):
        return ""
    stations = rig.ropes[place.rope].stations
    strand = rig.before.get(stations[place.station]) if place.station < len(stations) else None
    if strand is None:
        return ""
    return "haul" if strand == rig.haul_strand else rig.strands[strand].name


def is_cell_place(rig: Rig, at: str) -> bool:
    """Whether a force channel can sit at a place of the rig; at: as the sensors file names it."""
    try:
        force_gain(rig, at)
    except RigFault:
        return False
    return True


def cell_place_words(at: str) -> str:
    """A place of a cell for people."""
    first, arrow, last = at.partition(">")
    if arrow:
        return f"the strand from {first} to {last}"
    return {"haul": "the haul strand", "load": "the load", "anchor": "the anchor"}.get(at, at)


def cell_group(rig: Rig | None, at: str, cells: RigCells | None, saved: bool) -> MenuGroup | None:
    """The group of a menu that puts a cell at a place; None where no cell can sit there.

    rig: None: it can't work yet; at: "" for no place; cells: None: the page has no sensors file; saved: whether
    the rig file has this place already.
    """
    if rig is None:
        note = "A cell can be placed once this rig can work."
        return MenuGroup(CELL_HERE, about=About(notes=(note,)))
    if not at or not is_cell_place(rig, at):
        return None
    if [one.name for one in rig.strands].count(at) > 1:
        note = f"Two strands are called {at}: rename one of their ends, so that a cell's place is clear."
        return MenuGroup(CELL_HERE, about=About(notes=(note,)))
    if cells is None:
        note = f'In the sensors file write at = "{at}" for the force channel that measures here.'
        return MenuGroup(CELL_HERE, about=About(notes=(note,)))
    if not cells.channels:
        return MenuGroup(CELL_HERE, about=About(notes=(cells.why,), link=SENSORS_PAGE))
    notes = [f'It is written into {cells.file} at once, as at = "{at}".']
    if not saved:
        notes.append("Save the rig too, so that the rig file has this place.")
    choices = [choice for one in cells.channels for choice in _choices(rig, one, at, cells.mark)]
    return MenuGroup(CELL_HERE, tuple(choices), about=About(notes=tuple(notes), link=SENSORS_PAGE))


def _choices(rig: Rig, one: ForceChannel, at: str, mark: str) -> list[Choice]:
    """The buttons of one channel: put it here, or back to where it was."""
    if _place_in(rig, one.at) != at:
        return [Choice(f"{one.name}, now at {one.at}", act("cell", one.name, at, mark))]
    here = Choice(f"{one.name} sits here", act("cell", one.name, at, mark), True)
    if not one.before or one.before == at:
        return [here]
    return [
        here,
        Choice(f"{one.name} back to {one.before}", act("cell", one.name, one.before, mark)),
    ]


def _place_in(rig: Rig, at: str) -> str:
    """A place of the sensors file; the haul, which may go by its name, as "haul"."""
    return "haul" if at == rig.stations[rig.haul].name else at


def cell_lines(rig: Rig | None, cells: RigCells | None) -> tuple[str, ...]:
    """Where each cell sits, a line each; a place that the rig does not have is said so."""
    lines = []
    for one in () if cells is None else cells.channels:
        there = rig is None or is_cell_place(rig, one.at)
        where = cell_place_words(one.at) if there else f"{one.at}, which this rig does not have"
        lines.append(f"{one.name}: at {where}")
    return tuple(lines)


def cells_by_place(rig: Rig | None, cells: RigCells | None) -> dict[str, tuple[str, ...]]:
    """The channels at each place of a rig, for the drawing; empty for a rig that can't work."""
    places: dict[str, tuple[str, ...]] = {}
    if rig is None or cells is None:
        return places
    for one in cells.channels:
        at = _place_in(rig, one.at)
        if is_cell_place(rig, at):
            places[at] = (*places.get(at, ()), one.name)
    return places
