"""The server of `haul plan`: the plan page, and the page on which its first rig is changed."""

from __future__ import annotations

import secrets
from collections.abc import Sequence

from dashboard.plan.planned_rig import PlannedRig
from dashboard.plan.server import Beside, PlanServer
from dashboard.rig_page.draft_store import DraftStore
from dashboard.rig_page.routes import make
from dashboard.text.units import SYSTEMS
from dashboard.watch.entry_routes import routes as entrance
from dashboard.web.dash_page import dash_routes
from dashboard.web.listener import HOST
from dashboard.web.sharing import ROLES, Sharing


class RigServer(PlanServer):
    """Serves the plan page and the rig page to this machine; the printed link alone may change the rig.

    store: the draft of the first rig.
    """

    def __init__(self, plans: Sequence[PlannedRig], units: str = "metric", port: int = 0) -> None:
        self.store = DraftStore(plans[0].path)
        self.sharing = Sharing(HOST, shared=False)
        app, roles = make(lambda: self.store, SYSTEMS[units], secrets.token_urlsafe(24), "/")
        beside = Beside(
            routes=(*dash_routes(app, roles, "/", page="/edit"), *entrance(self.sharing)),
            script_hashes=tuple(app.csp_hashes()),
            role_of=self.sharing.role,
        )
        super().__init__(plans, units, port, beside)
        self.sharing.port = self.port

    @property
    def link(self) -> str:
        """The link of the operator."""
        return self.sharing.url(ROLES[1])
