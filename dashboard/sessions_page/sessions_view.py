"""Makes the list of sessions as plain values: each with its figures, trends, a comparison of two, and the gear."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from urllib.parse import quote

from analysis.messages.message import message
from analysis.sessions.gear_log import ItemRecord
from analysis.sessions.session_row import by_chapter
from analysis.sessions.trend import rig_trends
from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import SessionEntry, sessions
from dashboard.desk.strip import session_address
from dashboard.figures.spec import Figure
from dashboard.sessions_page.folder_library import Library
from dashboard.sessions_page.trend_plot import trend_figure
from dashboard.text.local_time import local_time
from dashboard.text.table_rows import COMPARED, GEAR, SESSIONS, texts, those
from dashboard.text.units import Units, plus_minus
from logger.errors import UserFault, one_line

MOST_SESSIONS = 500  # that are listed; chosen by us: a filter narrows the list
MOST_POINTS = 50  # sessions of a rig that its trend lists, the last ones; chosen by us
MOST_FILTER = 60  # characters of a filter
EVERY, OVER, ODD = "all", "over", "odd"  # which sessions are shown
# of a session in the list, and of one in a trend; each column is that of `haul library`
FIGURES = those(
    SESSIONS,
    "ideal MA",
    "actual MA",
    "efficiency",
    "haul force",
    "peak force",
    "at most",
    "on",
    "highest use",
)
TREND = those(SESSIONS, "session", "started", "efficiency")


@dataclass(frozen=True)
class ListedHaul:
    """One session of the list, or one chapter of a session with several."""

    name: str  # of its folder
    label: str  # its name, with the chapter
    title: str  # of its rig
    started: str  # local time
    state: str  # of its record
    figures: tuple[str, ...]  # texts of FIGURES; where there are none the first says why
    over: bool  # whether a limit was passed
    odd: bool  # whether the record is anything but sealed
    address: str  # of its result, or of its live page while it is recorded


@dataclass(frozen=True)
class Compared:
    """Two sessions beside each other."""

    table: tuple[tuple[str, ...], ...]  # names of the columns first
    lines: tuple[str, ...]  # what the comparison says


@dataclass(frozen=True)
class RigTrend:
    """What the efficiency of one rig does over its sessions."""

    title: str  # of the rig, with the number of its sessions
    text: str  # the change a year with its interval, and the verdict
    table: tuple[
        tuple[str, ...], ...
    ]  # the efficiency of each session with its U95; names of the columns first
    plot: Figure = field(compare=False, repr=False)  # of the sessions in the table


@dataclass(frozen=True)
class SessionsView:
    """The list of sessions for one state of the folder."""

    hauls: tuple[ListedHaul, ...]  # that the filter lets through, the newest first
    count: int  # of all
    reading: bool  # whether sessions are read just now
    trends: tuple[RigTrend, ...]  # of each rig with several sessions
    gear: tuple[tuple[str, ...], ...]  # names of the columns first; empty without marked gear


def sessions_view(desk: Desk, library: Library, words: str, which: str) -> SessionsView:
    """The list of the folder.

    words: that must stand in the name or the rig's title; which: EVERY, OVER or ODD.
    """
    reading = library.look()
    rows = {str(row["path"]): row for row in library.rows()}
    there_now = sessions(desk.folder, MOST_SESSIONS)
    every = [
        listed
        for one in there_now
        for listed in _hauls(one, rows.get(one.name), reading, desk.units)
    ]
    asked = words.lower()
    shown = tuple(
        one
        for one in every
        if asked in f"{one.label} {one.title}".lower()
        and (which == EVERY or (one.over if which == OVER else one.odd))
    )
    there = {one.name for one in shown}
    return SessionsView(
        hauls=shown,
        count=len(there_now),
        reading=reading,
        trends=_trends([row for name, row in rows.items() if name in there], desk.units),
        gear=_gear(library.gear(), desk.units),
    )


def _hauls(
    one: SessionEntry, row: Mapping[str, Any] | None, reading: bool, units: Units
) -> list[ListedHaul]:
    """The session, or its chapters, with the figures of the library's row; row: None where it is not read yet."""
    growing = one.state == "growing"
    if row is None or growing or row["fault"]:
        why = (
            "being recorded" if growing
            else f"cannot be reviewed: {one_line(row['fault'], 160)}" if row is not None
            else "is read now" if reading
            else "not known"
        )  # fmt: skip
        return [_listed(one, one.name, one.title, (why, *[""] * (len(FIGURES) - 1)), False)]
    return [
        _listed(
            one,
            SESSIONS[0].text(chapter),
            chapter["title"] or one.title or "without a title",
            tuple(column.text(chapter, units) for column in FIGURES),
            chapter["highest_use"] is not None and chapter["highest_use"] > 1,
        )
        for chapter in by_chapter([row])
    ]


def _listed(
    one: SessionEntry, label: str, title: str, figures: tuple[str, ...], over: bool
) -> ListedHaul:
    return ListedHaul(
        name=one.name,
        label=label,
        title=title,
        started=local_time(one.started_at) or one.started_at,
        state=one.state,
        figures=figures,
        over=over,
        odd=one.state != "sealed",
        address=session_address(one.name) if one.state == "growing" else f"/result/{quote(one.name, safe='')}/",
    )  # fmt: skip


def _trends(rows: Sequence[Mapping[str, Any]], units: Units) -> tuple[RigTrend, ...]:
    """What the efficiency of each rig does over its sessions."""
    trends = []
    listed = by_chapter(sorted(rows, key=lambda row: row["started_at"]))
    for key, title, trend in rig_trends(listed):
        change = ""
        if trend.per_year is not None:
            change = (
                f"efficiency changes by {plus_minus(trend.per_year, trend.U95)} a year (95 %); "
            )
        own = [row for row in listed if row["rig"] == key and row["efficiency"] is not None]
        own = own[-MOST_POINTS:]
        trends.append(
            RigTrend(
                title=f"{one_line(title, 80)}, {trend.n} sessions",
                text=change + trend.verdict.text(units),
                table=tuple(tuple(row) for row in texts(TREND, own, units)),
                plot=trend_figure(own, trend),
            )
        )
    return tuple(trends)


def _gear(records: Sequence[ItemRecord], units: Units) -> tuple[tuple[str, ...], ...]:
    if not records:
        return ()
    return tuple(tuple(row) for row in texts(GEAR, records, units))


def compared(desk: Desk, names: Sequence[str]) -> Compared:
    """Two sessions beside each other, as `haul compare` says it.  names: checked."""
    from analysis.review.reviewed_session import whole_session
    from analysis.sessions.compare import compared_rows, not_compared, pairs, sides, worth_it
    from analysis.sessions.session_row import why_unread

    every, rows, lines = [], [], []
    for name in names:
        try:
            whole = whole_session(desk.folder / name)
        except UserFault as fault:
            why = why_unread(fault, desk.folder / name)
            lines.append(
                message("session_unreadable", session=one_line(name, 60), why=why).text(desk.units)
            )
            continue
        own = [
            replace(one, name=one.name.replace(str(desk.folder / name), name))
            for one in sides(whole)
        ]
        every += own
        rows += compared_rows(whole, own)
    lines += [worth_it(big, small).text(desk.units) for big, small in pairs(every)]
    lines += [why.text(desk.units) for why in not_compared(every)]
    table = texts(COMPARED, rows, desk.units) if rows else []
    return Compared(
        tuple(tuple(row) for row in table), tuple(one_line(line, 600) for line in lines)
    )
