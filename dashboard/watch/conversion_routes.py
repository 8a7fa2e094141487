"""The routes of a planned conversion on the live page: what is planned, plan one, mark a move."""

from __future__ import annotations

import re
from pathlib import Path

from dashboard.live.conversion_choices import wanted_rig, wanted_rigs
from dashboard.live.conversion_wire import ConversionChoice
from dashboard.live.session_hub import Hub
from dashboard.live.state_feed import encode
from dashboard.live.watcher import Watch
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

LEAST_WIDTH, MOST_WIDTH = 320, 1400  # of a drawing, px
STEP = re.compile(r"[1-9][0-9]{0,3}")


def conversion_routes(hub: Hub) -> list[Route]:
    """The routes; they stand before the general one of `/act/`."""
    pages = ConversionPages(hub)
    return [
        Route("GET", re.compile("/conversion"), pages.planned),
        Route("POST", re.compile("/act/(convert)"), pages.open, who=OPERATOR),
        Route("POST", re.compile("/act/(move)"), pages.move, who=OPERATOR),
    ]


class ConversionPages:
    """The handlers of the routes.  hub: the session or the folder that the server shows."""

    def __init__(self, hub: Hub) -> None:
        self.hub = hub

    @property
    def _folder(self) -> Path | None:
        return self.hub.folder if self.hub.many else None

    def _watch(self, name: str) -> Watch:
        watch = self.hub.get(name)
        if watch is None:
            raise Refused(404, "no such session")
        return watch

    def planned(self, request: WebRequest) -> Answer:
        """The planned conversion of a session; with `choices=1` also the rigs that may be chosen."""
        width = asked_int(request.query, "w")
        if not LEAST_WIDTH <= width <= MOST_WIDTH:
            raise Refused(400, f"w must be a width from {LEAST_WIDTH} to {MOST_WIDTH}")
        watch = self._watch(request.query.get("s", ""))
        rigs = wanted_rigs(self._folder, self.hub.rigs) if "choices" in request.query else []
        choices = [ConversionChoice(name=one.name, title=one.title) for one in rigs]
        return Answer(200, encode(watch.conversion.answer(width, choices)), JSON)

    def open(self, request: WebRequest) -> Answer:
        """Plan the conversion into the rig that is asked for."""
        asked = asked_texts(request.body, ("rig", "s"))
        watch = self._watch(asked.get("s", ""))
        watch.conversion.open(wanted_rig(self._folder, self.hub.rigs, asked.get("rig", "")))
        return Answer(202, encode({}), JSON)

    def move(self, request: WebRequest) -> Answer:
        """Put a move into the session's inbox, and with the last one the new rig."""
        asked = asked_texts(request.body, ("step", "s"))
        watch = self._watch(asked.get("s", ""))
        step = asked.get("step", "")
        if not STEP.fullmatch(step):
            raise Refused(400, "step is the number of a move, from 1")
        ids = watch.conversion.act(int(step), request.role or "viewer")
        return Answer(202, encode({"id": ids[0], "ids": ids}), JSON)
