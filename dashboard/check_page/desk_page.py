"""Adds the check before the pull to the desk, at /check/."""

from __future__ import annotations

from dashboard.check_page import layout
from dashboard.check_page.callbacks import register
from dashboard.check_page.checks import Checks
from dashboard.desk.desk_page import Desk, DeskPage
from dashboard.desk.strip import strip_of
from dashboard.web.dash_page import dash_routes, shell

ENTRY = "check/check.js"
STYLES = ("shared/page.css", "plan/plan.css", "desk/home.css", "check/check.css")
PREFIX = "/check/"


def desk_page(desk: Desk) -> DeskPage:
    """The page, its callbacks by role, and what it asks for."""
    app = shell("check", PREFIX, desk.token, ENTRY, STYLES, strip_of(desk, "Check"))
    app.layout = layout.page()
    roles = register(app, Checks(desk))
    return DeskPage(tuple(dash_routes(app, roles, PREFIX)), tuple(app.csp_hashes()))
