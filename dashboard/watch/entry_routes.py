"""The routes that change a code for a cookie and say which role one has; where the page is shared also the
entry page, and the page with the link for viewers.

The entry page and its script are open to anyone; the page with the link is for operators.
"""

from __future__ import annotations

import re

from dashboard.live.state_feed import encode
from dashboard.text.templates import render
from dashboard.web import assets, qr
from dashboard.web.gate import ANYONE, HTML, JSON, OPERATOR, Answer, Route, WebRequest, asked_texts
from dashboard.web.sharing import Sharing

FILES = assets.FOLDER / "entry"
SCRIPT = assets.KINDS[".js"]


def routes(sharing: Sharing) -> list[Route]:
    """The routes for the codes of one run."""
    page, script = ((FILES / name).read_bytes() for name in ("enter.html", "enter.js"))
    at = re.compile

    def enter(request: WebRequest) -> Answer:
        """Exchange a code for a cookie.  Raises Refused."""
        code = asked_texts(request.body, ("code",)).get("code", "")
        role, cookie = sharing.enter(code, request.environ)
        return Answer(200, encode({"role": role}), JSON, cookie=cookie)

    def share(request: WebRequest) -> Answer:
        """The page with the link for viewers."""
        html = render("watch/share.html.j2", link=sharing.url("viewer"), asset=assets.address)
        return Answer(200, html.encode(), HTML)

    def picture(request: WebRequest) -> Answer:
        """The link for viewers as a QR code."""
        return Answer(200, qr.svg(sharing.url("viewer")), "image/svg+xml")

    def who(request: WebRequest) -> Answer:
        """The role of whoever asks, and whether the page is shared."""
        return Answer(200, encode({"role": request.role, "shared": sharing.shared}), JSON)

    everywhere = [
        Route("POST", at("/enter"), enter, who=ANYONE, token=False),
        Route("GET", at("/who"), who),
    ]
    if not sharing.shared:
        return everywhere
    return [
        *everywhere,
        Route("GET", at("/enter"), lambda _: Answer(200, page, HTML), who=ANYONE),
        Route("GET", at(r"/enter\.js"), lambda _: Answer(200, script, SCRIPT), who=ANYONE),
        Route("GET", at("/share"), share, who=OPERATOR),
        Route("GET", at(r"/share\.svg"), picture, who=OPERATOR),
    ]
