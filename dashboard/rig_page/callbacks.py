"""From a touch to the new view of the page: two Dash callbacks, one for those who look, one for the operator.

The gate lets each callback through by its role; the callback that changes the draft checks the role again.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, no_update

from dashboard.rig_page import layout
from dashboard.rig_page.acts import act_values, made
from dashboard.rig_page.beside import register_beside
from dashboard.rig_page.draft_store import DraftStore
from dashboard.rig_page.places.cell_acts import cell_moved_back, cell_put
from dashboard.rig_page.places.cells import CellKeeper
from dashboard.rig_page.places.grab_searches import DraftSearches, GrabSearches
from dashboard.rig_page.places.places_layout import SHOWN, below_drawing, switched
from dashboard.rig_page.places.surroundings import Surroundings
from dashboard.rig_page.triggers import AskedAct, Trigger, asked_acts, touched_place, triggers
from dashboard.rig_page.view import RigView, view
from dashboard.text.units import Units
from dashboard.web.dash_page import operator_alone
from dashboard.web.gate import OPERATOR, VIEWER
from logger.errors import UserFault

# what both callbacks write, in the order of `_parts`
PARTS = (
    ("version", "data"), ("title", "children"), ("status", "children"), ("drawing", "data-svg"),
    ("answers", "children"), ("ropes", "children"), ("menu", "children"), ("menu", "hidden"),
    ("job", "children"), ("said", "children"), ("offers", "children"), ("places", "children"),
    ("holds", "data-value"), ("holds", "aria-pressed"), ("around", "data"),
)  # fmt: skip
TOUCHED = (
    "touched",
    "data",
)  # what was touched last; a page's script and the list alone write it, so that
# an act's answer never undoes a touch that came meanwhile
CLOSED = ("closed", "data")  # the touch whose menu an act has closed

OF_TOUCH = (
    ("drawing", "data-svg"),
    ("menu", "children"),
    ("menu", "hidden"),
    ("places", "children"),
    ("holds", "data-value"),
    ("holds", "aria-pressed"),
)  # what a touch or the switch of the captures alone changes

# acts that do not depend on the order of stations: a second one may come before the answer to the first
BY_NAME = ("set", "undo", "redo")
MOST_RUN = 40  # characters of the name of a page's run


def register(
    app: Dash, store: Callable[[], DraftStore], units: Units, keeper: CellKeeper | None = None
) -> dict[str, str]:
    """Add the callbacks to an application; returns the role of each, by its registered output key.

    store: gives the draft that a request is about; keeper: of the sensors file, None: the page has none.
    """
    before = set(app.callback_map)
    searches = GrabSearches()

    def surroundings(captures: Any = "") -> Surroundings:
        """What stands beside the draft now; captures: what the browser says of the switch."""
        cells = None if keeper is None else keeper.now()
        own = DraftSearches(searches, store())
        return Surroundings(cells=cells, captures=captures == SHOWN, searches=own)

    @app.callback(  # type: ignore[untyped-decorator]
        [Output(i, p) for i, p in (*PARTS, TOUCHED)],
        Input("look", "n_intervals"), Input("width", "data"), Input("touched", "data"),
        Input({"type": "station", "rope": ALL, "station": ALL}, "n_clicks"),
        Input({"type": "gap", "rope": ALL, "station": ALL}, "n_clicks"), Input("captures", "data"),
        State("version", "data"), State("closed", "data"), State("around", "data"),
    )  # fmt: skip
    def look(*arguments: Any) -> Any:
        """The page as it is, for whoever looks; unchanged where nothing is new."""
        width, touched = arguments[1:3]
        captures, version, closed, mark = arguments[-4:]
        state, beside = store().state(), surroundings(captures)
        causes = triggers(ctx.triggered, ctx.triggered_prop_ids)
        place = touched_place(causes)
        touched = _open(touched, closed) if place is None else place
        same = version == state.version and mark == beside.mark
        if touched is None and same and _nothing_new(causes):
            return [no_update] * (len(PARTS) + 1)
        parts = _parts(view(state, touched, units, _pixels(width), beside), "")
        if same and not any(one.identity == "width" for one in causes):
            # the same rig at the same width: a list drawn anew would take the focus from its buttons
            parts = [
                value if name in OF_TOUCH else no_update
                for value, name in zip(parts, PARTS, strict=True)
            ]
        # with the moment, so that the same place touched again is another touch
        return [*parts, no_update if place is None else {**place, "at": time.monotonic_ns()}]

    looking = set(app.callback_map) - before

    @app.callback(  # type: ignore[untyped-decorator]
        [*(Output(i, p, allow_duplicate=True) for i, p in PARTS), Output(*CLOSED)],
        Input({"type": "do", "act": ALL}, "n_clicks"),
        Input({"type": "field", "act": ALL}, "value"),
        State("version", "data"), State("width", "data"), State("touched", "data"), State("closed", "data"),
        State("run", "data"), State("captures", "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    def change(*arguments: Any) -> Any:
        """The page after an act of the operator."""
        version, width, last, closed, run, captures = arguments[-6:]
        operator_alone()
        draft, touched = store(), _open(last, closed)
        drawn = partial(_drawn, draft, touched, units)
        acts = asked_acts(triggers(ctx.triggered, ctx.triggered_prop_ids), drawn)
        if not acts:
            return [no_update] * (len(PARTS) + 1)  # parts that appeared, none that was touched
        said, touched = _all_acted(draft, keeper, (version, run), acts, touched)
        shown = view(draft.state(), touched, units, _pixels(width), surroundings(captures))
        return [*_parts(shown, said), last if shown.menu is None else no_update]

    changing = set(app.callback_map) - before - looking

    def mark(touched: Any) -> str:
        """The mark of what stands beside the draft; what a page has touched is still wanted."""
        if isinstance(touched, dict) and touched.get("ask") == "grabs":
            searches.still_wanted(store().text)
        return surroundings().mark

    looking |= register_beside(app, store, units) | register_news(app, store, mark)
    return dict.fromkeys(looking, VIEWER) | dict.fromkeys(changing, OPERATOR)


def register_news(
    app: Dash, store: Callable[[], DraftStore], mark_now: Callable[[Any], str]
) -> set[str]:
    """Add the callback that lets the page look again where something is new; returns its output key.

    store: gives the draft that a request is about; mark_now: changes when what stands beside it does, given what
    the page has touched.
    """
    before = set(app.callback_map)

    @app.callback(  # type: ignore[untyped-decorator]
        Output("look", "n_intervals"), Input("pulse", "n_intervals"), State("version", "data"),
        State("around", "data"), State("touched", "data"), State("closed", "data"), prevent_initial_call=True,
    )  # fmt: skip
    def news(pulse: Any, version: Any, mark: Any, touched: Any, closed: Any) -> Any:
        """The pulse, which makes the page look again, or nothing."""
        beside = mark_now(_open(touched, closed))
        return no_update if version == store().state().version and mark == beside else pulse

    return set(app.callback_map) - before


def _open(touched: Any, closed: Any) -> Any:
    """What was touched, None where its menu was closed since."""
    return None if touched == closed else touched


def _nothing_new(causes: Sequence[Trigger]) -> bool:
    """Whether a call only asks for news, or tells of buttons of the list that appeared."""
    return bool(causes) and all(
        isinstance(cause.identity, dict) or cause.identity == "look" for cause in causes
    )


def _drawn(store: DraftStore, touched: Any, units: Units) -> dict[str, str]:
    """The text that each field of the page was drawn with, by its act."""
    shown = view(store.state(), touched, units, 0)
    groups = (*shown.job, *(() if shown.menu is None else shown.menu.questions))
    return {entry.act: entry.value for group in groups for entry in group.entries}


def _all_acted(
    store: DraftStore,
    keeper: CellKeeper | None,
    page: tuple[Any, Any],
    acts: Sequence[AskedAct],
    touched: Any,
) -> tuple[str, Any]:
    """Do the acts of one call in turn; what is to be said about them, and what stays touched.

    page: the version that it shows, and the name of its run.
    """
    version, run = page
    said: list[str] = []
    for one in acts:
        text, touched = _acted(store, keeper, (version, run), one, touched)
        if text:
            said.append(text)
        if version == store.state().version - 1:
            version = store.state().version  # the call's own change
    return " ".join(said), touched


def _acted(
    store: DraftStore,
    keeper: CellKeeper | None,
    page: tuple[Any, Any],
    asked: AskedAct,
    touched: Any,
) -> tuple[str, Any]:
    """Do an act; what is to be said about it, and what stays touched."""
    typed = asked.typed
    version = page[0] if type(page[0]) is int else 0
    run = page[1][:MOST_RUN] if isinstance(page[1], str) else ""
    try:
        values = act_values(asked.act)
        match values:
            case ["close"]:
                return "", None
            case ["save"]:
                store.save()
                return "Saved.", touched
            case ["save as"]:
                if not typed:
                    return "", touched
                store.save(name=str(typed).strip())
                return "Saved under that name.", touched
            case ["save over"]:
                store.save(over_other=True)
                return "Saved over the other program's change.", touched
            case ["take file"]:
                store.take_file()
                return "This is the file as it is on disk.", None
            case ["take draft", wanted]:
                store.take_offered(wanted == 1)
                return "", None
            case ["cell", str(channel), str(at), str(mark)] if keeper is not None:
                return cell_put(store, keeper, (channel, at, mark), run), touched
            case ["undo" | "redo" as verb] if keeper is not None:
                moved = cell_moved_back(store, keeper, (version, run), verb == "redo")
                if moved:
                    return moved, touched
        if not store.change(version, lambda d: made(d, values, typed), run, values[0] in BY_NAME):
            return "Somebody else changed the rig just now. Look again, then do it once more.", None
    except UserFault as fault:
        return f"{fault.fault}; {fault.cure}", touched
    # a new part is made, a strand or part is gone or has moved: the next touch is another one
    gone = values[0] in (
        "put",
        "take",
        "move",
        "undo",
        "redo",
        "shelf",
        "begin",
        "rope",
        "drop",
        "drop rope",
        "fit",
        "cut",
        "pull on",
        "join",
        "seat",
    )
    return "", None if gone else touched


def _parts(shown: RigView, said: str) -> list[Any]:
    """The values of `PARTS` for a view."""
    return [
        shown.version, shown.title, shown.status, shown.svg,
        layout.answers(shown), layout.ropes(shown.ropes), layout.menu(shown.menu), shown.menu is None,
        [layout.question(one) for one in shown.job], said, layout.offers(shown),
        below_drawing(shown.places), *switched(shown.places), shown.mark,
    ]  # fmt: skip


def _pixels(width: Any) -> int:
    return width if type(width) is int else 0
