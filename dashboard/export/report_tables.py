"""The tables of the printed report as texts, bounded to the rows and characters that paper holds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analysis.messages.message import Message, message
from analysis.review.review import Reviewed
from analysis.review.reviewed_session import Whole
from analysis.review.shown_rows import peak_rows
from dashboard.text.result_rows import RESULTS, ResultRow, budget_table, side_by_side
from dashboard.text.table_rows import (
    CHAPTERS,
    EVENTS,
    PEAKS,
    STROKES,
    Column,
    by_chapter,
    chapter_rows,
    peaks_by_chapter,
    stroke_rows,
    texts,
    without,
)
from dashboard.text.units import UNKNOWN, Units
from logger.channels.channel import Channel
from logger.errors import one_line

MOST_STROKES, MOST_PARTS, MOST_EVENTS = 12, 14, 18
MOST_BUDGET, MOST_CHANNELS, MOST_CAUTIONS = 8, 8, 6
MOST_CHAPTERS, MOST_BESIDE = 6, 3  # in the table of chapters; with results beside each other
MOST_OVER = 4  # parts over their limit that the cautions name; the table of highest forces has more
NAME, TEXT = 24, 90  # most characters of a cell, and of the last cell of a row
CAUTION = 150  # most characters of a warning where there are many long ones


@dataclass(frozen=True)
class PaperTable:
    """A table of the report."""

    head: tuple[str, ...] = ()  # titles of the columns
    rows: tuple[tuple[str, ...], ...] = ()  # cells; the first of a row heads it
    bold: frozenset[tuple[int, int]] = frozenset()  # (row, column) of cells in bold, from 0
    more: str = ""  # line below the table
    layout: str = "tight"  # class names in report.css
    empty: str = ""  # sentence in place of a table without rows


@dataclass(frozen=True)
class ListedWarnings:
    """The warnings of a review that the report has room for."""

    texts: tuple[str, ...]  # as they are shown
    more: str  # how many more there are; "": none


def cut(text: object, most: int = 100) -> str:
    """Any value as text on one line, of at most `most` characters."""
    return one_line(str(text), most)


def results(rows: Sequence[ResultRow], units: Units) -> PaperTable:
    """Measured beside predicted."""
    return _listing(RESULTS[:3], rows, units)


def chapters(review: dict[str, Any], units: Units) -> PaperTable:
    """The chapters beside each other; no row where the session has one."""
    rows = chapter_rows(review)
    more = _more(len(rows), MOST_CHAPTERS, "chapters; `haul review --json` lists all")
    columns = without(CHAPTERS, "ideal MA", "predicted MA", "haul force")
    return _listing(columns, rows[:MOST_CHAPTERS], units, more=more, layout="tight chapters-table")


def results_side_by_side(reviewed: Reviewed, units: Units) -> PaperTable:
    """Measured beside predicted, of the first chapters beside each other."""
    head, *body = side_by_side(reviewed, units)
    width = 1 + 2 * MOST_BESIDE
    return PaperTable(
        head=tuple(cut(title, NAME) for title in head[:width]),
        rows=tuple(tuple(cut(cell, NAME) for cell in line[:width]) for line in body),
        more=_more(len(reviewed.chapters), MOST_BESIDE, "chapters stand in the table of chapters"),
    )


def strokes(review: dict[str, Any], units: Units) -> PaperTable:
    """Every stroke, or the first ones with a line that says how many more there are."""
    rows = stroke_rows(review)
    return _listing(
        by_chapter(STROKES, review),
        rows[:MOST_STROKES],
        units,
        more=_more(len(rows), MOST_STROKES, "strokes"),
        layout="plain",
        empty="There is no stroke.",
    )


def peaks(review: dict[str, Any], units: Units) -> PaperTable:
    """Highest forces of each chapter against limits, the most used first."""
    rows = peak_rows(peaks_by_chapter(review))
    more = _more(len(rows), MOST_PARTS, "strands and elements, less used or unrated")
    return _listing(
        by_chapter(PEAKS, review), rows[:MOST_PARTS], units, more=more, empty="No force was read."
    )


def budget(row: ResultRow, units: Units) -> PaperTable:
    """The components of one quantity's uncertainty, the largest first."""
    if row.quantity is None or not math.isfinite(row.quantity.u):
        return PaperTable(empty=f"{cut(row.title)}: {UNKNOWN}.")
    table = budget_table(row, units, MOST_BUDGET)
    head, *body = (tuple(cut(cell, 60) for cell in line) for line in table.rows)
    return PaperTable(
        head=head, rows=tuple(body), more=f"{cut(table.said)}: {cut(table.note, 200)}"
    )


def events(review: dict[str, Any], chosen: Sequence[dict[str, Any]], units: Units) -> PaperTable:
    """The chosen events, with their numbers in the list of all events."""
    more = _more(len(review["events"]), len(chosen), "events; `haul review --json` lists all")
    return _listing(
        EVENTS, chosen, units, more=more, layout="wide events", empty="There is no event."
    )


