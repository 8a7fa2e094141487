"""The tables of a printed report as HTML; every text from a file is escaped and of bounded length."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from typing import Any

from analysis.review.reviewed_session import Whole
from dashboard.text.result_rows import RESULTS, ResultRow, budget_table
from dashboard.text.table_rows import EVENTS, PEAKS, STROKES, Column, numbered, texts
from dashboard.text.units import UNKNOWN, Units
from logger.channels.channel import Channel
from logger.errors import one_line

MOST_STROKES, MOST_PARTS, MOST_EVENTS = 12, 14, 18
MOST_BUDGET, MOST_CHANNELS, MOST_CAUTIONS = 8, 8, 6
NAME, TEXT = 24, 90  # characters of a cell, and of the last, which may be a text
CAUTION = 150  # characters of one of many long ones


def said(text: object, most: int = 100) -> str:
    """Any text on one line, cut, escaped."""
    return escape(one_line(str(text), most))


def table(
    head: Sequence[str], rows: Sequence[Sequence[str]], more: str = "", kind: str = ""
) -> str:
    """Cells are HTML already; the first of a row heads it."""
    top = "".join(f'<th scope="col">{cell}</th>' for cell in head)
    body = "".join(
        f'<tr><th scope="row">{row[0]}</th>'
        + "".join(f"<td>{cell}</td>" for cell in row[1:])
        + "</tr>"
        for row in rows
    )
    note = f'<p class="more">{more}</p>' if more else ""
    return f'<table class="{kind or "plain"}"><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>{note}'


def listing(
    columns: Sequence[Column], rows: Sequence[Any], shown: Units, more: str = "", kind: str = "tight"
) -> str:
    """Rows as a table, names and texts cut to what paper has room for; more: what stands below."""
    head, *body = texts(columns, rows, shown)
    cells = [[said(cell, TEXT if k == len(head) - 1 else NAME) for k, cell in enumerate(row)] for row in body]
    for k, column in enumerate(columns):
        if column.kind == "use":
            for row, line in zip(rows, cells, strict=True):
                line[k] = f"<b>{line[k]}</b>" if (column.value(row) or 0.0) > 1 else line[k]
    return table([said(title) for title in head], cells, more, kind)


def results(rows: Sequence[ResultRow], shown: Units) -> str:
    """Measured beside predicted."""
    return listing(RESULTS[:3], rows, shown)


def strokes(review: dict[str, Any], shown: Units) -> str:
    """Every stroke, or the first ones with a line that says how many more there are."""
    rows = numbered(review["strokes"])
    if not rows:
        return "<p>No stroke was found.</p>"
    note = _more(len(rows), MOST_STROKES, "strokes")
    return listing(STROKES, rows[:MOST_STROKES], shown, note, "plain")


def peaks(rows: Sequence[dict[str, Any]], shown: Units) -> str:
    """Highest forces against limits, the most used first."""
    if not rows:
        return "<p>No force was read.</p>"
    note = _more(len(rows), MOST_PARTS, "strands and elements, less used or unrated")
    return listing(PEAKS, rows[:MOST_PARTS], shown, note)


def budget(row: ResultRow, shown: Units) -> str:
    """The components of one quantity's uncertainty, the largest first."""
    if row.quantity is None or not math.isfinite(row.quantity.u):
        return f"<p>{said(row.title)}: {UNKNOWN}.</p>"
    made = budget_table(row, shown, MOST_BUDGET)
    head, *body = ([said(cell, 60) for cell in line] for line in made.rows)
    return table(head, body, f"{said(made.said)}: {said(made.note, 200)}", "tight")


def events(review: dict[str, Any], chosen: Sequence[dict[str, Any]], shown: Units) -> str:
    """Events with the numbers that stand above the plot."""
    if not chosen:
        return "<p>None.</p>"
    note = _more(len(review["events"]), len(chosen), "events; `haul review --json` lists all")
    return listing(EVENTS, chosen, shown, note, "wide events")


def channels(whole: Whole, shown: Units) -> str:
    """Where each channel sits, what it read, and how its readings become N or m."""
    rows = []
    every = whole.info.sensors.channels
    for c in every[:MOST_CHANNELS]:
        unit = "N" if c.quantity == "force" else "m"
        doubt = " and ".join(x for x in (
            f"{c.u_percent:g} %" if c.u_percent else "",
            " ".join(shown.written(c.u, "g", unit)) if c.u and c.calibration is None else "",
        ) if x)  # fmt: skip
        lost = whole.review["dropped"].get(c.name, 0)
        rows.append([
            said(c.name, 24), said(c.at, 20), f"{whole.review['readings'].get(c.name, 0)}"
            + (f" ({lost} dropped)" if lost else ""),
            said(_conversion(c), 160), said(doubt or ("of the calibration" if c.calibration else "none stated")),
            "-" if c.capacity is None else said(" ".join(shown.written(c.capacity, "g", unit))),
        ])  # fmt: skip
    head = ("channel", "at", "readings", "from reading to SI", "standard uncertainty", "capacity")
    return table(head, rows, _more(len(every), MOST_CHANNELS, "channels"), "wide")


def _conversion(c: Channel) -> str:
    zeroed = f"zero {c.zero:g} {c.unit}"
    late = "" if c.delay_s is None else f"; {c.delay_s:g} s late (u {c.delay_u_s:g} s)"
    if c.calibration is None:
        return f"{zeroed}; scale {c.scale:g}, in {c.unit}; no calibration{late}"
    fit = c.calibration
    terms = ", ".join(f"{x:.6g}" for x in fit.coefficients)
    return f"{zeroed}; calibration {c.calibration_file}, degree {fit.degree}, c0.. = {terms}, from {fit.n} points{late}"


def cautions(review: dict[str, Any]) -> str:
    """What the review warns of, bounded."""
    texts = review["warnings"]
    if not texts:
        return "<p>The review has no warning.</p>"
    first = texts[:MOST_CAUTIONS]
    # whole where there is room on the paper for all of them: what to do stands at a text's end
    most = CAUTION if sum(map(len, first)) > MOST_CAUTIONS * CAUTION else MOST_CAUTIONS * CAUTION
    items = "".join(f"<li>{said(text, most)}</li>" for text in first)
    more = _more(len(texts), MOST_CAUTIONS, "warnings")
    return f"<ul>{items}</ul>" + (f'<p class="more">{more}</p>' if more else "")


def _more(whole: int, most: int, what: str) -> str:
    return f"and {whole - most} more {what}" if whole > most else ""
