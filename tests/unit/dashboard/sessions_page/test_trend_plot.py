"""The plot of a rig's efficiency: the rows of the table beside it, and the line that the text tells."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest

from analysis.sessions.trend import DAYS_A_YEAR, trend
from dashboard.sessions_page.trend_plot import trend_figure, trend_plot

BEGAN = datetime(2026, 1, 10, 9, 30, tzinfo=UTC)


def row(days: float, value: float, expanded: float | None = 0.02) -> dict[str, object]:
    """A row of a library, so many days after BEGAN."""
    at = (BEGAN + timedelta(days=days)).isoformat()
    return {"started_at": at, "efficiency": value, "efficiency_U95": expanded, "efficiency_u": 0.01}


def of(rows):
    """The figure of rows and of their trend."""
    line = trend([(r["started_at"], r["efficiency"], r["efficiency_u"]) for r in rows])
    return line, trend_figure(rows, line)


@pytest.fixture
def local(monkeypatch):
    """A machine whose clock is two hours before UTC all year, whatever the test's is."""
    import time

    monkeypatch.setenv("TZ", "YARD-02")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def test_each_point_is_a_row_with_its_u95_at_its_local_date(local):
    rows = [row(0, 0.90), row(31, 0.87, 0.05), row(200, 0.84), row(365.25, 0.80, None)]
    line, figure = of(rows)
    made = trend_plot(figure)
    json.dumps(made)  # plain values: NaN has no place in a page
    points = made["data"][-1]
    assert points["y"] == [0.90, 0.87, 0.84, 0.80]
    shown = [datetime.fromtimestamp(x / 1000.0, UTC) for x in points["x"]]
    assert [str(one)[:16] for one in shown[:2]] == ["2026-01-10 11:30", "2026-02-10 11:30"]
    assert points["error_y"]["array"][:3] == pytest.approx([0.02, 0.05, 0.02])
    assert points["error_y"]["arrayminus"][1] == pytest.approx(0.05)
    assert (
        points["error_y"]["array"][3] is None
    )  # its interval is not known: no bar, and no bar of length 0
    # the line of the plot falls by what the text says in a year
    (first, last) = made["data"][0]["y"]
    assert last - first == pytest.approx(line.per_year * 365.25 / DAYS_A_YEAR)
    assert (
        "U95" in made["layout"]["yaxis"]["title"]["text"]
        and "date" in made["layout"]["xaxis"]["title"]["text"]
    )


def test_nothing_stands_outside_the_axes():
    rows = [row(0, 0.90, 0.4), row(1.5, 0.1), row(3, 0.84)]
    _, figure = of(rows)
    made = trend_plot(figure)
    points, layout = made["data"][-1], made["layout"]
    low, high = layout["xaxis"]["range"]
    assert low < min(points["x"]) and max(points["x"]) < high
    low, high = layout["yaxis"]["range"]
    assert low < 0.08 and high > 1.3


def test_without_a_line_there_are_points_alone():
    """Three sessions of one day show no change a year."""
    rows = [row(0, 0.90), row(0.1, 0.88), row(0.2, 0.89)]
    line, figure = of(rows)
    assert line.per_year is None
    assert [trace["mode"] for trace in trend_plot(figure)["data"]] == ["markers"]
