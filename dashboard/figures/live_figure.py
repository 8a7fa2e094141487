"""The figure of the live page, made empty here; `assets/live/graph.js` alone fills it."""

from __future__ import annotations

from typing import Any

FORCE_SPAN, WAY_SPAN = [0.40, 1.0], [0.0, 0.27]  # shares of the height; strokes are marked between


def live_figure() -> dict[str, Any]:
    """Force over travel, on one axis of time; colours come from the page's theme."""
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
            # seconds since the start told as a time of day; the first minute until data come
            "xaxis": {**axis, "type": "date", "tickangle": 0, "range": [0, 60_000],
                      "tickformat": "%-M:%S", "anchor": "y2"},
            "yaxis": {**axis, "rangemode": "tozero", "domain": FORCE_SPAN,
                      "title": {**title, "text": "N"}, "nticks": 6},
            "yaxis2": {**axis, "rangemode": "tozero", "domain": WAY_SPAN,
                       "title": {**title, "text": "m"}, "nticks": 3},
        },
    }  # fmt: skip


LIVE_CONFIG: dict[str, Any] = {
    "displayModeBar": False, "displaylogo": False, "staticPlot": True, "responsive": True,
}  # fmt: skip
