"""Starts the recorder of a folder as a process that outlives the desk, one at a time."""

from __future__ import annotations

import os
import subprocess
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from dashboard.child_processes import start_alone
from dashboard.desk.desk_page import STORE
from dashboard.desk.folder import running
from logger.errors import CallFault, one_line
from logger.filesystem import read_plain
from logger.session.descriptor import DESCRIPTOR

SAID = "recorder.log"  # in STORE: what the recorder prints
MOST_SAID = 100_000  # bytes of it that are read; memory only
OUR_LINE = "haul: "  # how the line of a fault begins


@dataclass(frozen=True)
class StartState:
    """What became of the last start."""

    name: str = ""  # of its session; "" where nothing was started
    starting: bool = False  # whether its process runs and no session is there yet
    fault: str = ""  # why it ended without a session; "" where it did not


class RecorderStart:
    """The recorders that one desk starts.  Safe for several threads.

    folder: where sessions are made.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._name = ""

    def start(
        self, rig: Path, sensors: Path, name: str, overrides: Sequence[str] = (),
        units: str = "metric", truth: Path | None = None,
    ) -> None:  # fmt: skip
        """Start `haul record` into the new session `name`; returns before it has one.

        overrides: texts of the events `override`; truth: true values of virtual devices.  Raises CallFault
        where a recording runs or is being started, and where it can't be started.
        """
        with self._lock:
            going = running(self._folder)
            if going is not None:
                raise CallFault(going, "is being recorded already", "look at it, or end it first")
            if self._process is not None and self._process.poll() is None:
                raise CallFault(self._name, "is being started already", "wait for it")
            argv = [
                "record", str(rig), str(sensors), f"--out={self._folder / name}", "--units", units,
                *(f"--override={text}" for text in overrides),
                *([] if truth is None else [f"--simulation-true={truth}"]),
            ]  # fmt: skip
            try:
                with os.fdopen(self._said(), "wb") as output:
                    self._process = start_alone(argv, output)
            except OSError as error:
                raise CallFault(
                    "the recorder",
                    f"cannot be started ({error.strerror or error})",
                    "free the disk, or make the folder writable",
                ) from None
            self._name = name
            threading.Thread(target=self._process.wait, name="recorder-ends", daemon=True).start()

    def _said(self) -> int:
        """A file that takes what the recorder prints; raises OSError."""
        store = self._folder / STORE
        store.mkdir(exist_ok=True)
        flags = os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_NOFOLLOW", 0)
        return os.open(store / SAID, flags, 0o600)

    def state(self) -> StartState:
        """What became of the last start."""
        with self._lock:
            process, name = self._process, self._name
        if process is None:
            return StartState()
        there = (self._folder / name / DESCRIPTOR).exists()
        if process.poll() is None:
            return StartState(name, starting=not there)
        return StartState(name, fault="" if there else self._fault())

    def _fault(self) -> str:
        """Why it ended, from its own line."""
        try:
            lines = read_plain(self._folder / STORE / SAID, MOST_SAID).decode("utf-8", "replace")
        except OSError:
            lines = ""
        faults = [one for one in lines.splitlines() if one.startswith(OUR_LINE)]
        return one_line(
            faults[-1].removeprefix(OUR_LINE) if faults else "the recorder ended at once"
        )
