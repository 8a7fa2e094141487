"""Joins what the sensors page stands on: the folder's draft, the ports, the rig, and what channels read now."""

from __future__ import annotations

import math
import os
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import tomlkit

from analysis.rig.rig import Rig
from analysis.sensors_edit.sensors_draft import SensorsOutcome
from dashboard.desk.chosen import chosen
from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import TOML, DeskFiles, RigFile, files_in
from dashboard.sensors_page.ports.heard_port import HeardPort
from dashboard.sensors_page.ports.listeners import Listeners
from dashboard.sensors_page.ports.port_watch import PortWatch, SeenPort
from dashboard.sensors_page.sensors_store import SensorsState, SensorsStore
from logger.calibration.curve import Calibration
from logger.channels.channel import Channel
from logger.device_units import COUNT
from logger.errors import CallFault, UserFault
from logger.listening.capture import Capture
from logger.listening.movement import moves
from logger.listening.number_series import NumberSeries
from logger.listening.proof import read_capture

NEW_FILE = "the new file"
NOW_S = 1.5  # over which a channel's value now is read; chosen by us: a line of a slow device
# keys that say how a channel's number stands in the lines; the others say what it is worth
_READING_KEYS = frozenset({
    "name", "quantity", "at", "port", "baud", "framing", "format", "ends", "id", "checksum", "column",
    "separator", "decimal", "thousands", "count", "after", "number", "from", "to", "overload", "ask",
    "every_s", "answer_s", "unit",
})  # fmt: skip


@dataclass(frozen=True)
class Steadiness:
    """The readings of a channel over some seconds."""

    mean: float  # as the device sends it
    sd: float  # standard deviation, in the same unit
    n: int  # how many
    last: float  # the latest
    moves: bool  # whether it was pulled or let go meanwhile


