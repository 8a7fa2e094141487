"""Joins what stands beside a draft on its page: load cells, where a capture would hold, the places of grabs."""

from __future__ import annotations

from dataclasses import dataclass, field

from analysis.rig.rig import Rig
from analysis.rig_edit.edits import StationPlace, kind_of
from analysis.rig_edit.toml_text import document_of
from dashboard.rig_page.draft_store import DraftState
from dashboard.rig_page.menu import menu, station_name
from dashboard.rig_page.menu_parts import About, Menu, MenuGroup, MenuMore
from dashboard.rig_page.places.captures import (
    HOLDS,
    HOLDS_NOT,
    capture_answers,
    capture_line,
    capture_list,
    load_line,
    of_strand,
    strands_that_hold,
)
from dashboard.rig_page.places.cells import (
    RigCells,
    cell_group,
    cell_lines,
    cells_by_place,
    place_of_strand,
)
from dashboard.rig_page.places.grab_searches import DraftSearches
from dashboard.rig_page.places.grabs import grabs_menu
from dashboard.rig_page.touches import Chosen
from dashboard.text.units import Units

CANNOT = "This rig can't work yet; where a capture would hold is known once it can."


@dataclass(frozen=True)
class Surroundings:
    """What stands beside the draft."""

    cells: RigCells | None = None  # None: the page has no sensors file
    captures: bool = False  # whether the drawing shows where a capture would hold
    searches: DraftSearches | None = None  # of the places of grabs; None: none are made

    @property
    def mark(self) -> str:
        """Changes when the cells or an awaited answer do."""
        cells = self.cells
        own = "" if cells is None else f"{cells.file} {cells.mark} {cells.why}"
        return f"{own} {0 if self.searches is None else self.searches.finished}"


@dataclass(frozen=True)
class PlacesView:
    """What the drawing and the lines below it show of the surroundings."""

    captures: bool = False  # whether the drawing shows where a capture would hold
    holds: tuple[bool, ...] = ()  # of each strand, whether it would; empty where that is not shown
    labels: tuple[str, ...] = ()  # of each strand in place of its tension; empty as `holds`
    signs: dict[str, tuple[str, ...]] = field(default_factory=dict)  # channels by place in the rig
    capture_lines: tuple[str, ...] = ()  # the same as `holds` in words, with the figures
    cell_lines: tuple[str, ...] = ()  # where each cell sits
    cells_file: str = ""  # name of the file that says so


def places_view(state: DraftState, beside: Surroundings, units: Units) -> PlacesView:
    """What of the surroundings is shown for a state of the draft."""
    rig = state.draft.outcome().rig
    holds: tuple[bool, ...] = ()
    lines: tuple[str, ...] = (CANNOT,) if beside.captures else ()
    if beside.captures and rig is not None:
        places = capture_answers(rig, state.draft.text)
        holds = strands_that_hold(rig, places)
        lines = (load_line(rig, units), *capture_list(rig, places, units))
    cells = beside.cells
    return PlacesView(
        captures=beside.captures,
        holds=holds,
        labels=tuple(HOLDS if one else HOLDS_NOT for one in holds),
        signs=cells_by_place(rig, cells),
        capture_lines=lines,
        cell_lines=cell_lines(rig, cells),
        cells_file="" if cells is None else cells.file,
    )


def menu_beside(state: DraftState, what: Chosen, beside: Surroundings, units: Units) -> Menu | None:
    """The menu of what was touched, with what the surroundings add to it."""
    document = document_of(state.draft.text)
    rig = state.draft.outcome().rig
    if what.kind == "grabs":
        return grabs_menu(state.draft, document, beside.searches, units)
    more = MenuMore()
    if what.kind == "strand" and what.place is not None:
        more = MenuMore(
            capture=About(notes=_capture_notes(rig, state, what.place, units)),
            groups=_groups(rig, place_of_strand(rig, what.place), state, beside),
        )
    elif what.kind == "part" and what.place is not None:
        station = document["rope"][what.place.rope]["path"][what.place.station]
        kind = kind_of(station)
        own = "" if kind in ("tie", "free") else station_name(station)
        own = "haul" if kind == "haul" else own
        more = MenuMore(groups=_groups(rig, own, state, beside) if own else ())
    elif what.kind == "body":
        more = MenuMore(groups=_groups(rig, what.body, state, beside))
    return menu(document, what, units, more)


def _groups(
    rig: Rig | None, at: str, state: DraftState, beside: Surroundings
) -> tuple[MenuGroup, ...]:
    group = cell_group(rig, at, beside.cells, state.saved)
    return () if group is None else (group,)


def _capture_notes(
    rig: Rig | None, state: DraftState, place: StationPlace, units: Units
) -> tuple[str, ...]:
    """What a capture on this strand would do, a line for each body at its ends."""
    if rig is None or not 0 < place.station < len(rig.ropes[place.rope].stations):
        return ()
    number_of = rig.before.get(rig.ropes[place.rope].stations[place.station])
    if number_of is None:
        return ()
    places = of_strand(rig, capture_answers(rig, state.draft.text), number_of)
    lines = tuple(capture_line(one, units) for one in places)
    return (*lines, load_line(rig, units)) if any(one.holds for one in places) else lines
