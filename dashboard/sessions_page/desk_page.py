"""Adds the result of a session, at /result/NAME/, and the list of all, at /sessions/, to the desk."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from dashboard.desk.desk_page import Desk, DeskPage
from dashboard.desk.strip import strip_of
from dashboard.live.session_hub import sessions_in
from dashboard.sessions_page import result_page, sessions_page
from dashboard.sessions_page.folder_library import Library
from dashboard.web.dash_page import dash_routes, shell
from dashboard.web.gate import HTML, Answer, Refused, Route, WebRequest

RESULT, SESSIONS = "/result/", "/sessions/"
STYLES = ("shared/page.css", "plan/plan.css", "desk/home.css", "result/result.css")
ENTRY = "result/result.js"


def desk_page(desk: Desk, library: Library) -> DeskPage:
    """Both pages, their callbacks by role, the report, and the result of the last session.

    library: the figures of the folder's sessions, which the home page shows too.
    """
    result = shell("result", RESULT, desk.token, ENTRY, STYLES, strip_of(desk, "Result"))
    result.layout = result_page.page()
    results = dash_routes(
        result, result_page.register(result, desk), RESULT, named=lambda name: _there(desk, name)
    )
    every = shell("sessions", SESSIONS, desk.token, ENTRY, STYLES, strip_of(desk, "Sessions"))
    every.layout = sessions_page.page()
    lists = dash_routes(every, sessions_page.register(every, desk, library), SESSIONS)

    def report(request: WebRequest) -> Answer:
        """The printable report of a session; raises Refused, UserFault."""
        from dashboard.export.report_html import report as made

        name = _there(desk, request.match[1])
        return Answer(
            200, made(desk.folder / name, units=desk.units).encode("utf-8", "replace"), HTML
        )

    return DeskPage(
        (
            Route("GET", re.compile(RESULT), app=_last(desk, _app_of(results), _app_of(lists))),
            Route("GET", re.compile(RESULT + r"([^/]{1,255})/report"), report),
            *results,
            *lists,
        ),
        tuple({*result.csp_hashes(), *every.csp_hashes()}),
    )


def _there(desk: Desk, name: str) -> str:
    """The name of a session of the folder; raises Refused for any other."""
    if name not in sessions_in(desk.folder):
        raise Refused(404, "no such session")
    return name


def _app_of(routes: list[Route]) -> Callable[..., Any]:
    """The application behind the route of a page, which is the first one."""
    app = routes[0].app
    assert app is not None
    return app


def _last(desk: Desk, result: Callable[..., Any], every: Callable[..., Any]) -> Callable[..., Any]:
    """The result of the newest session; the list where there is none yet."""

    def call(environ: dict[str, Any], start: Callable[..., Any]) -> Any:
        """The WSGI application."""
        name = next(iter(sessions_in(desk.folder)), None)
        if name is None:
            return every({**environ, "PATH_INFO": SESSIONS}, start)
        path = f"{RESULT}{name}/".encode().decode("latin-1")  # as WSGI has it
        return result({**environ, "PATH_INFO": path}, start)

    return call
