"""Adds the page of conversions to the desk, at /convert/; the two rigs are in the query, so a list has an address."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from dashboard.conversion.changes import change_rows, loaded_rows, ratios
from dashboard.conversion.drawn_moves import drawn_moves, drawn_rig, inside_html
from dashboard.convert_page.plans import OfferedRig, chosen_rig, offered, planned
from dashboard.desk.desk_page import Desk, DeskPage
from dashboard.desk.strip import strip_values
from dashboard.text.cautions import CAUTIONS
from dashboard.text.templates import render, svg_markup
from dashboard.web.gate import HTML, Answer, Route, WebRequest
from logger.errors import UserFault

WIDTH = 440  # pixels of a drawing: as on paper, and on a phone without much shrinking


def desk_page(desk: Desk) -> DeskPage:
    """The page, and nothing else: what it asks for are the assets of all pages."""

    def answer(request: WebRequest) -> Answer:
        """The page of the two rigs in the query, or the choice of them."""
        html = convert_html(desk, request.query.get("a", ""), request.query.get("b", ""))
        return Answer(200, html.encode("utf-8", "replace"), HTML)

    return DeskPage((Route("GET", re.compile("/convert/"), answer),))


def convert_html(desk: Desk, a: str, b: str) -> str:
    """The page; a, b: keys of the rig that stands and of the one that is wanted, "" before they are chosen.

    Raises Refused while another conversion is worked out.
    """
    stands, wanted = offered(desk.folder)
    values: dict[str, Any] = {"a": a, "b": b, "stands": stands, "wanted": wanted, "fault": "", "plan": None}  # fmt: skip
    if a and b:
        try:
            values["plan"] = _plan(desk, chosen_rig(stands, a), chosen_rig(wanted, b))
        except UserFault as fault:
            values["fault"] = str(fault)
    return render(
        "convert_page/page.html.j2", cautions=CAUTIONS, **values, **strip_values(desk, "Rig")
    )


def _plan(desk: Desk, rig: OfferedRig, other: OfferedRig) -> dict[str, Any]:
    """What the page shows of a conversion."""
    made, units = planned(rig, other), desk.units
    before, after = ratios(made)
    moves = drawn_moves(made, units, WIDTH)
    count = f"{len(moves)} move{'' if len(moves) == 1 else 's'}"
    return {
        "title": f"From {rig.title} to {other.title}",
        "ratio": f"Ideal advantage {before} to {after}, {count}, the load held after each",
        "why": "" if made.why_not is None else made.why_not.text(units),
        "changes": change_rows(made, units),
        "loaded": loaded_rows(made),
        "warnings": [one.text(units) for one in made.warnings],
        "start": svg_markup(inside_html(drawn_rig(rig.text, WIDTH))),
        "moves": [replace(one, svg=svg_markup(inside_html(one.svg))) for one in moves],
    }
