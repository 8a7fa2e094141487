"""The page's server: one address (loopback, if none is shared), one process, every route behind the gate."""

from __future__ import annotations

import errno
import os
import re
import secrets
import socket
import tempfile
import threading
import time
import traceback
from collections.abc import Callable, Iterable
from contextlib import suppress
from html import escape
from pathlib import Path
from typing import Any

from dashboard.board import SPANS, encode
from dashboard.gate import (
    ANYONE, HTML, JSON, OPERATOR, Answer, Gate, Refused, Request, Route, asked_int,
)
from dashboard.hub import Hub
from dashboard.sharing import Sharing
from logger.errors import CallFault, one_line

HOST = "127.0.0.1"
SCRIPT = "text/javascript; charset=utf-8"
VERBS = ("mark", "undo", "zero", "end")
ASSETS = Path(__file__).parent / "assets"
ENTRY = Path(__file__).parent / "entry"
THREADS = 6
MOST_LOGGED = 50


class FaultLog:
    """Traces of our own faults in one file of the temporary folder, made at the first of them."""

    def __init__(self) -> None:
        self.path: Path | None = None
        self._count = 0
        self._lock = threading.Lock()

    def __call__(self, error: Exception) -> None:
        with self._lock, suppress(OSError):
            self._count += 1
            if self._count > MOST_LOGGED:
                return
            if self.path is None:
                handle, name = tempfile.mkstemp(prefix="haul-page-", suffix=".log")
                os.close(handle)
                self.path = Path(name)
            with self.path.open("a", encoding="utf-8", errors="replace") as log:
                log.write(time.strftime("%Y-%m-%dT%H:%M:%S\n"))
                traceback.print_exception(error, file=log)


