"""The printable report of a session: one HTML file that needs nothing else.

It has no script, link, font or picture from elsewhere; it opens offline and prints on at most four
pages of A4 or Letter: every table is bounded and says how much it leaves out.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from analysis.review.chapters import Chapter
from analysis.review.reviewed_session import Whole, whole_session
from dashboard.export import report_tables as tables
from dashboard.export.event_room import OtherRows, events_that_fit
from dashboard.export.notes_file import Notes, notes_of
from dashboard.export.output_file import outside, write_page
from dashboard.export.report_tables import cut
from dashboard.figures.session_figures import (
    MARKED,
    efficiency_by_stroke,
    force_over_time,
    work_loop,
)
from dashboard.figures.to_svg import svg
from dashboard.rig_drawing.drawing import drawing
from dashboard.text.cautions import CAUTIONS
from dashboard.text.local_time import local_time
from dashboard.text.result_rows import result_rows, session_totals
from dashboard.text.summary_sentences import three_sentences
from dashboard.text.templates import render, svg_markup
from dashboard.text.units import METRIC, Units, number
from logger.clock import utc_text
from logger.session.descriptor import haul_version
from logger.session.verify import REFUSED, Verdict, verify

MOST_DRAWN = 3  # rigs that are drawn: the report has four pages at most
MOST_FORM, MOST_WRITTEN = (
    120,
    600,
)  # characters of site and crew, and of a note: the report has four pages at most
SENTENCE, SENTENCE_EACH = 340, 220  # characters of a sentence on one chapter; on each of several


def report(
    session: str | Path, rig: str | Path | None = None, units: Units = METRIC,
    before: str | Path | None = None,
) -> str:  # fmt: skip
    """The report's HTML.

    rig: a rig file in place of the session's own, for a what-if; before: a session that measured
    the load's force.  Raises UserFault in one line.
    """
    whole = whole_session(session, rig, before)
    review = whole.reviewed.shown(units)
    chosen = events_that_fit(
        review,
        OtherRows(
            strokes=len(review["strokes"]),
            parts=len(review["peaks"]),
            channels=len(whole.info.sensors.channels),
        ),
    )
    marks = [(e["time_s"], str(e["k"])) for e in chosen if e["kind"] in MARKED]
    rows = result_rows(review, whole.rig_model, whole.estimates)
    by_key = {row.key: row for row in rows}
    sentences = three_sentences(whole.reviewed, units)
    several = len(whole.chapters) > 1
    return render(
        "export/report.html.j2",
        title=cut(review["title"] or _folder(whole), 110),
        job=_job(whole, units),
        note=cut(whole.rig.note, 240),
        written=_written(notes_of(session)),
        what_if_rig="" if rig is None else cut(rig),
        sentences=[
            cut(text, SENTENCE_EACH * min(len(whole.chapters), MOST_DRAWN) if several else SENTENCE)
            for text in sentences
        ],
        chapters=tables.chapters(review, units) if several else None,
        totals=session_totals(review, units) if several else "",
        results=tables.results_side_by_side(whole.reviewed, units)
        if several
        else tables.results(rows, units),
        cautions=CAUTIONS,
        warnings=tables.warnings(review),
        over_limits=tables.over_limits(review, units),
        rig_drawings=[_rig_drawing(c, whole, units) for c in whole.chapters[:MOST_DRAWN]],
        force_plot=svg_markup(svg(force_over_time(whole, units, marks), 720, 225)),
        work_plot=svg_markup(svg(work_loop(whole, units), 380, 240)),
        efficiency_plot=svg_markup(svg(efficiency_by_stroke(review), 380, 240)),
        strokes=tables.strokes(review, units),
        peaks=tables.peaks(review, units),
        budget_of=f" of chapter {whole.reviewed.main.number + 1}" if several else "",
        budgets=[tables.budget(by_key[key], units) for key in ("actual_ma", "haul_force_N")],
        events=tables.events(review, chosen, units),
        channels=tables.channels(whole, units),
        record=_record(whole, verify(session)),
    )


def write_report(
    session: str | Path, file: str | Path, rig: str | Path | None = None, units: Units = METRIC,
    before: str | Path | None = None,
) -> None:  # fmt: skip
    """Write the report; never into the session.  Raises UserFault in one line."""
    target = outside(session, file)
    write_page(target, report(session, rig, units, before))


def _job(whole: Whole, units: Units) -> list[tuple[str, str]]:
    """(label, text): what was hauled, by whom, when."""
    review = whole.review
    pull_N = whole.rig.team_pull_N
    rows = [
        ("load", ", ".join(_load(whole, units)) or "nothing stated"),
        ("team", "nothing stated" if pull_N is None else f"can keep up {units.force(pull_N)}"),
        ("started", local_time(review["started_at"]) or review["started_at"]),
        ("duration", f"{review['duration_s']:.1f} s"),
        ("state", review["state"]),
        ("session", _folder(whole)),
    ]
    if whole.info.simulation_true is not None:
        rows.append(("source", "SIMULATED devices"))
    return [(label, cut(text)) for label, text in rows]


def _written(notes: Notes) -> dict[str, Any]:
    """What was written after the haul; a line of the form is left to be filled in by hand where it is empty."""
    text = notes.line
    return {
        "form": [("site", cut(notes.site, MOST_FORM)), ("crew", cut(notes.crew, MOST_FORM))],
        "note": cut(text, MOST_WRITTEN),
        "any": not notes.empty,
        "shortened": len(text) > MOST_WRITTEN or max(len(notes.site), len(notes.crew)) > MOST_FORM,
    }


def _load(whole: Whole, units: Units) -> list[str]:
    """What the rig file states of the load."""
    load, model = whole.rig.load, whole.rig_model
    facts = [load.kind] if load.kind else []
    if load.mass_kg is not None:
        facts.append(" ".join(units.written(load.mass_kg, "g", "kg")))
    if load.slope_rad:
        facts.append(f"slope {number(math.degrees(load.slope_rad))}°")
    if model.load_force_N is not None:
        facts.append(
            f"resistance {units.force_pm(model.load_force_N, model.load_force_u_N)} (stated)"
        )
    return facts


def _folder(whole: Whole) -> str:
    return Path(whole.review["session"]).resolve().name


def _rig_drawing(chapter: Chapter, whole: Whole, units: Units) -> dict[str, Any]:
    """A chapter's rig, and the words below it."""
    model, haul_N = chapter.rig_model, chapter.rig_model.haul_force_N
    texts = [
        units.force(float(t) * haul_N) if haul_N is not None else f"{number(float(t))} T"
        for t in model.tension
    ]
    text = drawing(chapter.rig, chapter.rig.start_m, model.tension, texts, width=900)
    title = "" if len(whole.chapters) < 2 else (
        f"Chapter {chapter.number + 1}, {chapter.rig.title or chapter.name}, "
        f"{chapter.from_s:.1f} s to {chapter.to_s:.1f} s. "
    )  # fmt: skip
    return {
        # inside HTML the namespace is implied; without it nothing in the file looks like an address
        "svg": svg_markup(text.replace(' xmlns="http://www.w3.org/2000/svg"', "", 1)),
        "title": cut(title, 120),
        "predicted": haul_N is not None,
    }


def _record(whole: Whole, verdict: Verdict) -> dict[str, str]:
    """State and seal of the record, and what the report was made from."""
    changed = verdict.state == "changed"
    return {
        "state": cut(verdict.state),
        "digest": cut(verdict.digest or ""),
        "faults": cut("; ".join((*verdict.details, REFUSED)), 1000) if changed else "",
        "folder": cut(_folder(whole)),
        "version": cut(haul_version()),
        "made_at": cut(local_time(utc_text()) or utc_text()),
    }
