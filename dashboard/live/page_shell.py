"""The Dash shell of the live page: its parts by id; the modules in `assets/live` fill them as text."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dash import dcc, html

from dashboard.figures.live_figure import LIVE_CONFIG, live_figure
from dashboard.text.cautions import CAUTIONS
from dashboard.web.dash_page import Shell, shell
from logger.recorder.alarms import HOLD_S, RELEASE

STYLES = ("shared/page.css", "live/sharing.css", "live/live.css", "live/conversion.css")
ENTRY = "live/poll_loop.js"  # the module that imports the others
RULES = (
    f"An alarm is raised by the recorder once the value has been over its level for {HOLD_S:g} s, in two "
    f"readings at the least; a drop below {100 * RELEASE:g} % of the level in between starts the time anew. It stays "
    "until it is acknowledged, also when the value is below the level again.",
    "What is shorter raises no alarm: it is found in the readings and told under What happened, as a shock "
    "or as shortly over.",
    "Red with an eight-sided sign is stop, yellow with a triangle is caution. Nothing here says that "
    "something is in order: what has no rating is not judged.",
)


def make(
    token: str, top: Callable[[], str] | None = None, prefix: str = "/", results: str = ""
) -> Shell:
    """The Dash application; it has no callback, and nothing on it changes a session.

    token: of this run; top: the HTML of what stands above the page; prefix: of what the page asks for;
    results: address below which each session has a page of its result, "" where the review is that page.
    """
    app = shell("", prefix, token, ENTRY, STYLES, top, plots=True)
    app.layout = layout(results)
    return app


def layout(results: str = "") -> Any:
    """The page, empty, in the order in which one looks at it; results: as `make` takes it."""
    return html.Div(
        [
            html.Header(
                [html.Div([html.H1(id="title"), html.Span(id="sub")], className="who"),
                 html.Div([html.Span(id="clock"),
                           html.Button("SOUND OFF", id="sound", type="button"),
                           html.Button("Dark", id="theme", type="button"),
                           html.A("Review", href="review", id="to-review", className="way")],
                          className="when")]
            ),
            html.Main([*_glance(results), *_closer(), *_work()]),
        ],
        id="page", className="nolink",
    )  # fmt: skip


def _glance(results: str) -> list[Any]:
    """What five seconds are for."""
    return [
        html.Div(
            [html.Div([html.Strong(id="state"), html.Span(id="state-detail")], className="words"),
             html.Span("NO LINK", id="link")],
            id="banner", role="status", **{"aria-live": "polite"},
        ),
        html.Section(
            [html.Div(id="alarms", role="alert"), html.Button("Acknowledge", id="ack", type="button")],
            id="alarm", hidden=True, **{"aria-label": "Alarms"},
        ),
        html.Section(
            [html.H2("Haul tension", id="tension-title"),
             html.Button("Far view", id="far", type="button"),
             html.Div(id="tension", className="digits big"),
             html.Div(id="result", className="digits", hidden=True),
             html.Div(id="gauge"),
             html.Ul(id="tension-note", className="note"),
             html.A("Open the result", href="review", id="to-result", className="way", hidden=True,
                    **{"data-results": results})],
            className="tile tension",
        ),
        html.Section(_tile("Rope left to two-blocked", "left"), className="tile left"),
        html.Section(_tile("Load moved", "travel"), className="tile moved"),
        html.Section(_tile("Peak of the haul tension", "peak"), className="tile peak"),
    ]  # fmt: skip


def _closer() -> list[Any]:
    """Actual against ideal and predicted, force and travel over time, the rig."""
    return [
        html.Section(_tile("Mechanical advantage", "ma"), className="tile ma"),
        html.Section(
            [
                html.Div(
                    [html.H2(id="graph-title"), html.Div(id="spans", role="group",
                                                         **{"aria-label": "Time in view"})],
                    className="row",
                ),
                html.Div(id="graph-key", className="keys"),
                html.Div(
                    [dcc.Graph(id="live-graph", figure=live_figure(), config=LIVE_CONFIG,
                               responsive=True, style={"height": "100%"}),
                     html.Div(id="paused", hidden=True)],
                    className="plot",
                ),
                html.P(id="in-view", className="view"),
                html.P(id="graph-note", className="note"),
            ],
            className="tile graph",
        ),
        html.Section(
            [html.H2("Every strand's tension", id="rig-title"),
             html.Div([html.Div(id="rig"), html.Div([html.H3("Nearest to their limits"),
                                                      html.Div(id="nearest"),
                                                      html.Ul(id="rig-note", className="note")],
                                                     className="beside")], className="rig")],
            className="tile full",
        ),
    ]  # fmt: skip


def _work() -> list[Any]:
    """What a person says to the recorder, what happened, and the legends."""
    return [
        html.Section([html.H2("Say to the recorder"),
                      # the bar stays at the foot of the window
                      html.Div([html.Div(id="said-more"),
                                html.Div(id="bar", role="group", **{"aria-label": "Hands"})], id="hands")],
                     id="hands-tile", className="tile half"),
        html.Section([html.H2("Chapters: the rig was changed"), html.Div(id="chapters", className="scroll")],
                     id="chapters-tile", className="tile full", hidden=True),
        html.Section([html.H2("Another rig of this one, the load held"), html.Div(id="conversion")],
                     id="conversion-tile", className="tile full", hidden=True),
        html.Section([html.H2("Highest forces so far"), html.Div(id="highest", className="scroll")],
                     id="peaks-tile", className="tile full", hidden=True),
        html.Section([html.H2("What happened"), html.Ul(id="events")], className="tile half"),
        html.Section([html.H2("Channels"), html.Div(id="channels")], className="tile half"),
        html.Section([html.H2("Cautions"), html.Ul([html.Li(c) for c in CAUTIONS]),
                      html.Ul(id="warnings")], className="tile half mind"),
        html.Section([html.H2("Alarms, tones and keys"), html.Ul([html.Li(r) for r in RULES]),
                      html.Div(id="legend")], className="tile full legend"),
    ]  # fmt: skip


def _tile(title: str, name: str, size: str = "", more: Any = None) -> list[Any]:
    return [
        html.H2(title),
        html.Div(id=name, className=f"digits {size}".strip()),
        *([] if more is None else [more]),
        html.Ul(id=f"{name}-note", className="note"),
    ]
