"""The callbacks of the check page: the list as it is for whoever looks, and what an operator says to it.

The gate lets each callback through by its role; what changes something checks the role again.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from dash import Dash, Input, Output, State, no_update

from dashboard.check_page import layout
from dashboard.check_page.check_line import REASONS
from dashboard.check_page.checks import CheckNow, Checks, is_mark
from dashboard.desk.chosen import choose
from dashboard.desk.folder import files_in
from dashboard.desk.strip import session_address
from dashboard.web.dash_page import operator_alone, role_now
from dashboard.web.gate import OPERATOR, VIEWER
from dashboard.web.touches import TOUCHES, TouchLog
from logger.errors import CallFault, UserFault

# what both callbacks write, in the order of `_parts`
PARTS = (
    ("files", "children"), ("lines", "children"), ("left", "children"), ("times", "children"),
    ("suggested", "children"), ("session", "hidden"), ("foot", "hidden"), ("foot", "data-ready"), ("seen", "data"),
)  # fmt: skip
# what an act writes besides
OWN = (
    ("said", "children"), ("why", "hidden"), ("why-title", "children"), ("asked", "data"),
    ("note", "value"), ("started", "data"),
)  # fmt: skip
MOST_ACT = 300  # characters; memory only


def register(app: Dash, checks: Checks) -> dict[str, str]:
    """Add the callbacks to an application; returns the role of each, by its registered output key."""
    log = TouchLog()
    before = set(app.callback_map)

    @app.callback(  # type: ignore[untyped-decorator]
        [*(Output(i, p) for i, p in PARTS), Output("go", "href")],
        Input("look", "n_intervals"), State("seen", "data"), State("started", "data"),
    )  # fmt: skip
    def look(count: Any, seen: Any, started: Any) -> Any:
        """The check as it is; an operator who looks keeps the ports open."""
        may = role_now() == OPERATOR
        now = checks.now(tended=may)
        leads = may and now.recording and started == now.recording
        href = session_address(now.recording) if leads else no_update
        return [*_parts(checks, now, may, seen), href]

    looking = set(app.callback_map) - before

    @app.callback(  # type: ignore[untyped-decorator]
        [*(Output(i, p, allow_duplicate=True) for i, p in PARTS), *(Output(i, p) for i, p in OWN)],
        Input(TOUCHES, "data"),
        State("asked", "data"), State("note", "value"), State("started", "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    def change(touches: Any, asked: Any, note: Any, started: Any) -> Any:
        """The check after everything that the operator touched since the last call."""
        operator_alone()
        talk = Talk(checks, asked, note, started)
        touched = log.fresh(touches)
        if not touched:
            return [no_update] * (len(PARTS) + len(OWN))
        for control, value in touched:  # one call may carry several touches: none is lost
            talk.take(control, value)
        return [*_parts(checks, checks.now(tended=True), True, None), *talk.parts()]

    changing = set(app.callback_map) - before - looking
    return dict.fromkeys(looking, VIEWER) | dict.fromkeys(changing, OPERATOR)


class Talk:
    """What one call says to the check, and what the page shows of it.

    asked: mark of the line that the panel asks about; note: typed reason; started: session that this page
    started.  All three come from a browser.
    """

    def __init__(self, checks: Checks, asked: Any, note: Any, started: Any) -> None:
        self._checks, self._note = checks, note
        self._asked = asked if is_mark(asked) else ""
        self._started = started if isinstance(started, str) else ""
        self._said = ""
        self._empty_note = False

    def take(self, control: Any, value: Any) -> None:
        """Do what one touch asks for; a fault is kept as a sentence."""
        try:
            if isinstance(control, dict) and control.get("type") == "field":
                self._checks.call_it(value)
                return
            self._act(_act_of(control))
        except UserFault as fault:
            self._said = f"{fault.file}: {fault.fault}; {fault.cure}"

    def _act(self, values: list[str]) -> None:
        match values:
            case ["rig", name]:
                choose(self._checks.desk, rig=name)
            case ["sensors", name]:
                choose(self._checks.desk, sensors=name)
            case ["takes", seconds] if seconds.isascii() and seconds.isdigit():
                self._checks.takes(float(seconds))
            case ["confirm", mark] if is_mark(mark):
                self._checks.confirm(mark)
            case ["back", mark] if is_mark(mark):
                self._checks.take_back(mark)
            case ["over", mark] if is_mark(mark):
                self._asked = mark
            case ["leave"]:
                self._asked = ""
            case ["reason", k] if self._asked:
                is_listed = k.isascii() and k.isdigit() and int(k) < len(REASONS)
                reason = REASONS[int(k)] if is_listed else self._note if k == layout.NOTE else ""
                self._checks.overrule(self._asked, reason)
                self._asked, self._empty_note = "", True
            case ["start"]:
                self._started = self._checks.start()
            case _:
                raise CallFault("page", "this is no act of the page", "load the page again")

    def parts(self) -> list[Any]:
        """The values of `OWN`."""
        title = ""
        for line in self._checks.now().lines if self._asked else ():
            if line.mark == self._asked:
                title = f"Go on without it? {line.title}: {line.text}. Why?"
        return [
            self._said, not title, title, self._asked if title else "",
            "" if self._empty_note else no_update, self._started,
        ]  # fmt: skip


def _act_of(control: Any) -> list[str]:
    """The act of a button, as it came back from a browser; raises CallFault."""
    text = control.get("act") if isinstance(control, dict) else None
    try:
        values = json.loads(text) if isinstance(text, str) and len(text) <= MOST_ACT else None
    except (ValueError, RecursionError):
        values = None
    if not isinstance(values, list) or not values or not all(type(one) is str for one in values):
        raise CallFault("page", "this is no act of the page", "load the page again")
    return values


def _parts(checks: Checks, now: CheckNow, may: bool, seen: Any) -> list[Any]:
    """The values of `PARTS`, nothing where a page has them already."""
    files = files_in(checks.desk.folder)
    mark = hashlib.sha256(f"{may} {now} {files}".encode("utf-8", "replace")).hexdigest()[:16]
    if seen == mark:
        return [no_update] * len(PARTS)
    busy = bool(now.recording or now.starting)
    return [
        layout.files(now, may and not busy, files),
        layout.lines(now, may),
        layout.left_text(now),
        layout.times(now) if may else [],
        now.name,
        not may or busy,
        not may or busy,
        "no" if now.left else "yes",
        mark,
    ]