class Server:
    """Waitress with the gate in front.  url: what to open; token: what actions have to carry.

    sharing: the address to listen on and the codes that let in; None: loopback, without codes.
    Raises CallFault where the address or the port cannot be used.
    """

    def __init__(self, hub: Hub, port: int = 0, sharing: Sharing | None = None) -> None:
        from dashboard.app import make
        from dashboard.connections import PageServer

        self.hub, self.sharing = hub, sharing
        self.token = secrets.token_urlsafe(24)
        self.faults = hub.log
        app = make(self.token)
        app.server.test_client().get("/")  # so that Dash knows what its page will ask for
        listening = _listen(HOST if sharing is None else sharing.address, port, sharing is not None)
        self._waitress = PageServer(self._call, listening, THREADS)
        self.port = int(listening.getsockname()[1])
        if sharing is None:
            self.url = f"http://{HOST}:{self.port}/"
            hosts = {f"{HOST}:{self.port}", f"localhost:{self.port}"}
        else:
            sharing.port = self.port
            self.url = f"http://{sharing.host}/"
            hosts = {sharing.host}
        if self.port == 80:  # which browsers leave out
            hosts |= {host.removesuffix(":80") for host in hosts}
        self.gate = Gate(
            frozenset(hosts), self.token, self._routes(app), app.csp_hashes(), self.faults,
            (lambda environ: OPERATOR) if sharing is None else sharing.role,
        )  # fmt: skip

    def run(self) -> None:
        """Serve until `close`."""
        self._waitress.run()

    def close(self) -> None:
        """End `run`, from another thread."""
        from waitress import wasyncore

        held = self._waitress
        held.task_dispatcher.shutdown(timeout=1.0)
        # in the thread that serves, between two rounds of its loop
        held.trigger.pull_trigger(lambda: wasyncore.close_all(held._map, ignore_all=True))

    def _call(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        return self.gate(environ, start)

    # -- routes --------------------------------------------------------------------------------
    def _routes(self, app: Any) -> list[Route]:
        flask = app.server.wsgi_app
        files = "|".join(re.escape(p.name) for p in sorted(ASSETS.iterdir()) if p.is_file())
        at = re.compile
        routes = [
            Route("GET", at("/since"), self._since),
            Route("POST", at("/act/([a-z]{1,20})"), self._act, who=OPERATOR),
            Route("GET", at("/who"), self._who),
            Route("GET", at("/_dash-(layout|dependencies)"), app=flask),
            Route("GET", at(r"/_dash-component-suites/(dash|plotly)(/[A-Za-z0-9_@-][A-Za-z0-9_.@-]*)+"),
                  app=_registered_only(flask), keep=True),
            Route("GET", at(f"/assets/({files})"), app=flask, keep=True),
            Route("GET", at("/_favicon.ico"), app=flask, keep=True),
        ]  # fmt: skip
        if self.hub.many:
            page = _page(flask, self.hub)
            routes += [
                Route("GET", at("/"), self._list),
                Route("GET", at(r"/s/([^/]{1,255})/"), app=page),
            ]
        else:
            routes.append(Route("GET", at("/"), app=flask))
        return routes if self.sharing is None else [*routes, *sharing_routes(self.sharing)]

    def _who(self, request: Request) -> Answer:
        shared = self.sharing is not None
        return Answer(200, encode({"role": request.role, "shared": shared}), JSON)

    def _list(self, request: Request) -> Answer:
        from dashboard.session_list import page

        return Answer(200, page(self.hub.folder).encode("utf-8", "replace"), HTML)

    def _since(self, request: Request) -> Answer:
        query = request.query
        seq, version = asked_int(query, "seq"), asked_int(query, "v")
        span = query.get("span", "60")
        if span not in SPANS:
            raise Refused(400, "span is " + ", ".join(SPANS))
        watch = self.hub.get(query.get("s", ""))
        if watch is None:
            raise Refused(404, "no such session")
        return Answer(200, watch.since(seq, version, span), JSON)

    def _act(self, request: Request) -> Answer:
        from logger.inbox import ask

        verb = request.match[1]
        if verb not in VERBS:
            raise Refused(404, "no such action")
        asked = _object(request.body)
        watch = self.hub.get(asked.get("s", ""))
        if watch is None:
            raise Refused(404, "no such session")
        name = ask(
            watch.path, verb, asked.get("channel", ""), one_line(asked.get("text", "")),
            role=request.role or "viewer",  # the recorder obeys an operator alone, whatever comes here
        )  # fmt: skip
        return Answer(202, encode({"id": name}), JSON)


def _listen(address: str, port: int, shared: bool) -> socket.socket:
    """A socket that listens there alone; raises CallFault."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    try:
        return socket.create_server((address, port), family=family)
    except OSError as error:
        if shared and error.errno in (errno.EADDRNOTAVAIL, errno.EAFNOSUPPORT):
            raise CallFault(
                "--share", f"{address} is no address of this machine", "give one that it has"
            ) from None
        raise CallFault(
            "--http", f"port {port} of {address} cannot be used ({error.strerror})",
            "give another, or 0 for a free one",
        ) from None


def sharing_routes(sharing: Sharing) -> list[Route]:
    """The small entry page and its script, which alone are open, and the picture for the operator."""
    from dashboard import qr

    page, script = ((ENTRY / name).read_bytes() for name in ("enter.html", "enter.js"))
    show = (ENTRY / "share.html").read_text("utf-8")
    at = re.compile

    def enter(request: Request) -> Answer:
        code = _object(request.body, ("code",)).get("code", "")
        role, cookie = sharing.enter(code, request.environ)
        return Answer(200, encode({"role": role}), JSON, cookie=cookie)

    def share(request: Request) -> Answer:
        return Answer(200, show.replace("URL", escape(sharing.url("viewer"))).encode(), HTML)

    def picture(request: Request) -> Answer:
        return Answer(200, qr.svg(sharing.url("viewer")), "image/svg+xml")

    return [
        Route("GET", at("/enter"), lambda _: Answer(200, page, HTML), who=ANYONE),
        Route("GET", at(r"/enter\.js"), lambda _: Answer(200, script, SCRIPT), who=ANYONE),
        Route("POST", at("/enter"), enter, who=ANYONE, token=False),
        Route("GET", at("/share"), share, who=OPERATOR),
        Route("GET", at(r"/share\.svg"), picture, who=OPERATOR),
    ]


def _object(body: bytes, known: tuple[str, ...] = ("channel", "text", "s")) -> dict[str, str]:
    """A JSON object of texts; raises Refused."""
    import json

    try:
        found = json.loads(body.decode("utf-8"))
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict) or not all(
        key in known and isinstance(value, str) for key, value in found.items()
    ):
        raise Refused(400, "send one JSON object with the texts " + ", ".join(known))
    return found


def _registered_only(app: Callable[..., Any]) -> Callable[..., Any]:
    """The component files that Dash knows, and no other file of a package."""
    from dash.exceptions import DependencyException

    def call(environ: dict[str, Any], start: Callable[..., Any]) -> Any:
        try:
            return app(environ, start)
        except (DependencyException, OSError):
            raise Refused(404, "nothing is here") from None

    return call


def _page(app: Callable[..., Any], hub: Hub) -> Callable[..., Any]:
    """The shell under the address of one session of a folder."""

    def call(environ: dict[str, Any], start: Callable[..., Any]) -> Any:
        name = environ["PATH_INFO"].encode("latin-1", "replace").decode("utf-8", "replace")[3:-1]
        if hub.get(name) is None:
            raise Refused(404, "no such session")
        return app({**environ, "PATH_INFO": "/", "QUERY_STRING": ""}, start)

    return call