def channels(whole: Whole, units: Units) -> PaperTable:
    """Where each channel sits, how many readings it has, and how they become N or m."""
    every = whole.info.sensors.channels
    return PaperTable(
        head=(
            "channel",
            "at",
            "readings",
            "from reading to SI",
            "standard uncertainty",
            "capacity",
        ),
        rows=tuple(_channel(c, whole.review, units) for c in every[:MOST_CHANNELS]),
        more=_more(len(every), MOST_CHANNELS, "channels"),
        layout="wide",
    )


def warnings(review: dict[str, Any]) -> ListedWarnings:
    """The first warnings of a review; each is cut where there is no room for all of them whole."""
    every = review["warnings"]
    first = every[:MOST_CAUTIONS]
    # uncut where there is room: a warning ends with what to do
    most = CAUTION if sum(map(len, first)) > MOST_CAUTIONS * CAUTION else MOST_CAUTIONS * CAUTION
    return ListedWarnings(
        texts=tuple(cut(text, most) for text in first),
        more=_more(len(every), MOST_CAUTIONS, "warnings"),
    )


def over_limits(review: dict[str, Any], units: Units) -> str:
    """One sentence on the parts that carried, or may have carried, more than they are allowed; "": none."""
    over = [peak for peak in review["peaks"] if peak["use"] is not None and peak["use"] > 1]
    if not over:
        return ""
    over.sort(key=lambda peak: -peak["use"])
    more = _more(len(over), MOST_OVER, "parts")
    return message(
        "parts_over_limit",
        parts=tuple(_over_limit(peak) for peak in over[:MOST_OVER]),
        more=f" {more}" if more else "",
    ).text(units)


def _over_limit(peak: dict[str, Any]) -> Message:
    """How much of how much one part carried; peak: a row of `peaks` of interface section 6."""
    values = {"name": cut(peak["name"], NAME), "force_N": peak["use"] * peak["limit_N"],
              "limit_N": peak["limit_N"], "use": peak["use"]}  # fmt: skip
    if peak["how"] == "cell":
        return message("part_over_limit_by_cell", **values)
    if peak["at_most_N"] is None:
        return message("part_over_limit_about", **values)
    return message("part_over_limit_at_most", **values)


def _listing(
    columns: Sequence[Column], rows: Sequence[Any], units: Units, *, more: str = "",
    layout: str = "tight", empty: str = "",
) -> PaperTable:  # fmt: skip
    """Rows as a table; names and texts are cut, a use above 1 is bold."""
    head, *body = texts(columns, rows, units)
    last = len(head) - 1
    return PaperTable(
        head=tuple(cut(title) for title in head),
        rows=tuple(
            tuple(cut(cell, TEXT if k == last else NAME) for k, cell in enumerate(line))
            for line in body
        ),
        bold=frozenset(
            (r, k)
            for k, column in enumerate(columns)
            for r, row in enumerate(rows)
            if column.kind == "use" and (column.value(row) or 0.0) > 1
        ),
        more=more,
        layout=layout,
        empty=empty,
    )


def _channel(c: Channel, review: dict[str, Any], units: Units) -> tuple[str, ...]:
    """The row of one channel."""
    si_unit = "N" if c.quantity == "force" else "m"
    uncertainty = [
        *([f"{c.u_percent:g} %"] if c.u_percent else []),
        *([" ".join(units.written(c.u, "g", si_unit))] if c.u and c.calibration is None else []),
    ]
    unstated = "from the calibration" if c.calibration else "none stated"
    dropped = review["dropped"].get(c.name, 0)
    return (
        cut(c.name, 24),
        cut(c.at, 20),
        f"{review['readings'].get(c.name, 0)}" + (f" ({dropped} dropped)" if dropped else ""),
        cut(_conversion(c), 160),
        cut(" and ".join(uncertainty) or unstated),
        "-" if c.capacity is None else cut(" ".join(units.written(c.capacity, "g", si_unit))),
    )


def _conversion(c: Channel) -> str:
    """How a reading becomes N or m: zero, then scale or calibration, and the delay."""
    zeroed = f"zero {c.zero:g} {c.unit}"
    late = "" if c.delay_s is None else f"; {c.delay_s:g} s late (u {c.delay_u_s:g} s)"
    if c.calibration is None:
        return f"{zeroed}; scale {c.scale:g}, in {c.unit}; no calibration{late}"
    fit = c.calibration
    terms = ", ".join(f"{x:.6g}" for x in fit.coefficients)
    return f"{zeroed}; calibration {c.calibration_file}, degree {fit.degree}, c0.. = {terms}, from {fit.n} points{late}"


def _more(count: int, most: int, what: str) -> str:
    """A line on how many of the count are left out; "": none."""
    return f"and {count - most} more {what}" if count > most else ""
