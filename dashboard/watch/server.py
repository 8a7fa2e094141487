"""The server of `haul watch`: one process that listens on one address, with the gate before every
route."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Iterable
from typing import Any

from dashboard.live.session_hub import Hub
from dashboard.watch.live_routes import live_routes
from dashboard.web import assets
from dashboard.web.gate import HTML, Answer, Gate, Route, WebRequest
from dashboard.web.listener import HOST, Listening
from dashboard.web.listener import FaultLog as FaultLog
from dashboard.web.sharing import Sharing


class Server(Listening):
    """Serves the live page, the review page and the list of sessions through the gate.

    hub: the session or the folder to show; port: 0 for any that is free; sharing: the address to
    listen on and its codes, None: loopback, where anybody may look.  Raises CallFault where the address or
    the port cannot be used.
    """

    def __init__(self, hub: Hub, port: int = 0, sharing: Sharing | None = None) -> None:
        from dashboard.live.page_shell import make

        self.hub = hub
        self.sharing = Sharing(HOST, shared=False) if sharing is None else sharing
        self.token = secrets.token_urlsafe(24)
        self.faults = hub.log
        app = make(self.token)
        super().__init__(self._call, port, None if sharing is None else sharing.address)
        self.sharing.port = self.port
        self.gate = Gate(
            hosts=self.hosts, token=self.token, routes=self._routes(app), script_hashes=app.csp_hashes(), log=self.faults,
            role_of=self.sharing.role,
        )  # fmt: skip

    def _call(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        return self.gate(environ, start)

    # -- routes --------------------------------------------------------------------------------
    def _routes(self, app: Any) -> list[Route]:
        from dashboard.review.routes import routes as review
        from dashboard.watch.entry_routes import routes as entrance

        routes = [
            *live_routes(self.hub, app),
            assets.route("live", "review", "shared"),
            *review(self.hub),
        ]
        if self.hub.many:
            routes.append(Route("GET", re.compile("/"), self._list))
        return routes + entrance(self.sharing)

    def _list(self, request: WebRequest) -> Answer:
        from dashboard.watch.session_list import page

        html = page(self.hub.folder, takes_code=not self.sharing.shared)
        return Answer(200, html.encode("utf-8", "replace"), HTML)
