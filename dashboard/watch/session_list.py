"""A folder of sessions as a plain list: no script, no live number."""

from __future__ import annotations

import re
from html import escape
from pathlib import Path
from urllib.parse import quote

from dashboard.live.session_hub import sessions_in
from logger.errors import SessionFault, UserFault, one_line
from logger.session.descriptor import RIG, read_descriptor
from logger.session.reader import session_state
from logger.toml_tables import parse_toml, read_text

MOST_LISTED = 500
_UTC = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]+)?Z")


def page(folder: Path) -> str:
    """The list as a whole HTML page; what a session says about itself is escaped text."""
    names = sessions_in(folder)
    rows = "\n".join(_row(folder, name) for name in names[:MOST_LISTED])
    more = len(names) - MOST_LISTED
    rest = f"<p>{more} older sessions are not listed.</p>" if more > 0 else ""
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<link rel="icon" href="data:,"><link rel="stylesheet" href="/assets/page.css"><title>haul sessions</title></head>\n'
        f"<body><main class=\"list\"><h1>Sessions in {escape(one_line(folder.name))}</h1>\n"
        '<section class="tile"><table class="sessions"><thead><tr><th>session</th><th>rig</th>'
        "<th>started, UTC</th><th>state</th><th></th></tr></thead>\n"
        f"<tbody>{rows}</tbody></table>{rest}</section></main></body></html>\n"
    )


def _row(folder: Path, name: str) -> str:
    rig = started = ""
    try:
        started = one_line(str(read_descriptor(folder / name).get("started_at", "")), 40)
        state = session_state(folder / name, quick=True)
        rig = one_line(_title(folder / name / RIG), 120)
    except UserFault as fault:
        state = f"cannot be read: {fault.fault}"
    shown, link = escape(one_line(name)), f"/s/{quote(name, safe='')}/"
    if _UTC.fullmatch(started):
        started = f"{started[:10]} {started[11:19]}"
    return (
        f'<tr><td><a href="{link}">{shown}</a></td><td>{escape(rig)}</td><td>{escape(started)}</td>'
        f'<td>{escape(state)}</td><td><a href="{link}review" aria-label="review of {shown}">review</a></td></tr>'
    )


def _title(rig: Path) -> str:
    title = parse_toml(read_text(rig, SessionFault, plain=True), str(rig), SessionFault).get("title")
    return title if isinstance(title, str) else ""
