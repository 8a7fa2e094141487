"""A folder of sessions as a plain list: no script, no live number."""

from __future__ import annotations

from html import escape
from pathlib import Path
from urllib.parse import quote

from dashboard.hub import sessions_in
from logger.errors import UserFault, one_line
from logger.package import read_descriptor
from logger.session import session_state

MOST_LISTED = 500


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
        f"<ul>{rows}</ul>{rest}</main></body></html>\n"
    )


def _row(folder: Path, name: str) -> str:
    try:
        started = one_line(str(read_descriptor(folder / name).get("started_at", "")), 40)
        state = session_state(folder / name, quick=True)
    except UserFault as fault:
        started, state = "", f"cannot be read: {fault.fault}"
    return (
        f'<li><a href="/s/{quote(name, safe="")}/">{escape(one_line(name))}</a> '
        f'<a href="/s/{quote(name, safe="")}/review" aria-label="review of {escape(one_line(name))}">review</a> '
        f"<span>{escape(started)}</span> <span>{escape(state)}</span></li>"
    )
