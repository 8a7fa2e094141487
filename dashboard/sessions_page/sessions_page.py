"""The list of all sessions: filter, trend, two compared, the gear.  Nothing on it changes anything."""

from __future__ import annotations

import hashlib
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.desk.desk_page import Desk
from dashboard.live.session_hub import sessions_in
from dashboard.sessions_page.components import act_button, table
from dashboard.sessions_page.folder_library import Library
from dashboard.sessions_page.sessions_view import (
    EVERY,
    FIGURES,
    MOST_FILTER,
    ODD,
    OVER,
    Compared,
    ListedHaul,
    RigTrend,
    SessionsView,
    compared,
    sessions_view,
)
from dashboard.sessions_page.trend_plot import HEIGHT, trend_plot
from dashboard.web.gate import VIEWER
from dashboard.web.touches import TOUCHES, touches_store

LOOK_MS = 2000  # how often a page asks what is new
PLOT = {"displayModeBar": False, "displaylogo": False, "staticPlot": True, "responsive": True}
PAIR = 2  # sessions that are compared
WHICH = {EVERY: "All", OVER: "Over a limit", ODD: "Not sealed"}
HEADS = ("session", "rig", "started", *(one.title for one in FIGURES), "record", "compare")
# What is chosen is kept in the browser: the server would answer a second touch with what it knew before the first.
# A touch has a number, and the last ones come again with each new one.
CHOOSE = """(touches, until, picked, which) => {
  for (const [number, property, value] of touches?.touched ?? []) {
    if (number <= until) continue;
    until = number;
    const [verb, name] = JSON.parse(JSON.parse(property.replace(/[.]n_clicks$/, "")).act);
    if (verb === "which") which = name;
    else if (picked.includes(name)) picked = picked.filter((one) => one !== name);
    else picked = [...picked, name].slice(-2);
  }
  return [until, picked, which];
}"""


def page() -> Any:
    """The page, empty."""
    return html.Div(
        [
            touches_store(),
            dcc.Store(id="seen"),
            dcc.Store(id="chosen-until", data=0),
            dcc.Store(id="picked", data=[]),
            dcc.Store(id="which", data=EVERY),
            dcc.Interval(id="look", interval=LOOK_MS),
            html.H1("Sessions", id="title"),
            html.Main([
                html.Section([
                    html.Div([
                        html.Label([
                            html.Span("Name or rig has"),
                            dcc.Input(id="words", value="", debounce=False, autoComplete="off",
                                      maxLength=MOST_FILTER, type="text"),
                        ], className="field"),
                        html.Div(id="whiches", className="choices inline", role="group",
                                 **{"aria-label": "Which sessions"}),
                    ]),
                    html.Div(id="list"),
                ], className="tile"),
                html.Section([html.H2("Two compared"), html.Div(id="compared", **{"aria-live": "polite"})],
                             className="tile"),
                html.Section([html.H2("Efficiency over time"), html.Div(id="trends")], className="tile"),
                html.Section([html.H2("Gear"), html.Div(id="gear")], className="tile"),
            ], className="desk"),
        ],
        id="page", className="plan desk-page sessions-page",
    )  # fmt: skip


