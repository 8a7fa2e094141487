"""Renders the empty review page; its scripts ask for the contents and insert them as text."""

from __future__ import annotations

from dashboard.text.cautions import CAUTIONS
from dashboard.text.templates import render
from dashboard.web import assets
from logger.errors import one_line

ENTRY = "review/review.js"


def page(name: str, units: str = "metric") -> str:
    """The HTML of the page.  name: the session's folder; units: the system of units it opens with."""
    return render(
        "review/page.html.j2",
        name=one_line(name, 120),
        units=units,
        cautions=CAUTIONS,
        asset=assets.address,
        entry=ENTRY,
        modules=assets.imports(ENTRY),
    )
