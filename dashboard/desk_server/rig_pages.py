"""The rig pages of the folder: a draft for each rig file, and new rigs."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable

from dashboard.desk.desk_page import Desk, DeskPage
from dashboard.desk.folder import TOML, checked_name, draft_names, files_in, within
from dashboard.desk.strip import strip_of
from dashboard.rig_page.acts import made
from dashboard.rig_page.draft_store import DraftStore
from dashboard.rig_page.places.cells import CellKeeper
from dashboard.rig_page.routes import make
from dashboard.web.dash_page import dash_routes, name_now
from dashboard.web.gate import Refused
from logger.errors import CallFault, UserFault

MOST_OPEN = 12  # drafts in memory; the others are on disk
ADDRESS = "/rig/"
ROPE = "rope"  # name of a new rig that begins with an empty rope
# what a rig may begin with that is on no shelf -> the act of the rig page that makes it
EMPTY = {"load": ["begin", "load"], "anchor": ["begin", "anchor"]}


class RigDrafts:
    """The drafts of the folder's rigs, each opened when its page is.  Safe for several threads."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._open: OrderedDict[str, DraftStore] = OrderedDict()
        self._lock = threading.Lock()

    def store(self, name: str) -> DraftStore:
        """The draft of the rig file of this name.  Raises CallFault for a name that is not allowed, RigFault
        for a file that can't be read, Refused where there is neither a file nor a draft."""
        path = within(self.desk.folder, name, TOML)
        with self._lock:
            if name in self._open:
                self._open.move_to_end(name)
                return self._open[name]
            if not path.exists() and name not in draft_names(self.desk.folder):
                raise Refused(404, "there is no such rig in the folder")
            return self._opened(name)

    def begin(self, name: str, what: str) -> str:
        """Make a new rig and return its name.

        name: as typed, "" for that of what it begins with; what: "load" or "anchor" for an empty rope tied
        there, else the file of a rig of the shelf.  A rig that can work is written as a file; an empty rope is a draft until
        it can.  Raises CallFault for a name that is not allowed or taken, and for no such rig.
        """
        values = EMPTY.get(what, ["shelf", what])
        name = checked_name(name).removesuffix(TOML) if name.strip() else self._free(what)
        with self._lock:
            path = within(self.desk.folder, name, TOML)
            if path.exists() or name in draft_names(self.desk.folder):
                raise CallFault(name, "is a rig of the folder already", "give another name")
            store = self._opened(name)
        try:
            store.change(store.state().version, lambda draft: made(draft, list(values)))
            if what not in EMPTY:
                store.save()
        except UserFault:
            with self._lock:
                self._open.pop(name, None)
            raise
        return name

    def _opened(self, name: str) -> DraftStore:
        store = DraftStore(within(self.desk.folder, name, TOML))
        if not store.path.exists():
            store.take_offered(True)  # there is nothing else to go on with
        self._open[name] = store
        while len(self._open) > MOST_OPEN:
            self._open.popitem(last=False)
        return store

    def _free(self, what: str) -> str:
        """A name that no rig of the folder has."""
        base = ROPE if what in EMPTY else checked_name(what, TOML).removesuffix(TOML)
        taken = {one.name for one in files_in(self.desk.folder).rigs}
        names = (base, *(f"{base} {k}" for k in range(2, len(taken) + 3)))
        return next(name for name in names if name not in taken)


def rig_pages(desk: Desk, drafts: RigDrafts, cells: CellKeeper) -> DeskPage:
    """The page of every rig of the folder, each under its name; cells: of the folder's sensors file."""

    def store() -> DraftStore:
        """The draft that a request is about."""
        return drafts.store(name_now())

    top: Callable[[], str] = strip_of(desk, "Rig")
    app, roles = make(store, desk.units, desk.token, ADDRESS, top, cells)
    routes = dash_routes(app, roles, ADDRESS, named=drafts.store)
    return DeskPage(tuple(routes), tuple(app.csp_hashes()))
