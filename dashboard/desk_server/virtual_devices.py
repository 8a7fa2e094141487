"""Runs the demo's two virtual devices beside the desk, so that a first haul needs no device.

They are processes of their own, which end with the desk.  They send at rest until a session is being recorded; then the launch is
hauled once.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import threading

from dashboard.child_processes import end, start
from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import TOML, files_in, running
from dashboard.desk.virtual import PORTS, RIG_NAME, SENSORS_NAME, TRUTH, virtual_ports
from logger.errors import CallFault
from logger.filesystem import write_atomic

SEED = 1  # of the simulated haul; chosen by us: that of the demo
HAUL_S = 60.0  # length of the simulated haul; chosen by us: that of the demo
LOOK_S = (
    0.5  # how often it is looked whether a session began; chosen by us: at the start nothing moves
)
PORTS_WITHIN_S = (
    10.0  # for a recorder to open both ports; chosen by us: then the haul begins anyway
)
END_WITHIN_S = 2.0
DEVICES = 2


class VirtualDevices:
    """The virtual devices of one desk: none until `begin`."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._process: subprocess.Popen[str] | None = None
        self._lock = threading.Lock()
        self._ended = threading.Event()

    @property
    def stand(self) -> bool:
        """Whether the process of the devices runs."""
        with self._lock:
            return self._process is not None and self._process.poll() is None

    def begin(self) -> None:
        """Write the files that the folder lacks and start the devices; nothing where they stand.

        Raises CallFault where the folder can't be written to.
        """
        with self._lock:
            if self._process is not None and self._process.poll() is None:
                return
            try:
                self._write()
            except OSError as error:
                raise CallFault(
                    self.desk.folder,
                    f"cannot be written ({error.strerror or error})",
                    "make the folder writable",
                ) from None
            folder, store = self.desk.folder, self.desk.store
            self._process = start(
                ["simulate", str(folder / (RIG_NAME + TOML)), str(folder / (SENSORS_NAME + TOML)),
                 "--true", str(store / f"virtual{TOML}"), "--launch", "--each-go"],
                stdout=subprocess.DEVNULL,
            )  # fmt: skip
        threading.Thread(
            target=self._haul, args=(self._process,), name="virtual-haul", daemon=True
        ).start()

    def end(self) -> None:
        """End the devices."""
        self._ended.set()
        with self._lock:
            if self._process is not None:
                end(self._process, END_WITHIN_S)
                self._process = None

    def _write(self) -> None:
        """Write rig, sensors and true values; a file of the folder that is there stays as it is."""
        from analysis.simulation.demo_files import demo_ports, with_ports
        from analysis.simulation.demo_haul import demo_text, simulate

        store = self.desk.store
        ports = store / PORTS
        ports.mkdir(parents=True, exist_ok=True)
        for link in ports.iterdir():  # of a desk that was killed
            link.unlink()
        texts = {
            RIG_NAME: demo_text("rig.toml"),
            SENSORS_NAME: with_ports(demo_text("sensors.toml"), demo_ports(ports)),
        }
        for name, text in texts.items():
            path = self.desk.folder / (name + TOML)
            if not path.exists() and not path.is_symlink():
                write_atomic(path, text.encode())
        write_atomic(store / f"virtual{TOML}", f"seed = {SEED}\nfor_s = {HAUL_S!r}\n".encode())
        truth = json.dumps(simulate(SEED, HAUL_S).true, indent=1)
        write_atomic(store / TRUTH, truth.encode())

    def _haul(self, process: subprocess.Popen[str]) -> None:
        """Whenever a session begins, let the devices haul once."""
        before = running(self.desk.folder)
        while not self._ended.wait(LOOK_S) and process.poll() is None:
            name = running(self.desk.folder)
            if name is not None and name != before:
                self._wait_for_ports(name)
                with contextlib.suppress(OSError, ValueError):  # the process has ended
                    assert process.stdin is not None
                    process.stdin.write("go\n")
                    process.stdin.flush()
            before = name

    def _wait_for_ports(self, name: str) -> None:
        """Until events.csv of the session shows that its recorder has opened both ports."""
        for _ in range(round(PORTS_WITHIN_S / LOOK_S)):
            with contextlib.suppress(OSError):
                text = (self.desk.folder / name / "events.csv").read_text("utf-8")
                if text.count(",connect,") >= DEVICES:
                    return
            if self._ended.wait(LOOK_S):
                return


def virtual_missing(desk: Desk) -> bool:
    """Whether a sensors file of the folder names virtual devices that do not stand."""
    within = str(desk.store / PORTS)
    named = [
        channel.port
        for file in files_in(desk.folder).sensors
        if file.sensors is not None
        for channel in file.sensors.channels
        if str(channel.port or "").startswith(within)
    ]
    return bool(named) and not virtual_ports(desk.folder)
