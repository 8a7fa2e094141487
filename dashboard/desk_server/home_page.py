"""The home page and the list of rigs: what is there now for whoever looks, and what an operator does with it."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import asdict
from typing import Any
from urllib.parse import quote

from dash import Input, Output, State, no_update

from dashboard.desk.chosen import choose
from dashboard.desk.desk_page import Desk, DeskPage
from dashboard.desk.strip import strip_items, strip_of
from dashboard.desk_server import home_layout
from dashboard.desk_server.home_view import HomeView, home_view
from dashboard.desk_server.next_step import VIRTUAL
from dashboard.desk_server.rig_pages import RigDrafts
from dashboard.desk_server.virtual_devices import VirtualDevices
from dashboard.live.session_hub import Hub
from dashboard.rig_page.acts import act_values
from dashboard.rig_page.layout import shelf_titles
from dashboard.sessions_page.folder_library import Library
from dashboard.web.dash_page import Shell, dash_routes, operator_alone, role_now, shell
from dashboard.web.gate import JSON, OPERATOR, VIEWER, Answer, Route, WebRequest
from dashboard.web.touches import TOUCHES, TouchLog
from logger.errors import CallFault, UserFault

ENTRY = "desk/home.js"
STYLES = ("shared/page.css", "plan/plan.css", "desk/home.css")
Body = Callable[[HomeView, bool], list[Any]]  # parts of a page for a view; for an operator if true


class HomePages:
    """What both pages stand on."""

    def __init__(
        self, desk: Desk, drafts: RigDrafts, devices: VirtualDevices, hub: Hub, library: Library
    ) -> None:
        self.desk, self.drafts, self.devices, self.hub = desk, drafts, devices, hub
        self.folder_library = library

    def shown(self, body: Body) -> tuple[list[Any], str]:
        """The parts of a page for whoever asks, and what differs when they do."""
        view = home_view(self.desk, self.folder_library, self.hub, self.devices.stand)
        may = role_now() == OPERATOR
        return body(view, may), hashlib.sha256(f"{may} {view}".encode()).hexdigest()

    def done(self, values: list[Any], name: Any) -> tuple[str, str]:
        """Do an act; what is to be said about it, and where it leads, "" for nowhere.  name: as typed."""
        match values:
            case [verb] if verb == VIRTUAL:
                self.devices.begin()
                return "", ""
            case ["rig", str(rig)]:
                choose(self.desk, rig=rig)
                return "", ""
            case ["sensors", str(sensors)]:
                choose(self.desk, sensors=sensors)
                return "", ""
            case ["begin", str(what)]:
                new = self.drafts.begin(name if isinstance(name, str) else "", what)
                return "", f"/rig/{quote(new)}/"
        raise CallFault("page", "this is no act of the page", "load the page again")


def home_page(
    desk: Desk, drafts: RigDrafts, devices: VirtualDevices, hub: Hub, library: Library
) -> DeskPage:
    """The home page, the list of rigs, and what the strip asks for.  library: as the list of sessions has it."""
    pages = HomePages(desk, drafts, devices, hub, library)
    home = _app(pages, "", "/desk/home/", f"haul: {desk.folder.name}", home_layout.home_body)

    def strip(request: WebRequest) -> Answer:
        """The strip's words and ways as they are now."""
        items = [asdict(item) for item in strip_items(desk)]
        return Answer(200, json.dumps(items).encode(), JSON)

    rigs = _app(pages, "Rig", "/desk/rigs/", "Rigs", home_layout.rigs_body)
    return DeskPage(
        (
            *_routes(home, "/desk/home/", "/"),
            *_routes(rigs, "/desk/rigs/", "/rig/"),
            Route("GET", re.compile("/desk/strip"), strip),
        ),
        tuple({*home[0].csp_hashes(), *rigs[0].csp_hashes()}),
    )


def _routes(made: tuple[Shell, dict[str, str]], prefix: str, page: str) -> list[Route]:
    return dash_routes(*made, prefix, page=page)


def _app(
    pages: HomePages, here: str, prefix: str, title: str, body: Body
) -> tuple[Shell, dict[str, str]]:
    """One of the two pages, and the role of each of its callbacks."""
    desk = pages.desk
    app = shell(here.lower() or "home", prefix, desk.token, ENTRY, STYLES, strip_of(desk, here))
    app.layout = home_layout.page(title, shelf_titles())
    log = TouchLog()
    before = set(app.callback_map)

    @app.callback(  # type: ignore[untyped-decorator]
        Output("body", "children"), Output("seen", "data"), Output("fresh", "hidden"),
        Input("look", "n_intervals"), State("seen", "data"),
    )  # fmt: skip
    def look(count: Any, seen: Any) -> Any:
        """The page as it is now, for whoever looks; unchanged where nothing is new."""
        parts, now = pages.shown(body)
        if seen == now:
            return no_update, no_update, no_update
        return parts, now, role_now() != OPERATOR

    looking = set(app.callback_map) - before

    @app.callback(  # type: ignore[untyped-decorator]
        Output("body", "children", allow_duplicate=True), Output("seen", "data", allow_duplicate=True),
        Output("said", "children"), Output("go", "href"),
        Input(TOUCHES, "data"), State("name", "value"),
        prevent_initial_call=True,
    )  # fmt: skip
    def change(touches: Any, name: Any) -> Any:
        """The page after everything that the operator touched since the last call."""
        operator_alone()
        said = address = ""
        touched = log.fresh(touches)
        if not touched:
            return (no_update,) * 4
        for control, _ in touched:
            try:
                said, address = pages.done(act_values(control.get("act")), name)
            except UserFault as fault:
                said, address = f"{fault.fault}; {fault.cure}", ""
        parts, now = pages.shown(body)
        return parts, now, said, address or no_update

    changing = set(app.callback_map) - before - looking
    return app, dict.fromkeys(looking, VIEWER) | dict.fromkeys(changing, OPERATOR)
