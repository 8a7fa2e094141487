"""Reads and writes where the load cells of the next haul sit, for the rig pages."""

from __future__ import annotations

import hashlib
import threading

from analysis.sensors_edit.channel_edits import SetKeys
from dashboard.desk.chosen import chosen
from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import TOML, within
from dashboard.rig_page.places.cells import ForceChannel, RigCells
from dashboard.sensors_page.sensors_store import SensorsStore
from logger.errors import CallFault, SensorsFault, UserFault
from logger.toml_tables import read_text

NO_FILE = "The folder has no sensors file yet. Make one on the Sensors page, with a force channel."
NO_FORCE = "has no force channel. Add one on the Sensors page."
MARK_DIGITS = 16  # of the mark of a text


class FolderCells:
    """The force channels of the folder's chosen sensors file.  Safe for several threads.

    store: what the sensors page works on, which makes the edits.
    """

    def __init__(self, desk: Desk, store: SensorsStore) -> None:
        self._desk = desk
        self._store = store
        self._lock = threading.Lock()
        # (file, channel) -> where it sat before a rig page put it elsewhere
        self._before: dict[tuple[str, str], str] = {}

    def now(self) -> RigCells:
        """The force channels as the file has them; without one, why."""
        try:
            file = chosen(self._desk).sensors
            if file is None:
                return RigCells(file="", channels=(), why=NO_FILE)
            named = file.path.name
            if file.sensors is None:
                return RigCells(file=named, channels=(), why=f"{named} is at fault: {file.fault}.")
            text = self._text(file.name)
        except UserFault as fault:
            return RigCells(file="", channels=(), why=f"{fault.fault}; {fault.cure}.")
        forces = [one for one in file.sensors.channels if one.quantity == "force"]
        channels = tuple(
            ForceChannel(one.name, one.at, self._before.get((file.name, one.name), ""))
            for one in forces
        )
        why = "" if channels else f"{named} {NO_FORCE}"
        return RigCells(file=named, channels=channels, why=why, mark=_mark(text))

    def put(self, channel: str, at: str, mark: str) -> None:
        """Write another place of a channel; mark: of the file that the page showed.

        Raises CallFault where the file is another one now or has no such channel, and what the edit raises.
        """
        with self._lock:
            file = chosen(self._desk).sensors
            text = None if file is None else self._text(file.name)
            if file is None or text is None or _mark(text) != mark:
                raise CallFault(
                    "sensors file", "was changed meanwhile, and is not overwritten",
                    "look where the cells sit now, then do it once more",
                )  # fmt: skip
            now = {one.name: one.at for one in self.now().channels}
            if channel not in now:
                raise CallFault("cell", "there is no such force channel", "load the page again")
            if now[channel] != at:
                self._store.edit_file(file.name, text, SetKeys(channel, {"at": at}))
                self._before[file.name, channel] = now[channel]

    def _text(self, name: str) -> str:
        return read_text(within(self._desk.folder, name, TOML), SensorsFault, plain=True)


def _mark(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:MARK_DIGITS]
