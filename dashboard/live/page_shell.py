"""The Dash shell of the live page: its parts by id; the modules in `assets/live` fill them as text."""

from __future__ import annotations

import re
from typing import Any

from dash import Dash, dcc, html

from dashboard.figures.live_figure import LIVE_CONFIG, live_figure
from dashboard.text.cautions import CAUTIONS
from dashboard.text.templates import render
from dashboard.web import assets
from logger.recorder.alarms import HOLD_S, RELEASE

STYLES = ("shared/page.css", "live/sharing.css")
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


# of what Dash would load at once, the parts of components that no page here has
UNUSED = re.compile(
    r'<script[^>]*src="[^"]*/(?:dash_table/|dcc/async-(?!graph))[^"]*"[^>]*></script>\s*'
)


class Shell(Dash):  # type: ignore[misc]
    """Dash without the address of its version check, and without the versions that run here.

    The plot's library is loaded before the page begins: were it loaded later, the numbers would stand
    still for as long as that takes, a second or more.
    """

    def interpolate_index(self, **parts: str) -> str:
        """The HTML of the page, from Dash's pieces, without unused scripts and without versions."""
        parts["scripts"] = UNUSED.sub("", parts["scripts"])
        parts["config"] = re.sub(
            r'"(dash_version_url|python_version)":"[^"]*"', r'"\1":""', parts["config"]
        ).replace('"disable_version_check":false', '"disable_version_check":true')
        return str(super().interpolate_index(**parts))


def index(token: str) -> str:
    """The document around Dash's components, with its fields; token: of this run."""
    return render(
        "live/index.html.j2",
        token=token,
        asset=assets.address,
        styles=STYLES,
        entry=ENTRY,
        modules=assets.imports(ENTRY),
    )


def make(token: str) -> Dash:
    """The Dash application; it has no callback, and nothing on it changes a session."""
    app = Shell(
        __name__, include_assets_files=False, serve_locally=True, eager_loading=True, title="haul",
        update_title=None, add_log_handler=False, index_string=index(token),
    )  # fmt: skip
    app.layout = layout()
    # what breaks in Flask must reach the gate, which logs it and answers shortly
    app.server.config["PROPAGATE_EXCEPTIONS"] = True
    return app


def layout() -> Any:
    """The page, empty, in the order in which one looks at it."""
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
            html.Main([*_glance(), *_closer(), *_work()]),
        ],
        id="page", className="nolink",
    )  # fmt: skip


def _glance() -> list[Any]:
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
        html.Section(_tile("Haul tension", "tension", "big", html.Div(id="gauge")),
                     className="tile tension"),
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
        html.Section([html.H2("Say to the recorder"), html.Div(id="hands")],
                     id="hands-tile", className="tile half"),
        html.Section([html.H2("Chapters: the rig was changed"), html.Div(id="chapters", className="scroll")],
                     id="chapters-tile", className="tile full", hidden=True),
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
