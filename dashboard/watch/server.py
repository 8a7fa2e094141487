"""The server of `haul watch`: one process that listens on one address, with the gate before every
route."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Iterable
from typing import Any

from dashboard.live.session_hub import Hub
from dashboard.live.state_feed import SPANS, encode
from dashboard.web import assets
from dashboard.web.gate import (
    HTML,
    JSON,
    OPERATOR,
    Answer,
    Gate,
    Refused,
    Route,
    WebRequest,
    asked_int,
    asked_texts,
)
from dashboard.web.listener import HOST, Listening
from dashboard.web.listener import FaultLog as FaultLog
from dashboard.web.sharing import Sharing
from logger.errors import one_line

VERBS = ("mark", "undo", "zero", "ack", "end")
MOST_RIG = 60_000  # bytes of a rig file that a page sends
LEAST_WIDTH, MOST_WIDTH = 320, 1400  # of the drawing of the rig, px


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
        app.server.test_client().get(
            "/"
        )  # Dash registers the component files of its page with the first request
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
        flask = app.server.wsgi_app
        at = re.compile
        routes = [
            Route("GET", at("/since"), self._since),
            Route("GET", at("/rig"), self._rig),
            Route("POST", at("/act/(rig)"), self._act_rig, who=OPERATOR, most=MOST_RIG),
            Route("POST", at("/act/([a-z]{1,20})"), self._act, who=OPERATOR),
            Route("GET", at("/who"), self._who),
            Route("GET", at("/_dash-(layout|dependencies)"), app=flask),
            Route("GET", at(r"/_dash-component-suites/(dash|plotly)(/[A-Za-z0-9_@-][A-Za-z0-9_.@-]*)+"),
                  app=_registered_only(flask), keep=True),
            assets.route("live", "review", "shared"),
            Route("GET", at("/_favicon.ico"), app=flask, keep=True),
        ]  # fmt: skip
        from dashboard.review.routes import routes as review

        routes += review(self.hub)
        if self.hub.many:
            page = _page(flask, self.hub)
            routes += [
                Route("GET", at("/"), self._list),
                Route("GET", at(r"/s/([^/]{1,255})/"), app=page),
            ]
        else:
            routes.append(Route("GET", at("/"), app=flask))
        from dashboard.watch.entry_routes import routes as entrance

        return routes + entrance(self.sharing)

    def _who(self, request: WebRequest) -> Answer:
        """The role of whoever asks, and whether the page is shared."""
        return Answer(200, encode({"role": request.role, "shared": self.sharing.shared}), JSON)

    def _list(self, request: WebRequest) -> Answer:
        from dashboard.watch.session_list import page

        html = page(self.hub.folder, takes_code=not self.sharing.shared)
        return Answer(200, html.encode("utf-8", "replace"), HTML)

    def _since(self, request: WebRequest) -> Answer:
        """What changed on the live page since the version that the query names."""
        query = request.query
        seq, version = asked_int(query, "seq"), asked_int(query, "v")
        span = query.get("span", "60")
        if span not in SPANS:
            raise Refused(400, "span must be one of " + ", ".join(SPANS))
        watch = self.hub.get(query.get("s", ""))
        if watch is None:
            raise Refused(404, "no such session")
        return Answer(200, watch.since(seq, version, span), JSON)

    def _rig(self, request: WebRequest) -> Answer:
        """A drawing of the rig with its bodies where they are now; names in it are escaped."""
        width = asked_int(request.query, "w")
        if not LEAST_WIDTH <= width <= MOST_WIDTH:
            raise Refused(400, f"w must be a width from {LEAST_WIDTH} to {MOST_WIDTH}")
        watch = self.hub.get(request.query.get("s", ""))
        if watch is None:
            raise Refused(404, "no such session")
        svg, number = watch.drawing(width)
        return Answer(200, encode({"svg": svg, "g": number}), JSON)

    def _act_rig(self, request: WebRequest) -> Answer:
        """Put a new rig file into the session's inbox; the recorder takes it from there."""
        from logger.recorder.request_inbox import ask_rig_text

        asked = asked_texts(request.body, ("text", "s"))
        watch = self.hub.get(asked.get("s", ""))
        if watch is None:
            raise Refused(404, "no such session")
        name = ask_rig_text(watch.path, asked.get("text", ""), request.role or "viewer")
        return Answer(202, encode({"id": name}), JSON)

    def _act(self, request: WebRequest) -> Answer:
        """Put an operator's mark, zero, acknowledgement ... into the session's inbox."""
        from logger.recorder.request_inbox import ask

        verb = request.match[1]
        if verb not in VERBS:
            raise Refused(404, "no such action")
        asked = asked_texts(request.body, ("channel", "text", "s"))
        watch = self.hub.get(asked.get("s", ""))
        if watch is None:
            raise Refused(404, "no such session")
        name = ask(
            watch.path, verb, asked.get("channel", ""), one_line(asked.get("text", "")),
            role=request.role or "viewer",  # the recorder checks the role again: it obeys operators alone
        )  # fmt: skip
        return Answer(202, encode({"id": name}), JSON)


def _registered_only(app: Callable[..., Any]) -> Callable[..., Any]:
    """The application, limited to the component files that Dash has registered."""
    from dash.exceptions import DependencyException

    def call(environ: dict[str, Any], start: Callable[..., Any]) -> Any:
        """The WSGI application.  Raises Refused for any other file."""
        try:
            return app(environ, start)
        except (DependencyException, OSError):
            raise Refused(404, "nothing is here") from None

    return call


def _page(app: Callable[..., Any], hub: Hub) -> Callable[..., Any]:
    """The live page under the address of one session of a folder."""

    def call(environ: dict[str, Any], start: Callable[..., Any]) -> Any:
        """The WSGI application.  Raises Refused where there is no such session."""
        name = environ["PATH_INFO"].encode("latin-1", "replace").decode("utf-8", "replace")[3:-1]
        if hub.get(name) is None:
            raise Refused(404, "no such session")
        return app({**environ, "PATH_INFO": "/", "QUERY_STRING": ""}, start)

    return call
