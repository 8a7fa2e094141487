"""Offers the best places of the grabs as a menu; `grab_searches` works them out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.prediction.grab_places import MODES, ONE_MORE_M, GrabPlaces, GrabPlacing
from analysis.rig_edit.draft import Draft
from analysis.rig_edit.edits import kind_of
from dashboard.rig_page.acts import act
from dashboard.rig_page.menu_parts import About, Choice, Menu, MenuGroup
from dashboard.rig_page.places.grab_searches import DraftSearches
from dashboard.text.units import UNKNOWN, Units

SITTING = "Where should grabs sit?"
METHOD = (
    "Fewest resets first, then least rope: searched over a grid of places, then in steps down to 1 cm, with the "
    "lengths and places of this draft. Their uncertainty is not in the rig file, so that of the answer is not known."
)
HOW = {"each": "Grabs reset one by one", "together": "All grabs reset together"}
DIGITS = 3  # of a place that is written, m; the search rounds so


def grabs_menu(
    draft: Draft, document: Mapping[str, Any], searches: DraftSearches | None, units: Units
) -> Menu:
    """The best places as a menu.

    document: the draft's TOML; searches: None: nobody may wait for an answer.
    """
    rig = draft.outcome().rig
    if rig is None or searches is None:
        return _only("This rig can't work yet; the places are worked out once it can.")
    answer = searches.ask(draft.text, rig)
    if answer.places is None:
        return _only(answer.why)
    placed = answer.places
    if placed.why is not None:
        return _only(f"Not known: {placed.why.text(units)}.")
    groups = [_of_mode(placed, mode, document, units) for mode in MODES]
    return Menu(
        SITTING, (*groups, _one_more(placed, units), MenuGroup("", about=About(notes=(METHOD,))))
    )


def _only(note: str) -> Menu:
    return Menu(SITTING, (MenuGroup("", about=About(notes=(note,))),))


def _of_mode(placed: GrabPlaces, mode: str, document: Mapping[str, Any], units: Units) -> MenuGroup:
    """The draft's own places and the best ones for one way to reset, with the button that writes the best."""
    now, best = placed.now[mode], placed.best[mode]
    notes = [f"As drawn: {_line(now, units)}.", f"Best: {_line(best, units)}."]
    if best is None:
        return MenuGroup(HOW[mode], about=About(notes=tuple(notes)))
    if best == placed.chosen:
        notes[1] = f"Best of all: {_line(best, units)}."
    values = _written(best, document)
    # the mode makes the acts of two buttons differ, which may write the same places
    same = now is not None and all(
        abs(now.at_m[g] - x) < 10.0**-DIGITS for g, x in best.at_m.items()
    )
    label = "Use it: " + ", ".join(f"{g} at {units.length(x)}" for g, x in best.at_m.items())
    choices = (Choice(label, act("seat", mode, *values), same),) if values else ()
    return MenuGroup(HOW[mode], choices, about=About(notes=tuple(notes)))


def _line(one: GrabPlacing | None, units: Units) -> str:
    """One placing: places from the anchor, resets, strokes and rope, with units."""
    if one is None:
        return "cannot be done with the rope and the space there is"
    places = ", ".join(f"{g} {units.length(x)} from the anchor" for g, x in one.at_m.items())
    return (
        f"{places}; {_counted(one.resets, 'reset')}, {_counted(one.strokes, 'stroke')}, "
        f"{units.length(one.haul_m)} hauled, {units.length(one.rope_m)} of rope needed"
    )


def _counted(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def _one_more(placed: GrabPlaces, units: Units) -> MenuGroup:
    """What one more metre of space or of rope saves."""
    best = placed.chosen
    more = units.length(ONE_MORE_M)
    notes = []
    for label, one in (
        ("between anchor and load", placed.more_space),
        ("of each rope", placed.more_rope),
    ):
        if one is None or best is None:
            saved = UNKNOWN
        else:
            saved = (
                f"{_counted(one.resets, 'reset')} in place of {best.resets}, "
                f"{_counted(one.strokes, 'stroke')} in place of {best.strokes} ({HOW[one.mode].lower()})"
            )
        notes.append(f"{more} more {label}: {saved}.")
    return MenuGroup(f"What {more} more would save", about=About(notes=tuple(notes)))


def _written(best: GrabPlacing, document: Mapping[str, Any]) -> list[int | float]:
    """Rope, station and place of each grab in turn, as the act carries them; empty where one is not there."""
    values: list[int | float] = []
    for r, rope in enumerate(document.get("rope", [])):
        for s, station in enumerate(rope.get("path", [])):
            if kind_of(station) == "grab" and station["grab"] in best.at_m:
                values += [r, s, round(best.at_m[station["grab"]], DIGITS)]
    return values if len(values) == 3 * len(best.at_m) else []
