"""Chooses the events that the printed report has room for: all where they fit, the serious ones else.

The report has four pages at most.  With every list at its bound, MOST_EVENTS events fit (a test prints
that); each row that another table does not use is one line more for events.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dashboard.export.report_tables import MOST_CHANNELS, MOST_EVENTS, MOST_PARTS, MOST_STROKES
from dashboard.text.table_rows import listed_events

# characters of an event's text on one line of the table, by the width of its column on A4; fewer than
# fit, so that the room is never overrated
TEXT_LINE = 60
# events that have room beside the drawings and tables of several chapters; a test prints that
LEAST_WITH_CHAPTERS = 11
MOST_LINES = 2  # of an event's row: its text is cut to 90 characters


@dataclass(frozen=True)
class OtherRows:
    """Rows of the tables that share the paper with the events."""

    strokes: int  # rows of the table of strokes
    parts: int  # rows of the table of peaks, strands and elements
    channels: int  # rows of the table of channels


def events_that_fit(review: Mapping[str, Any], others: OtherRows) -> list[dict[str, Any]]:
    """The events of a review that the report shows, numbered, in order of time.

    At least MOST_EVENTS, or LEAST_WITH_CHAPTERS in a session of several chapters.
    """
    least = LEAST_WITH_CHAPTERS if len(review["chapters"]) > 1 else MOST_EVENTS
    room = least * MOST_LINES + _unused(others)
    for count in range(min(len(review["events"]), room), least, -1):
        chosen = listed_events(dict(review), count)
        if sum(_lines(event) for event in chosen) <= room:
            return chosen
    return listed_events(dict(review), least)


def _unused(others: OtherRows) -> int:
    """Lines of the paper that the other tables leave free."""
    free = (
        MOST_STROKES - others.strokes,
        MOST_PARTS - others.parts,
        MOST_CHANNELS - others.channels,
    )
    return sum(max(0, rows) for rows in free)


def _lines(event: Mapping[str, Any]) -> int:
    """Lines of an event's row."""
    return MOST_LINES if len(event["text"]) > TEXT_LINE else 1
