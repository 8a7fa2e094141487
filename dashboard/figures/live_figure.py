"""Makes the empty plot of the live page; `assets/live/graph.js` fills it with data."""

from __future__ import annotations

from typing import Any

# shares of the height that force and travel take; strokes are marked between them
FORCE_SPAN, TRAVEL_SPAN = [0.40, 1.0], [0.0, 0.27]


def live_figure() -> dict[str, Any]:
    """A plotly figure: force above travel, on one axis of time; the page's theme sets the colours."""
    axis = {"zeroline": False, "fixedrange": True, "showspikes": False, "ticks": "outside",
            "ticklen": 4, "automargin": False}  # fmt: skip
    line = {"type": "scatter", "mode": "lines", "x": [], "y": [], "hoverinfo": "skip",
            "connectgaps": False, "line": {"width": 2, "simplify": False}}  # fmt: skip
    title = {"standoff": 4}
    return {
        "data": [line, {**line, "yaxis": "y2"}],
        "layout": {
            "autosize": True,
            "showlegend": False,
            "dragmode": False,
            "hovermode": False,
            "margin": {"l": 58, "r": 12, "t": 10, "b": 32},
            "paper_bgcolor": "rgba(0,0,0,0)",
            "plot_bgcolor": "rgba(0,0,0,0)",
            # milliseconds since the start, as a date of plotly; one minute until data come
            "xaxis": {**axis, "type": "date", "tickangle": 0, "range": [0, 60_000],
                      "tickformat": "%-M:%S", "anchor": "y2"},
            "yaxis": {**axis, "rangemode": "tozero", "domain": FORCE_SPAN,
                      "title": {**title, "text": "N"}, "nticks": 6},
            "yaxis2": {**axis, "rangemode": "tozero", "domain": TRAVEL_SPAN,
                       "title": {**title, "text": "m"}, "nticks": 3},
        },
    }  # fmt: skip


LIVE_CONFIG: dict[str, Any] = {
    "displayModeBar": False, "displaylogo": False, "staticPlot": True, "responsive": True,
}  # fmt: skip
