"""Renders the empty plan page for one rig or two; its script asks for the contents."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.mechanics.what_if import LEAST_E, MOST_E
from dashboard.plan.planned_rig import PlannedRig
from dashboard.text.cautions import CAUTIONS
from dashboard.text.templates import render
from dashboard.web import assets

ENTRY = "plan/plan.js"


def page(plans: Sequence[PlannedRig], units: str, editable: bool = False) -> str:
    """The HTML of the page.  units: the system of units it opens with; editable: link to the rig page."""
    rigs = [{"name": p.rig.title or p.path.name, "file": p.path.name} for p in plans]
    title = " beside ".join(rig["name"] for rig in rigs)
    return render(
        "plan/page.html.j2",
        title=title,
        rigs=rigs,
        units=units,
        editable=editable,
        least_e=LEAST_E,
        most_e=MOST_E,
        cautions=CAUTIONS,
        asset=assets.address,
        entry=ENTRY,
        modules=assets.imports(ENTRY),
    )
