"""The result page: the verdict, what to look at, notes beside the record, and the next haul with this rig."""

from __future__ import annotations

import hashlib
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.desk.desk_page import Desk
from dashboard.export.notes_file import MOST_LINE, MOST_NOTE, Notes, cleaned
from dashboard.review.session_review import Reviews
from dashboard.sessions_page.components import act_button, act_values, table
from dashboard.sessions_page.next_haul import take_rig
from dashboard.sessions_page.notes import read_notes, write_notes
from dashboard.sessions_page.result_view import ResultView, result_view
from dashboard.web.dash_page import name_now, operator_alone, role_now
from dashboard.web.gate import OPERATOR, VIEWER
from dashboard.web.touches import TOUCHES, TouchLog, touches_store
from logger.errors import UserFault

LOOK_MS = 2000  # how often a page asks what is new; chosen by us: a result changes while it is recorded alone
FIELDS = ("site", "crew", "note")


def page() -> Any:
    """The page, empty."""
    return html.Div(
        [
            touches_store(),
            dcc.Store(id="seen"),
            dcc.Interval(id="look", interval=LOOK_MS),
            dcc.Location(id="go", refresh=True),
            html.H1("Result", id="title"),
            html.P(id="about", className="note"),
            html.Div(id="said", role="alert"),
            html.Main([
                html.Div(id="body"),
                html.Section([
                    html.H2("Notes, beside the record and never in it"),
                    html.Div(id="written"),
                    html.Div([
                        _field("site", "Where it was", MOST_LINE),
                        _field("crew", "Who was there", MOST_LINE),
                        html.Label([html.Span("Anything else"),
                                    dcc.Textarea(id="note", value="", maxLength=MOST_NOTE)], className="field"),
                        html.Div(act_button("Keep these notes", "keep"), className="choices"),
                    ], id="write", hidden=True),
                ], className="tile"),
            ], className="desk"),
        ],
        id="page", className="plan desk-page result-page",
    )  # fmt: skip


def _field(name: str, label: str, most: int) -> Any:
    return html.Label([
        html.Span(label),
        dcc.Input(id=name, value="", autoComplete="off", maxLength=most, type="text"),
    ], className="field")  # fmt: skip


def register(app: Dash, desk: Desk) -> dict[str, str]:
    """Add the callbacks to an application; returns the role of each, by its registered output key."""
    reviews = Reviews()
    log = TouchLog()
    before = set(app.callback_map)

    @app.callback(  # type: ignore[untyped-decorator]
        Output("title", "children"), Output("about", "children"), Output("body", "children"),
        Output("written", "children"), Output("write", "hidden"), Output("seen", "data"),
        *(Output(name, "value") for name in FIELDS),
        Input("look", "n_intervals"), State("seen", "data"),
    )  # fmt: skip
    def look(count: Any, seen: Any) -> Any:
        """The result as it is, for whoever looks; the fields are filled once."""
        may = role_now() == OPERATOR
        shown = result_view(desk, reviews, name_now())
        mark = hashlib.sha256(f"{may} {shown}".encode("utf-8", "replace")).hexdigest()[:16]
        if seen == mark:
            return (no_update,) * (6 + len(FIELDS))
        notes_now = shown.notes
        fields = (
            (no_update,) * len(FIELDS) if seen else (notes_now.site, notes_now.crew, notes_now.note)
        )
        return (
            shown.title,
            shown.about,
            body(shown, may),
            written(notes_now),
            not may,
            mark,
            *fields,
        )

    looking = set(app.callback_map) - before

    @app.callback(  # type: ignore[untyped-decorator]
        Output("said", "children"), Output("written", "children", allow_duplicate=True), Output("go", "href"),
        Input(TOUCHES, "data"), *(State(name, "value") for name in FIELDS),
        prevent_initial_call=True,
    )  # fmt: skip
    def change(touches: Any, site: Any, crew: Any, note: Any) -> Any:
        """The page after everything that the operator touched since the last call."""
        operator_alone()
        name = name_now()
        said, notes, href = no_update, no_update, no_update
        for control, _ in log.fresh(touches):
            try:
                match act_values(control):
                    case ["keep"]:
                        write_notes(desk, name, cleaned(site, crew, note))
                        said, notes = "Kept beside the record.", written(read_notes(desk, name))
                    case ["again"]:
                        take_rig(desk, name)
                        href = "/check/"
                    case _:
                        said = "This is no act of the page: load it again."
            except UserFault as fault:
                said = f"{fault.fault}; {fault.cure}"
        return said, notes, href

    changing = set(app.callback_map) - before - looking
    return dict.fromkeys(looking, VIEWER) | dict.fromkeys(changing, OPERATOR)


def body(shown: ResultView, may: bool) -> list[Any]:
    """All parts of the page that follow from the record."""
    if shown.fault:
        return [html.Section([html.H2("Not reviewed"), html.P(shown.fault, className="fault"), _ways(shown, may)],
                             className="tile")]  # fmt: skip
    verdict, *rest = shown.sentences
    parts = [
        html.Section([
            html.H2("What came of it"),
            html.P(verdict, id="verdict"),
            *(html.P(one, className="grave" if shown.grave and k == len(rest) - 1 else "") for k, one in enumerate(rest)),
            _ways(shown, may),
        ], className="tile next"),
        html.Section([html.H2("What to look at"), *_look_at(shown)], className="tile"),
    ]  # fmt: skip
    if shown.chapters:
        heads, *rows = shown.chapters
        parts.append(
            html.Section(
                [html.H2("Chapters: the rig was changed"), table(heads, rows)], className="tile"
            )
        )
    heads, *rows = shown.results
    parts.append(
        html.Section([html.H2("Measured and predicted"), table(heads, rows)], className="tile")
    )
    return parts


def _look_at(shown: ResultView) -> list[Any]:
    """Over limits first, then the parts nearest to theirs, then the warnings."""
    parts: list[Any] = []
    if shown.over:
        parts += [html.H3(f"OVER THE LIMIT: {len(shown.over)}", className="grave"),
                  table(shown.peak_heads, shown.over, bad=True)]  # fmt: skip
    else:
        parts.append(
            html.P(
                "No rated part passed its limit."
                if shown.peaks
                else "No part is rated: nothing was judged."
            )
        )
    if shown.peaks:
        parts += [html.H3("Nearest to their limits"), table(shown.peak_heads, shown.peaks)]
    if shown.warnings:
        count = f"{len(shown.warnings)} to know before you rely on this"
        listed = html.Ul([html.Li(one) for one in shown.warnings])
        parts.append(html.Details([html.Summary(count), listed]))
    return parts


def _ways(shown: ResultView, may: bool) -> Any:
    ways = []
    if may:
        ways.append(act_button("Next haul with this rig", "again", look="go main"))
    ways += [
        html.A("Report, to print", href=shown.report, className="go", target="_blank"),
        html.A("Review with plots", href=shown.review, className="go"),
        html.A("Live page", href=shown.live, className="go"),
    ]
    return html.Div(ways, className="ways")


def written(notes: Notes) -> list[Any]:
    """The notes as text."""
    if notes.empty:
        return [html.P("Nothing is noted yet.", className="note")]
    rows = [(label, text) for label, text in (("Where", notes.site), ("Who", notes.crew)) if text]
    parts: list[Any] = [html.P([html.B(f"{label}: "), text]) for label, text in rows]
    return [*parts, *(html.P(line) for line in notes.note.splitlines() if line)]
