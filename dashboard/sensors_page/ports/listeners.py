"""Holds the ports that are listened to in one folder, and lets them go when a recording needs them."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Iterable
from pathlib import Path

from dashboard.desk.folder import running
from dashboard.desk.held_ports import given_to_recorder, holds_ports
from dashboard.sensors_page.ports.heard_port import HeardPort, PortNews
from dashboard.sensors_page.ports.port_watch import SeenPort
from logger import clock
from logger.errors import CallFault, SensorsFault
from logger.session.descriptor import SENSORS
from logger.toml_tables import parse_toml, read_text

MOST_HEARD = 8  # ports at once; memory and speed only
IDLE_S = 20.0  # without anybody looking, after which ports are closed; chosen by us
AGAIN_S = 0.5  # from one look for a running recording to the next; speed only
IN_USE = "in use by the recording"
NOBODY = "closed, because nobody looked for a while"
LET_GO = "closed, because the check or the recording needs it"


class Listeners:
    """The ports of one folder that an operator listens to.  Safe for several threads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder.resolve()
        self._lock = threading.RLock()
        self._heard: dict[str, HeardPort] = {}
        self._looked_s = clock.now()
        self._recorded: frozenset[str] = frozenset()
        self._recorded_s = -AGAIN_S
        self._forget = holds_ports(self._folder, self.let_go)

    def listen(
        self,
        seen: SeenPort,
        baud: int | None = None,
        framing: str | None = None,
        ask: str | None = None,
    ) -> None:
        """Begin to listen, or begin anew with other settings; raises CallFault."""
        why = self.blocked(seen.names | {seen.port})
        if why:
            raise CallFault(seen.port, why, "end the recording first")
        with self._lock:
            before = self._heard.pop(seen.port, None)
        if before is not None:  # without the lock, which its thread may be waiting for
            before.stop()
        with self._lock:
            going = [one for one in self._heard.values() if one.running]
            if len(going) >= MOST_HEARD:
                raise CallFault(
                    seen.port, f"{MOST_HEARD} ports are listened to already", "stop one of them"
                )
            names = seen.names | {seen.port}
            self._heard[seen.port] = HeardPort(
                seen.port, lambda: self._why_closed(names), baud, framing, ask
            )

    def stop(self, port: str) -> None:
        """Close a port."""
        with self._lock:
            heard = self._heard.pop(port, None)
        if heard is not None:
            heard.stop()

    def looked(self) -> None:
        """Somebody looks: the ports stay open."""
        self._looked_s = clock.now()

    def news(self) -> dict[str, PortNews]:
        """What each port brought, by port."""
        with self._lock:
            heard = dict(self._heard)
        return {port: one.news() for port, one in heard.items()}

    def get(self, port: str) -> HeardPort | None:
        """The port that is listened to under this name; None if it is not."""
        with self._lock:
            return self._heard.get(port)

    def blocked(self, names: Iterable[str]) -> str:
        """Why a device of these names must not be opened, "" if it may."""
        if given_to_recorder(self._folder):
            return LET_GO
        return IN_USE if self.recorded() & _with_paths(names) else ""

    def recorded(self) -> frozenset[str]:
        """The names of all ports of the running recording, looked up AGAIN_S ago at most."""
        with self._lock:
            if clock.now() - self._recorded_s >= AGAIN_S:
                self._recorded = recorded_ports(self._folder)
                self._recorded_s = clock.now()
            return self._recorded

    def let_go(self) -> None:
        """Close all ports, until an operator listens again."""
        with self._lock:
            heard = list(self._heard.values())
        for one in heard:
            one.stop(LET_GO, wait=False)
        for one in heard:
            one.stop(LET_GO)

    def close(self) -> None:
        """Close all ports and forget them."""
        self.let_go()
        self._forget()
        with self._lock:
            self._heard.clear()

    def _why_closed(self, names: frozenset[str]) -> str:
        if clock.now() - self._looked_s > IDLE_S:
            return NOBODY
        return self.blocked(names)


def recorded_ports(folder: Path) -> frozenset[str]:
    """The names of the ports that the running recording of a folder has open."""
    session: str | None = None
    with contextlib.suppress(OSError):
        session = running(folder)
    if session is None:
        return frozenset()
    try:
        rows = parse_toml(
            read_text(folder / session / SENSORS, SensorsFault, plain=True), SENSORS, SensorsFault
        ).get("channel", [])
    except SensorsFault:
        return frozenset()
    ports = (
        [row.get("port") for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
    )
    return _with_paths(port for port in ports if isinstance(port, str))


def _with_paths(names: Iterable[str]) -> frozenset[str]:
    """The names, and where those lead that are paths."""
    names = set(names)
    paths: set[str] = set()
    for name in names:
        if "://" not in name and not name.startswith(("usb:", "stdin:", "hand:")):
            with contextlib.suppress(OSError, ValueError):
                paths.add(os.path.realpath(name))
    return frozenset(names | paths)
