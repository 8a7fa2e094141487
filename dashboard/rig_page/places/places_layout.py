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


def two_questions() -> Any:
    """The switch of the captures and the question about grabs; they stay, so that the focus stays on them."""
    switch = html.Button(
        WHERE_HOLDS, id="holds", type="button",
        **{"data-store": "captures", "data-value": SHOWN, "aria-pressed": "false"},
    )  # fmt: skip
    ask = html.Button(SITTING, type="button", **{"data-touch": '{"ask": "grabs"}'})
    return html.Div([switch, ask], className="choices")


def switched(shown: PlacesView) -> tuple[str, str]:
    """What the next touch on the switch asks for, and whether it is on."""
    return "" if shown.captures else SHOWN, str(shown.captures).lower()


def below_drawing(shown: PlacesView) -> list[Any]:
    """What the drawing shows of captures and cells, in words."""
    parts: list[Any] = []
    if shown.captures:
        parts.append(html.P(ABOUT_CAPTURES, className="note"))
        parts.append(html.Ul([html.Li(line) for line in shown.capture_lines], className="lines"))
    if shown.cell_lines:
        parts.append(html.P(f"Load cells, as {shown.cells_file} has them", className="note"))
        parts.append(
            html.Ul([html.Li(line) for line in shown.cell_lines], className="lines", id="cells")
        )
    return parts