def register(app: Dash, desk: Desk, library: Library) -> dict[str, str]:
    """Add the callback to an application; returns its role, by its registered output key."""
    made: dict[tuple[str, ...], Compared] = {}
    app.clientside_callback(
        CHOOSE, Output("chosen-until", "data"), Output("picked", "data"), Output("which", "data"),
        Input(TOUCHES, "data"), State("chosen-until", "data"), State("picked", "data"), State("which", "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    before = set(app.callback_map)

    @app.callback(  # type: ignore[untyped-decorator]
        Output("list", "children"), Output("whiches", "children"), Output("compared", "children"),
        Output("trends", "children"), Output("gear", "children"),
        Output("seen", "data"),
        Input("look", "n_intervals"), Input("words", "value"), Input("picked", "data"), Input("which", "data"),
        State("seen", "data"),
    )  # fmt: skip
    def look(count: Any, words: Any, picked: Any, which: Any, seen: Any) -> Any:
        """The list as whoever looks has asked for it; all of it comes from a browser."""
        there = sessions_in(desk.folder)
        chosen = [one for one in picked if one in there][:PAIR] if isinstance(picked, list) else []
        which = which if isinstance(which, str) and which in WHICH else EVERY
        text = words[:MOST_FILTER] if isinstance(words, str) else ""
        shown = sessions_view(desk, library, text.strip(), which)
        mark = hashlib.sha256(f"{shown} {chosen} {which}".encode("utf-8", "replace")).hexdigest()[
            :16
        ]
        if mark == seen:
            return (no_update,) * 6
        pair = tuple(chosen)
        if len(pair) == PAIR and pair not in made:
            made.clear()  # one comparison is kept: it takes seconds
            made[pair] = compared(desk, pair)
        return (
            _list(shown, chosen), _whiches(which), _compared(chosen, made.get(pair)), _trends(shown),
            _gear(shown), mark,
        )  # fmt: skip

    return dict.fromkeys(set(app.callback_map) - before, VIEWER)


def _list(shown: SessionsView, picked: list[str]) -> list[Any]:
    reading = [html.P("Sessions are being read; the figures come by themselves.", className="note")]
    if not shown.count:
        return [html.P("Nothing has been recorded here yet."),
                html.P(html.A("Check before the pull", href="/check/", className="go main"), className="ways")]  # fmt: skip
    if not shown.hauls:
        return [html.P(f"None of {shown.count} sessions is like that.")]
    return [
        html.P(f"{len(shown.hauls)} of {shown.count} sessions", className="note", role="status"),
        *(reading if shown.reading else []),
        table(HEADS, [_row(one, one.name in picked) for one in shown.hauls]),
    ]


def _row(one: ListedHaul, on: bool) -> list[Any]:
    *figures, use = one.figures
    return [
        html.A(one.label, href=one.address, className="way"), one.title, one.started, *figures,
        html.Span(use, className="grave") if one.over else use,
        html.Span(one.state, className="grave" if one.state == "changed" else ""),
        act_button("Compare", "pick", one.name, pressed=on, label=f"Compare {one.name}"),
    ]  # fmt: skip


def _whiches(which: str) -> list[Any]:
    return [
        act_button(label, "which", name, pressed=name == which) for name, label in WHICH.items()
    ]


def _compared(picked: list[str], made: Compared | None) -> list[Any]:
    if made is None:
        words = f"{picked[0]} is chosen: choose one more." if picked else "Choose two with Compare."
        return [html.P(words, className="note")]
    heads, *rows = made.table or ((),)
    listed = [table(heads, rows)] if rows else []
    return [*listed, *(html.P(line) for line in made.lines)]


def _trends(shown: SessionsView) -> list[Any]:
    if not shown.trends:
        return [html.P("It takes three sessions of one rig.", className="note")]
    parts: list[Any] = []
    for one in shown.trends:
        heads, *rows = one.table
        listed = html.Details(
            [html.Summary(f"Each of its {len(rows)} efficiencies, ± at 95 %"), table(heads, rows)]
        )
        said = html.P([html.B(one.title), ": ", one.text])
        parts += [said, *([_plot(one), listed] if rows else [])]
    return parts


def _plot(one: RigTrend) -> Any:
    """The plot of one rig; what it says stands beside it as text and as a table."""
    return html.Div(
        dcc.Graph(figure=trend_plot(one.plot), config=PLOT, responsive=True, style={"height": f"{HEIGHT}px"}),
        className="trend", role="img", **{"aria-label": f"Efficiency of each session over its date: {one.title}"},
    )  # fmt: skip


def _gear(shown: SessionsView) -> list[Any]:
    if not shown.gear:
        return [html.P("No rig marks a piece of gear: give a part the crew's own mark on the rig page.",
                       className="note")]  # fmt: skip
    heads, *rows = shown.gear
    return [table(heads, rows),
            html.P("Forces are those of the cell or the most that the model allows; what was not recorded is "
                   "not in it.", className="note")]  # fmt: skip
