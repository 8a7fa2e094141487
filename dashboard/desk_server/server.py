"""The server of `haul desk`: one process that listens on one address, every page of the desk behind one gate."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from dashboard.check_page.desk_page import desk_page as check_page
from dashboard.convert_page.desk_page import desk_page as convert_page
from dashboard.desk.desk_page import Desk, DeskPage
from dashboard.desk.held_ports import let_go
from dashboard.desk_server.folder_cells import FolderCells
from dashboard.desk_server.folder_lock import FolderLock
from dashboard.desk_server.home_page import home_page
from dashboard.desk_server.rig_pages import RigDrafts, rig_pages
from dashboard.desk_server.step_pages import haul_page
from dashboard.desk_server.virtual_devices import VirtualDevices
from dashboard.live.session_hub import Hub
from dashboard.sensors_page.routes import page_of
from dashboard.sensors_page.sensors_desk import SensorsDesk
from dashboard.sessions_page.desk_page import desk_page as sessions_page
from dashboard.sessions_page.folder_library import Library
from dashboard.text.units import METRIC, Units
from dashboard.web import assets
from dashboard.web.gate import Gate, Route
from dashboard.web.listener import HOST, FaultLog, Listening
from dashboard.web.sharing import Sharing
from logger.errors import CallFault
from logger.session.descriptor import DESCRIPTOR

LIVE = "/live/"  # below it stands what the live pages ask Dash for


class DeskServer(Listening):
    """Serves the desk of one folder.

    folder: the only place that is read or written; port: 0 for any that is free; sharing: the address to
    listen on and its codes, None: loopback, where anybody may look; units: of all texts.  Raises CallFault
    where the folder, the address or the port can't be used, or another desk serves the folder.
    """

    def __init__(
        self, folder: Path, port: int = 0, sharing: Sharing | None = None, units: Units = METRIC
    ) -> None:
        if (folder / DESCRIPTOR).exists():
            raise CallFault(folder, "is a session itself", "give the folder around it")
        self.lock = FolderLock(folder)
        try:
            self.sharing = Sharing(HOST, shared=False) if sharing is None else sharing
            self.desk = Desk(folder, units, secrets.token_urlsafe(24), self.sharing)
            self.faults = FaultLog()
            self.hub = Hub(folder, self.faults, (), units, empty=True)
            self.devices = VirtualDevices(self.desk)
            self.drafts = RigDrafts(self.desk)
            self.sensors = SensorsDesk(self.desk)
            self.folder_library = Library(folder)
            pages = self._pages()
            super().__init__(self._call, port, None if sharing is None else sharing.address)
        except BaseException:
            self.lock.release()
            raise
        self.sharing.port = self.port
        self.gate = Gate(
            hosts=self.hosts,
            token=self.desk.token,
            routes=[route for page in pages for route in page.routes],
            script_hashes=sorted({one for page in pages for one in page.script_hashes}),
            log=self.faults,
            role_of=self.sharing.role,
        )
        self.lock.tell(self.url)

    def _call(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        return self.gate(environ, start)

    def _pages(self) -> list[DeskPage]:
        """Every page of the desk; the gate takes the first route that fits."""
        return [
            home_page(self.desk, self.drafts, self.devices, self.hub, self.folder_library),
            rig_pages(self.desk, self.drafts, FolderCells(self.desk, self.sensors.store)),
            page_of(self.sensors),
            check_page(self.desk),
            convert_page(self.desk),
            haul_page(self.desk),
            sessions_page(self.desk, self.folder_library),
            self._session_pages(),
        ]

    def _session_pages(self) -> DeskPage:
        """The live page and the review of every session, entry, scripts and styles."""
        from dashboard.desk.strip import strip_of
        from dashboard.live.page_shell import make
        from dashboard.review.routes import routes as review
        from dashboard.watch.entry_routes import routes as entrance
        from dashboard.watch.live_routes import live_routes

        app = make(self.desk.token, strip_of(self.desk, "Haul"), LIVE, "/result/")
        routes: list[Route] = [
            *live_routes(self.hub, app, LIVE),
            *review(self.hub),
            *entrance(self.sharing),
            assets.route(*assets.SUBJECTS),
        ]
        return DeskPage(tuple(routes), tuple(app.csp_hashes()))

    def end(self) -> None:
        """Let go of sessions, virtual devices and the folder; a recorder goes on."""
        let_go(self.desk.folder)
        self.hub.close()
        self.devices.end()
        self.sensors.close()
        self.folder_library.close()
        self.lock.release()
