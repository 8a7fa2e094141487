"""Makes the list of sessions as plain values: each with its figures, trends, a comparison of two, and the gear."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote

from analysis.messages.message import message
from analysis.sessions.gear_log import ItemRecord
from analysis.sessions.session_row import by_chapter, columns
from analysis.sessions.trend import rig_trends
from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import sessions
from dashboard.desk.strip import session_address
from dashboard.sessions_page.folder_library import Library
from dashboard.text.local_time import local_time
from dashboard.text.table_rows import GEAR, SESSIONS, texts, without
from dashboard.text.units import Units, percent, plus_minus
from logger.errors import UserFault, one_line

MOST_SESSIONS = 500  # that are listed; chosen by us: a filter narrows the list
MOST_FILTER = 60  # characters of a filter
EVERY, OVER, ODD = "all", "over", "odd"  # which sessions are shown
COMPARED = without(SESSIONS, "strokes", "highest use")


@dataclass(frozen=True)
class ListedHaul:
    """One session of the list."""

    name: str  # of its folder
    title: str  # of its rig
    started: str  # local time
    state: str  # of its record
    advantage: str  # measured, with U95; a word where it isn't known
    force: str  # mean haul force, with U95; a word where it isn't known
    use: str  # highest share of a limit; a word where it isn't known
    over: bool  # whether a limit was passed
    odd: bool  # whether the record is anything but sealed
    address: str  # of its result, or of its live page while it is recorded


@dataclass(frozen=True)
class Compared:
    """Two sessions beside each other."""

    table: tuple[tuple[str, ...], ...]  # names of the columns first
    lines: tuple[str, ...]  # what the comparison says


@dataclass(frozen=True)
class SessionsView:
    """The list of sessions for one state of the folder."""

    hauls: tuple[ListedHaul, ...]  # that the filter lets through, the newest first
    count: int  # of all
    reading: bool  # whether sessions are read just now
    trends: tuple[tuple[str, str], ...]  # (rig, what its efficiency does over time)
    gear: tuple[tuple[str, ...], ...]  # names of the columns first; empty without marked gear


def sessions_view(desk: Desk, library: Library, words: str, which: str) -> SessionsView:
    """The list of the folder.

    words: that must stand in the name or the rig's title; which: EVERY, OVER or ODD.
    """
    reading = library.look()
    rows = {str(row["path"]): row for row in library.rows()}
    every = [
        _haul(
            one.name, one.title, one.started_at, one.state, rows.get(one.name), reading, desk.units
        )
        for one in sessions(desk.folder, MOST_SESSIONS)
    ]
    asked = words.lower()
    shown = tuple(
        one
        for one in every
        if asked in f"{one.name} {one.title}".lower()
        and (which == EVERY or (one.over if which == OVER else one.odd))
    )
    there = {one.name for one in shown}
    return SessionsView(
        hauls=shown,
        count=len(every),
        reading=reading,
        trends=_trends([row for name, row in rows.items() if name in there], desk.units),
        gear=_gear(library.gear(), desk.units),
    )


def _haul(
    name: str, title: str, started_at: str, state: str, row: Mapping[str, Any] | None, reading: bool,
    units: Units,
) -> ListedHaul:  # fmt: skip
    growing = state == "growing"
    advantage = force = use = (
        "being recorded" if growing else "is read now" if reading else "not known"
    )
    over = False
    if row is not None and not growing:
        advantage = force = use = "cannot be reviewed" if row["fault"] else "not known"
        if row["actual_ma"] is not None:
            advantage = f"{plus_minus(row['actual_ma'], row['actual_ma_U95'])} : 1"
        if row["haul_force_N"] is not None:
            force = units.quantity(
                "force", {"value": row["haul_force_N"], "U95": row["haul_force_U95_N"]}
            )
        if row["highest_use"] is not None:
            over = row["highest_use"] > 1
            use = percent(row["highest_use"])
    return ListedHaul(
        name=name,
        title=title,
        started=local_time(started_at) or started_at,
        state=state,
        advantage=advantage,
        force=force,
        use=use,
        over=over,
        odd=state != "sealed",
        address=session_address(name) if growing else f"/result/{quote(name, safe='')}/",
    )


def _trends(rows: Sequence[Mapping[str, Any]], units: Units) -> tuple[tuple[str, str], ...]:
    """What the efficiency of each rig does over its sessions."""
    trends = []
    for _, title, trend in rig_trends(by_chapter(sorted(rows, key=lambda row: row["started_at"]))):
        change = ""
        if trend.per_year is not None:
            change = (
                f"efficiency changes by {plus_minus(trend.per_year, trend.U95)} a year (95 %); "
            )
        trends.append(
            (f"{one_line(title, 80)}, {trend.n} sessions", change + trend.verdict.text(units))
        )
    return tuple(trends)


def _gear(records: Sequence[ItemRecord], units: Units) -> tuple[tuple[str, ...], ...]:
    if not records:
        return ()
    return tuple(tuple(row) for row in texts(GEAR, records, units))


def compared(desk: Desk, names: Sequence[str]) -> Compared:
    """Two sessions beside each other, as `haul compare` says it.  names: checked."""
    from analysis.review.reviewed_session import whole_session
    from analysis.sessions.compare import not_compared, pairs, sides, worth_it
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
        rows += [
            {**row, "path": one.name, "part": None, "rope_m": one.rope_m,
             "minutes_a_metre": one.minutes_a_metre}
            for row, one in zip(by_chapter([columns(whole)]), own, strict=True)
        ]  # fmt: skip
    lines += [worth_it(big, small).text(desk.units) for big, small in pairs(every)]
    lines += [why.text(desk.units) for why in not_compared(every)]
    table = texts(COMPARED, rows, desk.units) if rows else []
    return Compared(
        tuple(tuple(row) for row in table), tuple(one_line(line, 600) for line in lines)
    )
