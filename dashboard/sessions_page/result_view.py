"""Makes all parts of the result page of one session, as plain values: what the review says, the notes beside it."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote

from dashboard.desk.desk_page import Desk
from dashboard.desk.strip import session_address
from dashboard.export.notes_file import Notes
from dashboard.review.session_review import Reviews
from dashboard.review.tables import page_data
from dashboard.review.wire import ReviewTexts
from dashboard.sessions_page.notes import read_notes
from dashboard.text.local_time import local_time
from logger.errors import UserFault

MOST_PEAKS = 8  # that are looked at first; the review lists all
# what the state of a record means, in words
STATES = {
    "growing": "is being recorded",
    "sealed": "sealed: nothing was changed since",
    "cut short": "cut short: recording was interrupted",
    "changed": "CHANGED since it was sealed: do not rely on it",
}


@dataclass(frozen=True)
class ResultView:
    """The result of one session."""

    name: str  # of its folder
    title: str  # of its rig
    about: str  # when, in which state
    sentences: tuple[str, ...]  # the verdict first; empty where it can't be reviewed
    grave: bool  # whether a limit was passed, or the record was changed
    over: tuple[tuple[str, ...], ...]  # rows of the parts that passed their limit
    peaks: tuple[tuple[str, ...], ...]  # rows of the other parts nearest to their limit
    peak_heads: tuple[str, ...]  # names of the columns of both
    warnings: tuple[str, ...]  # what to know before one relies on it
    chapters: tuple[tuple[str, ...], ...]  # names of the columns first; empty for one chapter
    results: tuple[tuple[str, ...], ...]  # likewise, the results
    fault: str  # why it can't be reviewed; "" where it can
    live: str  # address of its live page
    review: str  # address of its review
    report: str  # address of its report
    notes: Notes  # beside the record


def result_view(desk: Desk, reviews: Reviews, name: str) -> ResultView:
    """The result of a session, as the review says it.  name: of a session of the folder."""
    fault, texts = "", None
    try:
        session = reviews.session(desk.folder / name)
        now = session.reviewed()
        with session.lock:
            texts = page_data(now, desk.units)
    except UserFault as one:
        fault = f"{one.fault}; {one.cure}"
    live = session_address(name)
    return ResultView(
        name=name,
        title=name if texts is None else texts["title"],
        about="" if texts is None else _about(texts),
        sentences=() if texts is None else tuple(texts["sentences"]),
        grave=texts is not None and texts["grave"],
        over=() if texts is None else _peaks(texts, over=True),
        peaks=() if texts is None else _peaks(texts, over=False)[:MOST_PEAKS],
        peak_heads=() if texts is None else tuple(texts["heads"]["peaks"]),
        warnings=() if texts is None else tuple(texts["warnings"]),
        chapters=() if texts is None else tuple(tuple(row) for row in texts["chapters"]),
        results=() if texts is None else (
            tuple(texts["heads"]["results"]), *(tuple(row) for row in texts["results"])
        ),
        fault=fault,
        live=live,
        review=f"{live}review",
        report=f"/result/{quote(name, safe='')}/report",
        notes=read_notes(desk, name),
    )  # fmt: skip


def _about(texts: ReviewTexts) -> str:
    parts = [
        local_time(texts["started"]) or texts["started"],
        STATES.get(texts["state"], texts["state"]),
        "simulated" if texts["demo"] else "",
    ]
    return " · ".join(text for text in parts if text)


def _peaks(texts: ReviewTexts, over: bool) -> tuple[tuple[str, ...], ...]:
    """Rows of the rated parts that passed their limit, or that did not; the most used first."""
    return tuple(
        tuple(row["cells"])
        for row in texts["peaks"]
        if row["over"] == over and (over or row["use"] is not None)
    )
