"""Puts the sensors page behind the gate of the desk."""

from __future__ import annotations

from dashboard.desk.desk_page import Desk, DeskPage
from dashboard.desk.strip import strip_of
from dashboard.sensors_page import layout
from dashboard.sensors_page.callbacks import register
from dashboard.sensors_page.sensors_desk import SensorsDesk
from dashboard.web.dash_page import dash_routes, shell

PREFIX = "/sensors/"
ENTRY = "sensors/sensors.js"
STYLES = ("shared/page.css", "plan/plan.css", "sensors/sensors.css")


def desk_page(desk: Desk) -> DeskPage:
    """The sensors page of a desk."""
    return page_of(SensorsDesk(desk))


def page_of(sensors: SensorsDesk) -> DeskPage:
    """The page over what the server holds; whoever made `sensors` closes it."""
    desk = sensors.desk
    app = shell("sensors", PREFIX, desk.token, ENTRY, STYLES, strip_of(desk, "Sensors"))
    app.layout = layout.page()
    roles = register(app, sensors)
    routes = dash_routes(app, roles, PREFIX)
    return DeskPage(tuple(routes), tuple(app.csp_hashes()))
