"""What sharing adds to the page's routes: the entry page and its script, which alone are open to
anyone, and the operator's page with the link for others."""

from __future__ import annotations

import re
from html import escape
from pathlib import Path

from dashboard.live.state_feed import encode
from dashboard.web import qr
from dashboard.web.gate import ANYONE, HTML, JSON, OPERATOR, Answer, Route, WebRequest, asked_texts
from dashboard.web.sharing import Sharing

FILES = Path(__file__).parents[1] / "entry"
SCRIPT = "text/javascript; charset=utf-8"


def routes(sharing: Sharing) -> list[Route]:
    """The routes of one run's sharing."""
    page, script = ((FILES / name).read_bytes() for name in ("enter.html", "enter.js"))
    show = (FILES / "share.html").read_text("utf-8")
    at = re.compile

    def enter(request: WebRequest) -> Answer:
        code = asked_texts(request.body, ("code",)).get("code", "")
        role, cookie = sharing.enter(code, request.environ)
        return Answer(200, encode({"role": role}), JSON, cookie=cookie)

    def share(request: WebRequest) -> Answer:
        return Answer(200, show.replace("URL", escape(sharing.url("viewer"))).encode(), HTML)

    def picture(request: WebRequest) -> Answer:
        return Answer(200, qr.svg(sharing.url("viewer")), "image/svg+xml")

    return [
        Route("GET", at("/enter"), lambda _: Answer(200, page, HTML), who=ANYONE),
        Route("GET", at(r"/enter\.js"), lambda _: Answer(200, script, SCRIPT), who=ANYONE),
        Route("POST", at("/enter"), enter, who=ANYONE, token=False),
        Route("GET", at("/share"), share, who=OPERATOR),
        Route("GET", at(r"/share\.svg"), picture, who=OPERATOR),
    ]
