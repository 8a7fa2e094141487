"""Makes the rig page's Dash application, and its routes behind the gate."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from dashboard.rig_page import layout
from dashboard.rig_page.callbacks import register
from dashboard.rig_page.draft_store import DraftStore
from dashboard.rig_page.places.cells import CellKeeper
from dashboard.text.units import Units
from dashboard.web.dash_page import Shell, shell

ENTRY = "rig/rig.js"
STYLES = ("shared/page.css", "plan/plan.css", "rig/rig.css")


def make(
    store: Callable[[], DraftStore],
    units: Units,
    token: str,
    prefix: str,
    top: Callable[[], str] | None = None,
    keeper: CellKeeper | None = None,
) -> tuple[Shell, dict[str, str]]:
    """The Dash application of the page, and the role of each callback by its output key.

    store: gives the draft that a request is about; prefix, top: as `shell` takes them; keeper: of the sensors
    file, None: the page has none.
    """
    app = shell("rig", prefix, token, ENTRY, STYLES, top)
    app.layout = partial(layout.page, layout.shelf_titles())  # each load has a name of its own
    return app, register(app, store, units, keeper)
