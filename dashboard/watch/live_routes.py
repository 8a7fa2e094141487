"""The routes of the live page: what is new of a session, its drawing, and what an operator says to its recorder."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from dashboard.live.session_hub import Hub
from dashboard.live.state_feed import SPANS, encode
from dashboard.watch.conversion_routes import conversion_routes
from dashboard.web.dash_page import dash_routes
from dashboard.web.gate import (
    JSON,
    OPERATOR,
    Answer,
    Refused,
    Route,
    WebRequest,
    asked_int,
    asked_texts,
)
from logger.errors import one_line
from logger.formats.base import A_NUMBER

VERBS = ("mark", "undo", "zero", "ack", "end")
MOST_NUMBER = 40  # characters of a number that a person enters
MOST_RIG = 60_000  # bytes of a rig file that a page sends
LEAST_WIDTH, MOST_WIDTH = 320, 1400  # of the drawing of the rig, px


def live_routes(hub: Hub, app: Any, prefix: str = "/") -> list[Route]:
    """The routes of the live pages of a session or of a folder of sessions.

    app: as `page_shell.make` gives it, with the same prefix of its addresses.
    """
    pages = LivePages(hub)
    at = re.compile
    whole, *below = dash_routes(app, {}, prefix)
    if hub.many:
        page = Route("GET", at(r"/s/([^/]{1,255})/"), app=_page(app.server.wsgi_app, hub))
    else:
        page = whole
    return [
        page,
        Route("GET", at("/since"), pages.since),
        Route("GET", at("/rig"), pages.rig),
        Route("GET", at("/rigs"), pages.rigs),
        Route("POST", at("/act/(rig)"), pages.act_rig, who=OPERATOR, most=MOST_RIG),
        Route("POST", at("/act/(hand)"), pages.act_hand, who=OPERATOR),
        *conversion_routes(hub),
        Route("POST", at("/act/([a-z]{1,20})"), pages.act, who=OPERATOR),
        *below,
    ]


class LivePages:
    """The handlers of the routes.  hub: the session or the folder that the server shows."""

    def __init__(self, hub: Hub) -> None:
        self.hub = hub

    def since(self, request: WebRequest) -> Answer:
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

    def rig(self, request: WebRequest) -> Answer:
        """A drawing of the rig with its bodies where they are now; names in it are escaped."""
        width = asked_int(request.query, "w")
        if not LEAST_WIDTH <= width <= MOST_WIDTH:
            raise Refused(400, f"w must be a width from {LEAST_WIDTH} to {MOST_WIDTH}")
        watch = self.hub.get(request.query.get("s", ""))
        if watch is None:
            raise Refused(404, "no such session")
        svg, number = watch.drawing(width)
        return Answer(200, encode({"svg": svg, "g": number}), JSON)

    def rigs(self, request: WebRequest) -> Answer:
        """The rig files beside the sessions of a folder; none for a single session."""
        from dashboard.live.rig_files import rig_files

        rigs = rig_files(self.hub.folder) if self.hub.many else []
        return Answer(200, encode({"rigs": rigs}), JSON)

    def act_rig(self, request: WebRequest) -> Answer:
        """Put a new rig file into the session's inbox; the recorder takes it from there.

        `text` is the file's text; `file` in its place names one that `/rigs` lists.
        """
        from dashboard.live.rig_files import rig_text
        from logger.recorder.request_inbox import ask_rig_text

        asked = asked_texts(request.body, ("text", "file", "s"))
        watch = self.hub.get(asked.get("s", ""))
        if watch is None:
            raise Refused(404, "no such session")
        text = asked.get("text", "")
        if "file" in asked:
            if not self.hub.many:
                raise Refused(404, "no such rig")
            text = rig_text(self.hub.folder, asked["file"])
        name = ask_rig_text(watch.path, text, request.role or "viewer")
        return Answer(202, encode({"id": name}), JSON)

    def act_hand(self, request: WebRequest) -> Answer:
        """Put a number that an operator enters into the session's inbox, with this moment."""
        from logger.recorder.request_inbox import ask

        asked = asked_texts(request.body, ("channel", "value", "s"))
        watch = self.hub.get(asked.get("s", ""))
        if watch is None:
            raise Refused(404, "no such session")
        number = asked.get("value", "")
        if len(number) > MOST_NUMBER or not A_NUMBER.fullmatch(number.encode("utf-8", "replace")):
            raise Refused(400, "write a number with a decimal point, such as 12.5")
        name = ask(
            watch.path, "hand", asked.get("channel", ""), role=request.role or "viewer",
            hand={"time_s": round(watch.time_s(), 3), "value": float(number)},
        )  # fmt: skip
        return Answer(202, encode({"id": name}), JSON)

    def act(self, request: WebRequest) -> Answer:
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


def _page(app: Callable[..., Any], hub: Hub) -> Callable[..., Any]:
    """The live page under the address of one session of a folder."""

    def call(environ: dict[str, Any], start: Callable[..., Any]) -> Any:
        """The WSGI application.  Raises Refused where there is no such session."""
        name = environ["PATH_INFO"].encode("latin-1", "replace").decode("utf-8", "replace")[3:-1]
        if hub.get(name) is None:
            raise Refused(404, "no such session")
        return app({**environ, "PATH_INFO": "/", "QUERY_STRING": ""}, start)

    return call
