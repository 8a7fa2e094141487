"""The routes of the review page: each checks the query and returns the page or its data.

A what-if takes a pulley efficiency, or a rig file by its number among those that were named when
the server was started.  It takes no path, because a page could then read any file of this machine.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from analysis.mechanics.what_if import LEAST_E, MOST_E
from dashboard.live.session_hub import Hub, sessions_in
from dashboard.live.state_feed import encode
from dashboard.review.figures import efficiency, loop, over_time, plain
from dashboard.review.page import page
from dashboard.review.session_review import ReviewNow, Reviews, SessionReview
from dashboard.review.tables import page_data
from dashboard.review.wire import LoopAnswer, ReviewAnswer, WindowAnswer
from dashboard.text.units import SYSTEMS, Units
from dashboard.web.gate import HTML, JSON, Answer, Refused, Route, WebRequest, asked_int

LEAST_SPAN_S = 0.01  # of the window of time
MOST_S = 1e9  # of a time in a query
LEAST_PX, MOST_PX = 100, 4000  # width of the plot over time


def routes(hub: Hub) -> list[Route]:
    """The routes for one session, or for every session of a folder."""
    pages = ReviewPages(hub)
    at = re.compile
    address = r"/s/([^/]{1,255})/review" if hub.many else "/review"
    return [
        Route("GET", at(address), pages.page),
        Route("GET", at("/review-data"), pages.data),
        Route("GET", at("/window"), pages.window),
        Route("GET", at("/loop"), pages.loop),
    ]


class ReviewPages:
    """The handlers of the routes.  hub: the session or the folder that the server shows."""

    def __init__(self, hub: Hub) -> None:
        self.hub = hub
        self.reviews = Reviews(hub.rigs)

    def page(self, request: WebRequest) -> Answer:
        """The empty page."""
        name = request.match[1] if self.hub.many else ""
        self._path(name)  # raises Refused for a wrong name
        return Answer(
            200,
            page(name or self.hub.folder.name, self.hub.shown.name).encode("utf-8", "replace"),
            HTML,
        )

    def data(self, request: WebRequest) -> Answer:
        """All texts and tables of the page, and the plot of efficiency stroke by stroke, as JSON."""
        session, now, units = self._asked(request.query)
        with session.lock:
            begin_s, end_s = session.span()
            content = ReviewAnswer(
                **page_data(now, units),
                from_s=begin_s,
                to_s=end_s,
                efficiency=plain(efficiency(now, units)),
                rigs=[session.named(k) for k in range(len(session.rigs))],
                least_e=LEAST_E,
                most_e=MOST_E,
            )
        return Answer(200, encode(content), JSON)

    def window(self, request: WebRequest) -> Answer:
        """The plot of force and travel between two times, as JSON."""
        session, now, units = self._asked(request.query)
        width_px = min(MOST_PX, max(LEAST_PX, asked_int(request.query, "w") or 1000))
        with session.lock:
            first, last = session.span()
            begin_s = asked_s(request.query, "from", first)
            end_s = asked_s(request.query, "to", last)
            if end_s - begin_s < LEAST_SPAN_S:
                raise Refused(400, f"to must lie at least {LEAST_SPAN_S} s after from")
            # at most one session's length beyond each end: there are no readings out there
            begin_s, end_s = max(begin_s, first - (last - first)), min(end_s, last + (last - first))
            if end_s - begin_s < LEAST_SPAN_S:
                raise Refused(400, f"the session goes from {first:.1f} s to {last:.1f} s")
            figure, traces, note = over_time(session, now, units, begin_s, end_s, width_px)
        content = WindowAnswer(
            from_s=begin_s, to_s=end_s, figure=plain(figure), traces=traces, note=note
        )
        return Answer(200, encode(content), JSON)

    def loop(self, request: WebRequest) -> Answer:
        """The plot of force against travel of one stroke or of all, as JSON."""
        session, now, units = self._asked(request.query)
        stroke = asked_int(request.query, "stroke")
        if stroke > len(now.review["strokes"]):
            raise Refused(404, "no such stroke")
        with session.lock:
            figure, caption = loop(session, now, units, stroke)
        return Answer(200, encode(LoopAnswer(figure=plain(figure), said=caption)), JSON)

    # -- what is asked ---------------------------------------------------------------------------
    def _path(self, name: str) -> Path:
        """The session's folder, looked up by name among those of the hub.  Raises Refused."""
        if not self.hub.many:
            if name:
                raise Refused(404, "no such session")
            return self.hub.folder
        if name not in sessions_in(self.hub.folder):
            raise Refused(404, "no such session")
        return self.hub.folder / name

    def _asked(self, query: Mapping[str, str]) -> tuple[SessionReview, ReviewNow, Units]:
        """The session that a query names, its review under the query's what-if, and the units."""
        units, e, rig = asked_units(query), asked_e(query), asked_rig(query, len(self.hub.rigs))
        session = self.reviews.session(self._path(query.get("s", "")))
        return session, session.reviewed(e, rig), units


def asked_units(query: Mapping[str, str]) -> Units:
    """The system of units that a query asks for, metric if none.  Raises Refused."""
    name = query.get("units", "metric")
    if name not in SYSTEMS:
        raise Refused(400, "units must be " + " or ".join(SYSTEMS))
    return SYSTEMS[name]


def asked_e(query: Mapping[str, str]) -> float | None:
    """The efficiency of every pulley of a what-if; None: the query has none.  Raises Refused."""
    text = query.get("e", "")
    if not text:
        return None
    if not re.fullmatch(r"[01]\.[0-9]{1,4}", text) or not LEAST_E <= float(text) <= MOST_E:
        raise Refused(400, f"e must be a pulley efficiency from {LEAST_E:.2f} to {MOST_E:.2f}")
    return float(text)


def asked_rig(query: Mapping[str, str], many: int) -> int | None:
    """The index of one of the server's `many` rig files; None: the recorded rig.  Raises Refused.

    A query counts the files from 1.
    """
    asked = asked_int(query, "rig")
    if asked > many:
        raise Refused(404, "no such rig: start the server with --rig FILE to offer one")
    return asked - 1 if asked else None


def asked_s(query: Mapping[str, str], name: str, default_s: float) -> float:
    """A time of the session, s; default_s where the query has none.  Raises Refused."""
    text = query.get(name, "")
    if not text:
        return default_s
    if not re.fullmatch(r"-?[0-9]{1,12}(\.[0-9]{1,9})?", text) or not abs(float(text)) < MOST_S:
        raise Refused(400, f"{name} must be a number of seconds")
    return float(text)
