"""Makes all parts of the rig page for one state of the draft, as plain values."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import escape
from typing import Any

from analysis.rig.rig import Rig
from analysis.rig_edit.edits import Document, kind_of, names_in
from analysis.rig_edit.toml_text import document_of
from dashboard.rig_drawing.drawing import drawing
from dashboard.rig_page.acts import act
from dashboard.rig_page.answers import AnswerRow, answers
from dashboard.rig_page.draft_store import DraftState
from dashboard.rig_page.menu import job_questions, station_name
from dashboard.rig_page.menu_parts import Choice, Menu, MenuGroup
from dashboard.rig_page.places.captures import HOLD_CLASS, NO_HOLD_CLASS
from dashboard.rig_page.places.surroundings import (
    PlacesView,
    Surroundings,
    menu_beside,
    places_view,
)
from dashboard.rig_page.touches import Chosen, chosen
from dashboard.text.units import Units, number
from logger.errors import UserFault

FAULTY = "at-fault"  # class of what a fault names, on the drawing
LEAST_WIDTH, MOST_WIDTH = 320, 1600  # of the drawing, px
ALONE = Surroundings()


@dataclass(frozen=True)
class StationRow:
    """One station in the list of a rope."""

    place: tuple[int, int]  # (rope, station)
    text: str  # what it is, in words
    strand: str  # label of the strand before it; "" for the first
    fault: str  # what is wrong with it; "" where the fault is elsewhere


@dataclass(frozen=True)
class RopeRows:
    """The list of one rope."""

    name: str  # of the rope
    stations: tuple[StationRow, ...]  # in rope order


@dataclass(frozen=True)
class RigView:
    """The rig page for one state of the draft."""

    version: int  # of the draft
    title: str  # of the rig
    svg: str  # the drawing; "" where the rig can't be drawn
    ropes: tuple[RopeRows, ...]  # the same as lists
    answers: tuple[AnswerRow, ...]  # empty where the rig can't work
    warnings: tuple[tuple[str, str], ...]  # (level, text)
    fault: str  # why it can't work and what to do; "" if it can
    menu: Menu | None  # of what was touched
    job: tuple[MenuGroup, ...]  # fields of the job
    may_undo: bool  # whether there is a step to undo
    may_redo: bool  # whether there is a step to make again
    may_save: bool  # whether the rig can work and the file differs
    status: str  # what the file holds
    offers: tuple[Choice, ...]  # what may be done about the file or an earlier draft
    places: PlacesView  # where cells sit and captures would hold, below the drawing
    mark: str  # changes when what stands beside the draft does


def view(
    state: DraftState, touched: Any, units: Units, width: int, beside: Surroundings = ALONE
) -> RigView:
    """The page of a draft.

    touched: what the browser says was touched; width: of the drawing, px; beside: what is known beside the draft.
    """
    draft = state.draft
    document: Document = document_of(draft.text)
    outcome = draft.outcome()
    shown = answers(outcome.rig, units) if outcome.rig is not None else None
    labels = _labels(outcome.drawn, None if shown is None else shown.tension_N)
    places = places_view(state, beside, units)
    svg = ""
    if outcome.drawn is not None:
        svg = drawing(
            outcome.drawn,
            outcome.drawn.start_m,
            None if shown is None else _array(shown.tension_N),
            places.labels or labels,
            width=min(MOST_WIDTH, max(LEAST_WIDTH, width)),
            cells=places.signs,
        )
    for k, holds in enumerate(places.holds):
        svg = _with_class(svg, f'data-number="{k}"', HOLD_CLASS if holds else NO_HOLD_CLASS)
    fault = outcome.fault
    what = chosen(touched, document, outcome.drawn)
    named = _named_by(fault, document)
    return RigView(
        version=state.version,
        title=str(document.get("title", "")) or draft.name,
        svg=_marked(svg, named, what, document, outcome.drawn),
        ropes=_lists(document, labels, fault, named),
        answers=() if shown is None else shown.rows,
        warnings=() if shown is None else shown.warnings,
        fault="" if fault is None else f"{fault.place or fault.file}: {fault.fault}; {fault.cure}",
        menu=menu_beside(state, what, beside, units),
        job=job_questions(document),
        may_undo=len(draft.texts) > 1 or bool(state.cells.done),
        may_redo=bool(draft.undone or state.cells.undone),
        may_save=outcome.rig is not None and not state.saved,
        status=_status(state),
        offers=_offers(state),
        places=places,
        mark=beside.mark,
    )


def _offers(state: DraftState) -> tuple[Choice, ...]:
    if state.offered:
        return (
            Choice("Go on with that draft", act("take draft", 1)),
            Choice("Leave it", act("take draft", 0)),
        )
    if state.changed_on_disk:
        return (
            Choice("Take the file as it is now", act("take file")),
            Choice("Save over that change", act("save over")),
        )
    return ()


def _status(state: DraftState) -> str:
    if state.offered:
        return "There is a draft of an earlier time, which was not saved."
    if state.changed_on_disk:
        return "The file was changed by another program since it was opened."
    return "saved" if state.saved else "not saved; the draft is kept"


def _labels(rig: Rig | None, tension: tuple[float, ...] | None) -> tuple[str, ...]:
    """The label of each strand: its tension in multiples of the haul tension T."""
    if rig is None:
        return ()
    if tension is None:
        return tuple("?" for _ in rig.strands)
    return tuple(f"{number(t)} T" for t in tension)


def _array(values: tuple[float, ...]) -> Any:
    import numpy as np

    return np.array(values)


def _named_by(fault: UserFault | None, document: Document) -> str:
    """The part or body that a fault names first, at its place or in its table; "" for none."""
    if fault is None:
        return ""
    if fault.station is not None:
        rope, station = fault.station
        ropes = document.get("rope", [])
        path = ropes[rope]["path"] if rope < len(ropes) else []
        return station_name(path[station]) if station < len(path) else ""
    table = fault.place.partition(":")[0].strip()
    name = table.partition(".")[2] or table
    return name if name in names_in(document) or name in ("anchor", "load") else ""


def _marked(svg: str, named: str, what: Chosen, document: Document, drawn: Rig | None) -> str:
    """The drawing with a class on what is at fault, and on what is touched."""
    if named:
        svg = _with_class(svg, f'data-element="{escape(named)}"', FAULTY)
    if what.kind == "body":
        return _with_class(svg, f'data-element="{escape(what.body)}"', "touched")
    if what.place is None or drawn is None:
        return svg
    path = document["rope"][what.place.rope].get("path", [])
    if what.kind == "part":
        name = station_name(path[what.place.station])
        return _with_class(svg, f'data-element="{escape(name)}"', "touched")
    before = sum(
        max(0, len(rope.get("path", [])) - 1) for rope in document["rope"][: what.place.rope]
    )
    if not 0 < what.place.station < len(path):
        return svg
    return _with_class(svg, f'data-number="{before + what.place.station - 1}"', "touched")


def _with_class(svg: str, attribute: str, name: str) -> str:
    """The drawing with a class on the groups that have this attribute, beside a class that they have."""
    there = re.compile(rf'(?:class="([^"]*)" )?{re.escape(attribute)}')

    def classed(match: re.Match[str]) -> str:
        """The attribute with all classes before it."""
        return (
            f'class="{match[1]} {name}" {attribute}' if match[1] else f'class="{name}" {attribute}'
        )

    return there.sub(classed, svg)


def _lists(
    document: Document, labels: tuple[str, ...], fault: UserFault | None, named: str
) -> tuple[RopeRows, ...]:
    """Each rope as a list of its stations; named: the part that the fault names."""
    text = "" if fault is None else f"{fault.fault}; {fault.cure}"
    at = None if fault is None else fault.station
    ropes = []
    strand = 0
    for r, rope in enumerate(document.get("rope", [])):
        rows = []
        for s, station in enumerate(rope.get("path", [])):
            label = ""
            if s > 0:
                label = labels[strand] if strand < len(labels) else "?"
                strand += 1
            rows.append(
                StationRow(
                    place=(r, s),
                    text=in_words(station),
                    strand=label,
                    fault=text if at == (r, s) or (at is None and named == _own(station)) else "",
                )
            )
        ropes.append(RopeRows(str(rope.get("name", "")), tuple(rows)))
    return tuple(ropes)


def _own(station: Document) -> str | None:
    """The name that is a station's own; None where it goes by its body."""
    return None if kind_of(station) in ("tie", "free", "") else station_name(station)


def in_words(station: Document) -> str:
    """A station as a line of the list."""
    kind = kind_of(station)
    name = station_name(station)
    if kind == "tie":
        return f"tied to {name}"
    if kind == "haul":
        return f"{name} hauls"
    if kind in ("free", ""):
        return "slack tail"
    on = f" on {station['on']}" if "on" in station else ""
    return f"{kind} {name}{on}"
