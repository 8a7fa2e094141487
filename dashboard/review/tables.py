"""The texts and tables of the review page, as plain text; the page inserts them as text."""

from __future__ import annotations

from typing import Any

from analysis.messages import message as messages
from analysis.prediction.predict import stop_hauling_at
from analysis.review.peak_use import highest_peak_use
from analysis.review.shown_rows import peak_rows
from dashboard.review.session_review import ReviewNow
from dashboard.review.wire import BudgetRows, EventCells, Heads, PeakCells, ReviewTexts, StrokeCells
from dashboard.text.result_rows import (
    RESULTS,
    ResultRow,
    budget_table,
    result_rows,
    side_by_side,
)
from dashboard.text.summary_sentences import three_sentences
from dashboard.text.table_rows import (
    CHAPTERS,
    EVENTS,
    PEAKS,
    STROKES,
    by_chapter,
    chapter_rows,
    listed_events,
    peaks_by_chapter,
    stroke_rows,
    texts,
)
from dashboard.text.units import Units
from logger.errors import one_line

MOST_STROKES, MOST_EVENTS, MOST_PEAKS, MOST_WARNINGS = 1000, 300, 300, 40
MOST_COMPONENTS = 20  # of one uncertainty budget


def summary(
    now: ReviewNow, rows: list[ResultRow], worst: dict[str, Any] | None, units: Units
) -> list[list[str]]:
    """Rows [quantity, value] in which a what-if is compared with the record.

    worst: the peak with the highest use, None: no force was read.
    """
    by_key = {row.key: row for row in rows}
    compared = [by_key[key] for key in ("actual_ma", "efficiency", "haul_force_N")]
    load, ideal, en = by_key["load_force_N"], by_key["ideal_ma"], by_key["en"]
    name, use = PEAKS[0], next(c for c in PEAKS if c.kind == "use")
    _, measured, predicted, *_ = RESULTS
    agree = (
        "within both uncertainties"
        if abs(en.measured or 0.0) <= 1
        else "more than both uncertainties explain"
    )
    highest, none = None, "no part is rated"
    if worst is not None and worst["limit_N"] is not None:
        highest, none = (
            highest_peak_use(now.review["peaks"]),
            "not known: nothing bounds a rated part",
        )
    return [
        *([f"predicted {row.title}", predicted.text(row, units)] for row in compared),
        [ideal.title, predicted.text(ideal, units)],
        *([f"measured {row.title}", measured.text(row, units)] for row in compared),
        [load.title, f"{measured.text(load, units)} ({now.review['measured']['load_force_method']})"],
        [en.title, measured.text(en) + ("" if en.measured is None else f" ({agree})")],
        ["highest use", none if highest is None else f"{use.text(worst)}, {name.text(worst)}"],
        ["first limit reached at a haul force of", units.force(stop_hauling_at(now.rig_model).haul_force_N)],
    ]  # fmt: skip


def page_data(now: ReviewNow, units: Units) -> ReviewTexts:
    """All texts and tables of the page."""
    review = now.reviewed.shown(units)
    warnings = [one_line(w, 400) for w in review["warnings"]]
    unrated = sum(p["limit_N"] is None for p in review["peaks"])
    rows = result_rows(review, now.rig_model, now.estimates)
    forces = peak_rows(peaks_by_chapter(review))[:MOST_PEAKS]
    hauled = stroke_rows(review)[:MOST_STROKES]
    listed = listed_events(review, MOST_EVENTS)
    strokes = texts(by_chapter(STROKES, review), hauled, units)
    peaks, events = texts(by_chapter(PEAKS, review), forces, units), texts(EVENTS, listed, units)
    results = side_by_side(now.reviewed, units) or texts(RESULTS, rows, units)
    chapters = chapter_rows(review)
    return ReviewTexts(
        title=one_line(review["title"] or now.info.path.name, 120),
        folder=one_line(now.info.path.name, 120),
        started=one_line(review["started_at"], 40),
        state=review["state"],
        demo=now.info.simulation_true is not None,
        as_of=f"{now.result.end_s:.1f} s",
        what_if=" and ".join(messages.texts(now.assumptions, units)),
        units=units.name,
        readings=", ".join(
            f"{one_line(name, 60)} {count}" for name, count in review["readings"].items()
        ),
        sentences=[
            one_line(text, 900 * len(review["chapters"]))
            for text in three_sentences(now.reviewed, units)
        ],
        grave=review["state"] == "changed" or any(p["over"] for p in forces),
        heads=Heads(
            results=results[0],
            strokes=strokes[0],
            peaks=peaks[0],
            events=events[0],
        ),
        chapters=texts(CHAPTERS, chapters, units) if chapters else [],
        results=results[1:],
        why_not=one_line(review["measured"]["why_not"], 900),
        summary=summary(now, rows, forces[0] if forces else None, units),
        warnings=warnings[:MOST_WARNINGS] + _more(len(warnings), MOST_WARNINGS, "warnings"),
        strokes=[
            StrokeCells(k=s["k"], from_s=s["start_s"], to_s=s["end_s"], cells=cells)
            for s, cells in zip(hauled, strokes[1:], strict=True)
        ],
        strokes_more="".join(_more(len(review["strokes"]), MOST_STROKES, "strokes")),
        peaks=[
            PeakCells(use=p["use"], over=p["over"], cells=cells)
            for p, cells in zip(forces, peaks[1:], strict=True)
        ],
        unrated=f"{unrated} of {len(review['peaks'])} strands and parts have no rating in the rig file"
        if unrated
        else "",
        events=[
            EventCells(time_s=e["time_s"], cells=cells)
            for e, cells in zip(listed, events[1:], strict=True)
        ],
        events_more="".join(_more(len(review["events"]), MOST_EVENTS, "events")),
        budgets=[_budget(row, units) for row in rows if row.quantity],
    )


def _budget(row: ResultRow, units: Units) -> BudgetRows:
    table = budget_table(row, units, MOST_COMPONENTS)
    return BudgetRows(
        name=table.name, said=table.said, rows=table.rows, shares=table.shares, note=table.note
    )


def _more(count: int, most: int, what: str) -> list[str]:
    """A line on what was left out; empty where nothing was."""
    return (
        [f"and {count - most} more {what}: `haul review --json` lists all"] if count > most else []
    )
