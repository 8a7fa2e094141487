"""Renders the sessions of a folder as a list without live numbers."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from analysis.sessions.session_row import why_unread
from dashboard.live.session_hub import sessions_in
from dashboard.text.local_time import local_time
from dashboard.text.templates import render
from dashboard.web import assets
from logger.errors import SessionFault, UserFault, one_line
from logger.session.descriptor import RIG, read_descriptor
from logger.session.reader import session_state
from logger.toml_tables import parse_toml, read_text

MOST_LISTED = 500


@dataclass(frozen=True)
class ListedSession:
    """One row of the list, as texts."""

    name: str  # name of the session's folder
    link: str  # address of its live page; its review lies below
    rig: str  # title of its rig
    started: str  # local date and time with its offset from UTC, as `local_time` writes it
    state: str  # state of the session, or why it cannot be read


def page(folder: Path, takes_code: bool = False) -> str:
    """The HTML of the list of the sessions in a folder, the newest first.

    takes_code: whether the operator's link leads here, so that the page must take the code from it.
    """
    names = sessions_in(folder)
    return render(
        "watch/sessions.html.j2",
        folder=one_line(folder.name),
        sessions=[_listed(folder, name) for name in names[:MOST_LISTED]],
        takes_code=takes_code,
        older=max(0, len(names) - MOST_LISTED),
        asset=assets.address,
    )


def _listed(folder: Path, name: str) -> ListedSession:
    """The row of one session; where its folder cannot be read, the row says why."""
    rig = started = ""
    try:
        started = one_line(str(read_descriptor(folder / name).get("started_at", "")), 40)
        state = session_state(folder / name, quick=True)
        rig = one_line(_title(folder / name / RIG), 120)
    except UserFault as fault:
        state = f"cannot be read: {why_unread(fault, folder / name)}"
    started = local_time(started) or started
    link = f"/s/{quote(name, safe='')}/"
    return ListedSession(name=one_line(name), link=link, rig=rig, started=started, state=state)


def _title(rig: Path) -> str:
    """The title in a rig file, "" where it has none.  Raises SessionFault."""
    title = parse_toml(read_text(rig, SessionFault, plain=True), str(rig), SessionFault).get(
        "title"
    )
    return title if isinstance(title, str) else ""