class SensorsDesk:
    """One folder's sensors page on the server.  Safe for several threads."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.store = SensorsStore(desk)
        self.listeners = Listeners(desk.folder)
        self.watch = PortWatch(self._named)

    def close(self) -> None:
        """Close all ports and end all threads."""
        self.listeners.close()
        self.watch.close()

    # -- files and rig -----------------------------------------------------------------------------
    def files(self) -> DeskFiles:
        """The rigs and sensors files of the folder; empty where it can't be read."""
        try:
            return files_in(self.desk.folder)
        except CallFault:
            return DeskFiles((), (), ())

    def rig_file(self, files: DeskFiles | None = None) -> RigFile | None:
        """The rig of the next haul; None without one."""
        try:
            return chosen(self.desk, files).rig
        except CallFault:
            return None

    def rig(self) -> Rig | None:
        """The same, where it can work."""
        file = self.rig_file()
        return None if file is None else file.rig

    def outcome(self, state: SensorsState) -> SensorsOutcome:
        """What the draft amounts to, also in the rig of the next haul."""
        file = state.file + TOML if state.file else NEW_FILE
        return state.draft.outcome(self.desk.folder, file, self.rig())

    def rows(self, state: SensorsState) -> tuple[dict[str, Any], ...]:
        """The draft's tables as they are written, also those at fault."""
        try:
            rows = tomllib.loads(state.draft.text).get("channel", [])
        except (tomllib.TOMLDecodeError, RecursionError):
            return ()
        return tuple(row for row in rows if isinstance(row, dict)) if isinstance(rows, list) else ()

    def row(self, state: SensorsState, name: Any) -> dict[str, Any]:
        """The table of a channel; raises CallFault where there is none."""
        for row in self.rows(state):
            if isinstance(name, str) and row.get("name") == name:
                return row
        raise CallFault("channel", "is not there any more", "look at the list again")

    def turned(self, state: SensorsState, name: str) -> bool:
        """Whether a channel counts what its device sends the other way round; raises CallFault."""
        curve = self.curve(state, name)
        if curve is not None:
            return curve.coefficients[1] < 0.0
        scale = self.row(state, name).get("scale", 1.0)
        return isinstance(scale, int | float) and scale < 0.0

    def curve(self, state: SensorsState, name: str) -> Calibration | None:
        """The calibration that a channel names; None without one, or where it cannot be used."""
        if "calibration" not in self.row(state, name):
            return None
        try:
            return self.channel(state, name).calibration
        except CallFault:
            return None

    def channel(self, state: SensorsState, name: str) -> Channel:
        """A channel of the draft; raises CallFault where it is at fault."""
        sensors = self.outcome(state).sensors
        if sensors is not None:
            for channel in sensors.channels:
                if channel.name == name:
                    return channel
        fault = self.outcome(state).fault
        said = "is not there any more" if fault is None else f"{fault.place}: {fault.fault}"
        raise CallFault("channel", said, "mend it first" if fault is None else fault.cure)

    # -- ports -------------------------------------------------------------------------------------
    def seen(self, port: Any) -> SeenPort:
        """The port of this name; raises CallFault where it is none of those that are shown."""
        for one in self.watch.ports():
            if isinstance(port, str) and (port == one.port or port in one.names):
                return one
        raise CallFault("port", "is not there any more", "look at the list again")

    def heard(self, port: Any) -> HeardPort | None:
        """The port that is listened to under this name or another name of the same device."""
        if not isinstance(port, str):
            return None
        heard = self.listeners.get(port)
        if heard is not None:
            return heard
        for one in self.watch.ports():
            if port in one.names or os.path.realpath(port) in one.names:
                return self.listeners.get(one.port)
        return None

    def _named(self) -> tuple[str, ...]:
        """Ports that the draft, the folder's files and people name."""
        state = self.store.state
        of_draft = [row.get("port") for row in self.rows(state)]
        of_files = [
            channel.port
            for file in self.files().sensors
            if file.sensors is not None
            for channel in file.sensors.channels
        ]
        named = [*of_draft, *state.typed, *of_files]
        return tuple(dict.fromkeys(p for p in named if isinstance(p, str) and p.isprintable()))

    # -- what channels read ------------------------------------------------------------------------
    def readings(self, state: SensorsState, name: str, for_s: float) -> tuple[float, ...]:
        """What a channel read in the last seconds, for_s, as the device sends it; () where nothing came."""
        row = self.row(state, name)
        heard = self.heard(row.get("port"))
        capture = None if heard is None else heard.since(for_s)
        if capture is None:
            return ()
        rows = [one for one in self.rows(state) if one.get("port") == row.get("port")]
        return channel_readings(rows, capture).get(name, ())

    def steadiness(self, state: SensorsState, name: str, for_s: float) -> Steadiness | None:
        """Mean and scatter of a channel over the last seconds; None with fewer than two readings."""
        values = self.readings(state, name, for_s)
        if len(values) < 2:
            return None
        mean = math.fsum(values) / len(values)
        variance = math.fsum((v - mean) ** 2 for v in values) / (len(values) - 1)
        return Steadiness(
            mean=mean, sd=math.sqrt(variance), n=len(values), last=values[-1], moves=moves(values)
        )

    def place_of(self, row: Mapping[str, Any]) -> str | None:
        """Which number of its port's lines a channel reads; None where that is not known."""
        heard = self.heard(row.get("port"))
        understood = None if heard is None else heard.news().understood
        return None if understood is None else place_of(row, understood.series)


def channel_readings(
    rows: Sequence[Mapping[str, Any]], capture: Capture
) -> Mapping[str, tuple[float, ...]]:
    """What the channels of one port read from a capture, by name, as the device sends it.

    rows: their tables, also such as cannot be recorded yet.
    """
    tables = []
    for row in rows:
        table = {key: value for key, value in row.items() if key in _READING_KEYS}
        tables.append({**table, "scale": 1.0} if row.get("unit") == COUNT else table)
    try:
        text = tomlkit.dumps({"channel": tables})
    except (ValueError, TypeError):
        return {}
    proved = read_capture(text, capture)
    return {name: tuple(map(float, texts)) for name, texts in proved.readings.items()}


def place_of(row: Mapping[str, Any], series: Sequence[NumberSeries]) -> str | None:
    """Which of the numbers a channel's table reads; None where it is none of them."""
    for one in series:
        for keys in one.candidates:
            stated = {k: v for k, v in keys.items() if k not in ("count", "checksum")}
            if all(row.get(key) == value for key, value in stated.items()) and not (
                keys["format"] == "text" and _elsewhere(row, keys)
            ):
                return one.place
    return None


def _elsewhere(row: Mapping[str, Any], keys: Mapping[str, Any]) -> bool:
    """Whether a text channel states a place that these keys do not."""
    return any(key in row and key not in keys for key in ("after", "number", "from", "to"))


def said_of(fault: UserFault) -> str:
    """A fault as a sentence."""
    where = f"{fault.place}: " if fault.place else ""
    return f"{where}{fault.fault}" + (f"; {fault.cure}" if fault.cure else "") + "."
