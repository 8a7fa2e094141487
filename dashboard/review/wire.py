"""What the server sends to the review page, as records.  Texts are in the units that the page shows.

`assets/review/wire.d.ts` says the same to the scripts: write it anew with `python -m dashboard.review.wire`;
a test fails while it is stale.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, TypedDict

from dashboard.web import assets
from dashboard.web.typescript import declaration

DECLARATION = assets.FOLDER / "review" / "wire.d.ts"

PlotFigure = Annotated[dict[str, Any], "PlotFigure"]  # declared in assets/shared/globals.d.ts


class Heads(TypedDict):
    """Names of the columns of each table.

    results: of the results.
    strokes: of the strokes.
    peaks: of the highest forces.
    events: of what happened.
    """

    results: list[str]
    strokes: list[str]
    peaks: list[str]
    events: list[str]


class StrokeCells(TypedDict):
    """A stroke.

    k: its number, from 1.
    from_s: its beginning, s.
    to_s: its end, s.
    cells: its row of the table.
    """

    k: int
    from_s: float
    to_s: float
    cells: list[str]


class PeakCells(TypedDict):
    """The highest force on a strand or part.

    use: share of what it is allowed; None where it is not rated.
    over: whether that is more than it is allowed.
    cells: its row of the table.
    """

    use: float | None
    over: bool
    cells: list[str]


class EventCells(TypedDict):
    """Something that happened.

    time_s: its time, s.
    cells: its row of the table.
    """

    time_s: float
    cells: list[str]


class BudgetRows(TypedDict):
    """The uncertainty budget of one quantity.

    name: of the quantity.
    said: its value with its uncertainty.
    rows: the table, names of the columns first.
    shares: share of each row in the whole variance.
    note: how the uncertainty is expanded.
    """

    name: str
    said: str
    rows: list[list[str]]
    shares: list[float]
    note: str


class EfficiencyPlot(TypedDict):
    """The efficiency stroke by stroke.

    data: traces of the plot.
    layout: frame of the plot.
    nothing: why there is nothing to be drawn; "" where there is.
    """

    data: Annotated[list[dict[str, Any]], "PlotFigure['data']"]
    layout: Annotated[dict[str, Any], "PlotFigure['layout']"]
    nothing: str


class ReviewTexts(TypedDict):
    """All texts of the page.

    title: title of the rig.
    folder: name of the session's folder.
    started: when the session began.
    state: state of the session.
    demo: whether the devices are simulated.
    as_of: up to which time the session was read.
    what_if: the what-if in words; "" for the record itself.
    units: system of units of all texts.
    readings: number of readings of each channel.
    sentences: the result in sentences.
    grave: whether the last sentence is grave.
    heads: names of the columns of each table.
    chapters: the chapters, names of the columns first; empty where the session has one.
    results: rows of the results.
    why_not: why no advantage is measured.
    summary: name and value of each figure by which a what-if is compared.
    warnings: the warnings.
    strokes: the strokes.
    strokes_more: how many more there are; "" for none.
    peaks: the highest forces.
    unrated: how many parts are not rated; "" for none.
    events: what happened.
    events_more: how many more there are; "" for none.
    budgets: the budget of each measured quantity.
    """

    title: str
    folder: str
    started: str
    state: str
    demo: bool
    as_of: str
    what_if: str
    units: str
    readings: str
    sentences: list[str]
    grave: bool
    heads: Heads
    chapters: list[list[str]]
    results: list[list[str]]
    why_not: str
    summary: list[list[str]]
    warnings: list[str]
    strokes: list[StrokeCells]
    strokes_more: str
    peaks: list[PeakCells]
    unrated: str
    events: list[EventCells]
    events_more: str
    budgets: list[BudgetRows]


class ReviewAnswer(ReviewTexts):
    """The answer of `/review-data`.

    from_s: beginning of the session, s.
    to_s: its end, s.
    efficiency: the efficiency stroke by stroke.
    rigs: names of the rig files that a what-if may take.
    least_e: lowest pulley efficiency of a what-if.
    most_e: highest pulley efficiency of a what-if.
    """

    from_s: float
    to_s: float
    efficiency: EfficiencyPlot
    rigs: list[str]
    least_e: float
    most_e: float


class TraceText(TypedDict):
    """What a trace of the plot over time is.

    name: of the channel.
    unit: of its values.
    meta: what it is painted as.
    width_s: width of a column, s; 0 where every reading is drawn.
    n: number of readings or columns.
    """

    name: str
    unit: str
    meta: str
    width_s: float
    n: int


class WindowAnswer(TypedDict):
    """The answer of `/window`: force and travel over a stretch of time.

    from_s: its beginning, s.
    to_s: its end, s.
    figure: the plot.
    traces: what each trace of the plot is.
    note: how finely readings are drawn.
    """

    from_s: float
    to_s: float
    figure: PlotFigure
    traces: list[TraceText]
    note: str


class LoopAnswer(TypedDict):
    """The answer of `/loop`: force against travel.

    figure: the plot.
    said: the work that its area is.
    """

    figure: PlotFigure
    said: str


RECORDS = (
    Heads, StrokeCells, PeakCells, EventCells, BudgetRows, EfficiencyPlot, ReviewTexts, ReviewAnswer, TraceText,
    WindowAnswer, LoopAnswer,
)  # fmt: skip
BASES: dict[type, type] = {ReviewAnswer: ReviewTexts}


def text() -> str:
    """The declaration of all records."""
    heading = (
        "Written by `python -m dashboard.review.wire` from dashboard/review/wire.py: change that."
    )
    return declaration(heading, RECORDS, bases=BASES)


def write(path: Path = DECLARATION) -> None:
    """Write the declaration that the scripts are checked by."""
    path.write_text(text(), "utf-8", newline="\n")


if __name__ == "__main__":
    write()
