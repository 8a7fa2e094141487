"""The Dash shell of the live page: its parts by id; the scripts in `assets/` fill them as text."""

from __future__ import annotations

import html as escaping
import re
from typing import Any

from dash import Dash, dcc, html

from dashboard.figures import LIVE_CONFIG, live_figure

INDEX = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<meta name="color-scheme" content="dark light">
<meta name="haul-token" content="TOKEN">
<title>{%title%}</title>
{%favicon%}
{%css%}
</head>
<body>
{%app_entry%}
<footer>{%config%}{%scripts%}{%renderer%}</footer>
</body>
</html>"""

CAUTIONS = (
    "Stay out of the line of pull, and out of every angle a rope could whip through.",
    "A reading is no rating: what is written on rope, pulley and shackle stands.",
)


class Shell(Dash):
    """Dash without the address of its version check, and without the versions that run here."""

    def interpolate_index(self, **parts: str) -> str:
        parts["config"] = re.sub(
            r'"(dash_version_url|python_version)":"[^"]*"', r'"\1":""', parts["config"]
        ).replace('"disable_version_check":false', '"disable_version_check":true')
        return super().interpolate_index(**parts)


def make(token: str) -> Dash:
    """The Dash application; it has no callback, and nothing on it changes a session."""
    app = Shell(
        __name__, serve_locally=True, assets_ignore=r"^(plan|review)", title="haul", update_title=None, add_log_handler=False,
        index_string=INDEX.replace("TOKEN", escaping.escape(token, quote=True)),
    )  # fmt: skip
    app.layout = layout()
    # what breaks in Flask must reach the gate, which logs it and answers shortly
    app.server.config["PROPAGATE_EXCEPTIONS"] = True
    return app


def layout() -> Any:
    """The page, empty."""
    return html.Div(
        [
            html.Header(
                [html.Div([html.H1(id="title"), html.Span(id="sub")], className="who"),
                 html.Div([html.Span(id="clock"), html.Span("NO LINK", id="link"),
                           html.A("Review", href="review", id="to-review", className="way")], className="when")]
            ),
            html.Main(
                [
                    html.Div(
                        [html.Strong(id="state"), html.Span(id="state-detail")],
                        id="banner", role="status", **{"aria-live": "polite"},
                    ),
                    html.Div(id="alarm", role="alert"),
                    html.Section(_tile("Haul tension now", "tension", "big"), className="tile wide"),
                    html.Section(_tile("Stroke left", "left"), className="tile"),
                    html.Section(_tile("Load travel", "travel"), className="tile"),
                    html.Section(
                        [
                            html.Div(
                                [html.H2(id="graph-title"), html.Div(id="spans", role="group")],
                                className="row",
                            ),
                            html.Div(id="graph-key", className="keys"),
                            html.Div(
                                dcc.Graph(id="live-graph", figure=live_figure(), config=LIVE_CONFIG,
                                          responsive=True, style={"height": "100%"}),
                                className="plot",
                            ),
                            html.P(id="graph-note", className="note"),
                        ],
                        className="tile graph",
                    ),
                    html.Section(_tile("Mechanical advantage", "ma"), className="tile ma"),
                    html.Section([html.H2("Channels"), html.Div(id="channels")], className="tile half"),
                    html.Section([html.H2("Say to the recorder"), html.Div(id="hands")],
                                 id="hands-tile", className="tile half"),
                    html.Section([html.H2("What happened"), html.Ul(id="events")], className="tile half"),
                    html.Section([html.H2("Mind"), html.Ul([html.Li(c) for c in CAUTIONS]),
                                  html.Ul(id="warnings")], className="tile half mind"),
                ]
            ),
        ],
        id="page", className="nolink",
    )  # fmt: skip


def _tile(title: str, name: str, size: str = "") -> list[Any]:
    return [
        html.H2(title),
        html.Div(id=name, className=f"digits {size}".strip()),
        html.Ul(id=f"{name}-note", className="note"),
    ]
