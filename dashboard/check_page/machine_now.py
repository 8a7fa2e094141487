"""Asks the machine for disk, power and sleep in a thread of its own: some systems answer late or never."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from logger.machine.keep_awake import NOT_HELD, TRYING, SleepInhibitor
from logger.machine.machine_watch import disk_free
from logger.machine.power_supply import PowerState, read_power

AGAIN_S = (
    5.0  # from one question for disk and power to the next; chosen by us: neither changes faster
)
SLEEP_AGAIN_S = (
    60.0  # from one trial to hold sleep off to the next; chosen by us: it starts a process
)
SLEEP_STEP_S = 0.05  # between two looks at that trial; speed only


@dataclass(frozen=True)
class MachineState:
    """What the machine said last."""

    asked: bool = False  # whether it has answered at all
    free: int | None = None  # bytes that may still be written in the folder; None: not known
    power: PowerState = field(default_factory=PowerState)  # where its power comes from
    sleep: str = TRYING  # of a `SleepInhibitor` that was asked


@dataclass
class MachineNow:
    """The machine as it was a few seconds ago.  Safe for several threads."""

    folder: Path  # on the disk that is asked about
    free_bytes: Callable[[Path], int | None] = disk_free  # bytes that may be written in a folder
    power: Callable[[], PowerState] = read_power  # where the machine's power comes from
    inhibitor: Callable[[], SleepInhibitor] = SleepInhibitor  # makes what holds sleep off
    _state: MachineState = field(default_factory=MachineState)  # what it said last
    _lock: threading.Lock = field(default_factory=threading.Lock)  # of the state
    _busy: bool = False  # whether a question goes on
    _due_s: float = 0.0  # when to ask again, s of the monotonic clock
    _sleep_due_s: float = 0.0  # likewise, for sleep

    def state(self, again: bool = True) -> MachineState:
        """What it said last; again: ask anew where that is old."""
        with self._lock:
            if again and not self._busy and time.monotonic() >= self._due_s:
                self._busy = True
                threading.Thread(target=self._ask, name="machine-now", daemon=True).start()
            return self._state

    def _ask(self) -> None:
        """The thread: ask once."""
        sleep = self._state.sleep
        if time.monotonic() >= self._sleep_due_s:
            sleep = self._tried_sleep()
            self._sleep_due_s = time.monotonic() + SLEEP_AGAIN_S
        state = MachineState(
            asked=True, free=self.free_bytes(self.folder), power=self.power(), sleep=sleep
        )
        with self._lock:
            self._state, self._busy = state, False
            self._due_s = time.monotonic() + AGAIN_S

    def _tried_sleep(self) -> str:
        """Whether sleep can be held off: tried, and let go again at once."""
        inhibitor = self.inhibitor()
        inhibitor.hold()
        try:
            while (state := inhibitor.state()) == TRYING:
                time.sleep(SLEEP_STEP_S)
        finally:
            inhibitor.release()
        return state or NOT_HELD
