"""Draws the efficiency of one rig over its sessions: a point a session with its U95, over the date."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from analysis.sessions.trend import Trend, day
from dashboard.figures.spec import Curve, Dots, Figure
from dashboard.figures.to_plotly import plotly

DAY_MS = 86_400_000.0
DATES = 4  # marks on the axis at most: more would run into each other on a phone, 390 px wide
MARGIN = {"l": 56, "r": 12, "t": 8, "b": 48}  # px
HEIGHT = 260  # px


def trend_figure(rows: Sequence[Mapping[str, Any]], trend: Trend) -> Figure:
    """The plot of the rows that the table beside it lists, and the line whose slope the text beside it says.

    rows: of a library, each with an efficiency; trend: of the same rig.  x is milliseconds since 1970, in this
    machine's time.  The efficiency is actual MA / ideal MA, without a unit.
    """
    dated = [row for row in rows if day(row["started_at"]) is not None]
    value = np.array([row["efficiency"] for row in dated], dtype=np.float64)
    wide = np.array([row["efficiency_U95"] or np.nan for row in dated], dtype=np.float64)
    lines: tuple[Curve, ...] = ()
    if trend.at_start is not None and trend.at_end is not None:
        ends = np.array([_local_ms(trend.first), _local_ms(trend.last)])
        lines = (Curve("trend", ends, np.array([trend.at_start, trend.at_end]), "predicted"),)
    return Figure(
        title="",
        x_label="date of the session",
        y_label="efficiency (no unit), ± U95",
        lines=lines,
        dots=(
            Dots(
                name="sessions",
                x=np.array([_local_ms(row["started_at"]) for row in dated], dtype=np.float64),
                y=value,
                low=value - wide,
                high=value + wide,
            ),
        ),
        from_zero=False,
    )  # fmt: skip


def _local_ms(started_at: str) -> float:
    """The start of a session as milliseconds since 1970 of a clock that shows this machine's time."""
    days = day(started_at)
    if days is None:
        return float("nan")
    try:
        moment = datetime.fromtimestamp(days * 86400.0, UTC).astimezone()
        offset = moment.utcoffset() or timedelta()
    except (OverflowError, OSError, ValueError):
        offset = timedelta()
    return days * DAY_MS + offset.total_seconds() * 1000.0


def trend_plot(figure: Figure) -> dict[str, Any]:
    """The plot for a page; its colours are the style sheet's, so that they follow the theme."""
    made = plotly(figure)
    low, high = figure.x_range()
    room = max(0.04 * (high - low), DAY_MS / 2)  # so that no bar stands on the edge
    layout = made["layout"]
    layout["xaxis"] |= {
        "type": "date", "range": [low - room, high + room], "nticks": DATES, "tickformat": "%Y-%m-%d",
        "tickangle": 0, "zeroline": False,
    }  # fmt: skip
    layout["yaxis"] |= {
        "nticks": 5,
        "zeroline": False,
        "title": {"text": figure.y_label, "standoff": 6},
    }
    layout |= {
        "autosize": True, "height": HEIGHT, "margin": MARGIN, "showlegend": False, "hovermode": False, "title": None,
        "paper_bgcolor": "rgba(0,0,0,0)", "plot_bgcolor": "rgba(0,0,0,0)",
    }  # fmt: skip
    for trace in made["data"]:
        for name in ("x", "y"):
            trace[name] = [None if np.isnan(one) else float(one) for one in trace[name]]
        if "error_y" in trace:
            bars = trace["error_y"]
            bars |= {
                k: [None if np.isnan(one) else float(one) for one in bars[k]]
                for k in ("array", "arrayminus")
            }
            bars |= {"thickness": 2, "width": 5}
            trace["marker"] = {"size": 9}
        else:
            trace["line"] = {"width": 2, "dash": "dash"}
    return made
