"""What a page of the desk is given, and what it gives back.

Each package of pages has a function `desk_page`, which takes the Desk and returns a DeskPage; `dashboard/desk_server` calls it once.
All routes of all pages stand behind one gate, so an address belongs to one page:

    /                home
    /rig/            the folder's rigs, and a new one
    /rig/NAME/       rig page of the file NAME.toml; its draft lies in FOLDER/.desk/
    /sensors/        sensors page (`sensors_page`)
    /check/          check before the pull (`check_page`)
    /convert/        make one rig of another with the load held (`convert_page`)
    /haul/           leads to the running session, or says that none runs
    /s/NAME/         live page of a session; /s/NAME/review its review, /since, /act/VERB ... as in `haul watch`
    /result/         result of the last session, /result/NAME/ of one (`sessions_page`)
    /sessions/       all sessions (`sessions_page`)
    /desk/...        what the strip and the home page ask for and do
    /assets/, /enter, /share, /who   as in `haul watch`

A Dash page is made with `dashboard.web.dash_page.shell(..., top=strip_of(desk, "Check"))` and
`dash_routes(app, roles, "/check/")`; a template has `{% include "desk/strip.html.j2" %}` as the first thing in its body
and is rendered with `**strip_values(desk, "Check")`.  `script_hashes` is `app.csp_hashes()` of a Dash page.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from dashboard.text.units import Units
from dashboard.web.gate import Route
from dashboard.web.sharing import Sharing

STORE = ".desk"  # folder within the desk's folder, for drafts and for what is chosen


@dataclass(frozen=True)
class Desk:
    """One run of the desk, as its pages see it."""

    folder: Path  # the only place that is read or written
    units: Units  # in which texts are written
    token: str  # of this run: a page's own POST carries it as X-Haul-Token
    sharing: Sharing  # codes and cookies of this run

    @property
    def store(self) -> Path:
        """The folder for drafts and for what is chosen; made by whoever writes there first."""
        return self.folder / STORE


@dataclass(frozen=True)
class DeskPage:
    """What a package of pages adds to the desk."""

    routes: tuple[Route, ...]  # in the order in which the gate tries them
    script_hashes: tuple[str, ...] = ()  # sources of its inline scripts, for the policy
