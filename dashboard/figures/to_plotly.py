"""Converts a figure to plotly's dictionary, for pages and for `plotly.graph_objects.Figure`."""

from __future__ import annotations

from html import escape
from typing import Any

import numpy as np

from dashboard.figures.spec import Band, Figure
from dashboard.figures.to_svg import EDGE, FILL, INK_OF_LINE

STYLE: dict[str, dict[str, str]] = {"stop": {"color": INK_OF_LINE["stop"], "dash": "dashdot"}}


def plotly(figure: Figure) -> dict[str, Any]:
    """{"data", "layout"} of plotly; texts are escaped, because plotly interprets some HTML in
    them."""
    data: list[dict[str, Any]] = [
        {"type": "scatter", "mode": "lines", "name": escape(line.name), "x": np.asarray(line.x),
         "y": np.asarray(line.y), "connectgaps": False, "line": {"width": 1.3} | STYLE.get(line.kind, {})}
        for line in figure.lines
    ]  # fmt: skip
    for dots in figure.dots:
        data.append({
            "type": "scatter", "mode": "markers", "name": escape(dots.name), "x": dots.x, "y": dots.y,
            "error_y": {"type": "data", "symmetric": False, "array": dots.high - dots.y,
                        "arrayminus": dots.y - dots.low},
        })  # fmt: skip
    notes = [
        {"x": mark.x, "xref": "x", "y": 1.0, "yref": "paper", "yanchor": "bottom", "showarrow": False,
         "text": escape(mark.label), "hovertext": escape(mark.text), "font": {"size": 10}}
        for mark in figure.marks
    ]  # fmt: skip
    if figure.nothing:
        notes.append({"x": 0.5, "xref": "paper", "y": 0.5, "yref": "paper", "showarrow": False,
                      "text": escape(figure.nothing)})  # fmt: skip
    layout: dict[str, Any] = {
        "title": {"text": escape(figure.title)},
        "xaxis": {"title": {"text": escape(figure.x_label)}, "range": list(figure.x_range())},
        "yaxis": {"title": {"text": escape(figure.y_label)}, "range": list(figure.y_range())},
        "shapes": [_shape(band) for band in figure.bands],
        "annotations": notes,
    }
    if figure.whole_x:
        layout["xaxis"]["dtick"] = 1
    return {"data": data, "layout": layout}


def _shape(band: Band) -> dict[str, Any]:
    across, up = band.x0 is None or band.x1 is None, band.y0 is None or band.y1 is None
    return {
        "type": "rect", "layer": "below", "name": escape(band.name), "fillcolor": FILL[band.kind],
        "opacity": 0.5, "line": {"width": 1 if band.kind in EDGE else 0, "color": EDGE.get(band.kind, "#888888")},
        "xref": "paper" if across else "x", "yref": "paper" if up else "y",
        "x0": 0 if across else band.x0, "x1": 1 if across else band.x1,
        "y0": 0 if up else band.y0, "y1": 1 if up else band.y1,
    }  # fmt: skip
