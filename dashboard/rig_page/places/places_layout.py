"""The Dash components below the drawing: two questions about places, and what is known of captures and cells."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.rig_page.places.grabs import SITTING
from dashboard.rig_page.places.surroundings import PlacesView

WHERE_HOLDS = "Where would a capture hold?"
SHOWN = "shown"  # what the page's store holds while the drawing shows the captures
ABOUT_CAPTURES = (
    "A capture alone on each strand, whatever captures the rig has. Held: the haul is slack, no friction. "
    "Setting: the load runs back on to it, friction helps."
)


def below_drawing(shown: PlacesView) -> list[Any]:
    """The switch and the question, then what the drawing shows, in words."""
    switch = html.Button(
        WHERE_HOLDS, type="button",
        **{"data-store": "captures", "data-value": "" if shown.captures else SHOWN,
           "aria-pressed": str(shown.captures).lower()},
    )  # fmt: skip
    ask = html.Button(SITTING, type="button", **{"data-touch": '{"ask": "grabs"}'})
    parts: list[Any] = [html.Div([switch, ask], className="choices")]
    if shown.captures:
        parts.append(html.P(ABOUT_CAPTURES, className="note"))
        parts.append(html.Ul([html.Li(line) for line in shown.capture_lines], className="lines"))
    if shown.cell_lines:
        parts.append(html.P(f"Load cells, as {shown.cells_file} has them", className="note"))
        parts.append(
            html.Ul([html.Li(line) for line in shown.cell_lines], className="lines", id="cells")
        )
    return parts
