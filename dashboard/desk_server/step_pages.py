"""Where a step of the job leads that has nothing to show: a sentence, and the way on."""

from __future__ import annotations

import re
from dataclasses import dataclass

from dashboard.desk.desk_page import Desk, DeskPage
from dashboard.desk.folder import running
from dashboard.desk.strip import session_address, strip_values
from dashboard.live.session_hub import sessions_in
from dashboard.text.templates import render
from dashboard.web.gate import HTML, Answer, Route, WebRequest


@dataclass(frozen=True)
class StepNotice:
    """What is said of a step, and where one goes from there."""

    title: str  # of the page
    text: str  # one sentence
    ways: tuple[tuple[str, str], ...]  # (address, label)


def haul_page(desk: Desk) -> DeskPage:
    """The page of the step Haul: leads to the session that is being recorded, or says that none is."""

    def answer(request: WebRequest) -> Answer:
        """The page."""
        return Answer(200, notice_html(desk, "Haul", _haul(desk)).encode("utf-8", "replace"), HTML)

    return DeskPage((Route("GET", re.compile("/haul/"), answer),))


def _haul(desk: Desk) -> StepNotice:
    name = running(desk.folder)
    if name is not None:
        return StepNotice(
            "Haul", f"{name} is being recorded.", ((session_address(name), "Look at the haul"),)
        )
    ways = [("/check/", "Check before the pull")]
    last = next(iter(sessions_in(desk.folder)), None)
    if last is not None:
        ways.append((session_address(last), f"Look at {last}"))
    return StepNotice("Haul", "Nothing is being recorded now.", tuple(ways))


def notice_html(desk: Desk, here: str, notice: StepNotice) -> str:
    """The HTML of the page; here: the step of the job, as `strip_values` takes it."""
    return render("desk_server/notice.html.j2", notice=notice, **strip_values(desk, here))
