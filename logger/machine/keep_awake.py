"""Keeps the machine awake during a recording, if the system has a way to do so."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time

TRYING, HELD, NOT_HELD = "trying", "held", "not held"
ANSWERS_WITHIN_S = 5.0  # chosen by us: a command that is silent so long holds no lock
ENDS_WITHIN_S = 0.5  # chosen by us: the end of a recording waits no longer for the lock's process
# run under the lock; its output shows that the lock is held
_SAYS_HELD = ("sh", "-c", "echo held; exec cat >/dev/null")


class SleepInhibitor:
    """Asks the system not to sleep, from `hold` until `release` or the end of this process.

    Linux: systemd-inhibit takes a lock of logind for a small child process, which ends with this
    process because its input does.  macOS: caffeinate.  Windows: SetThreadExecutionState for the
    calling thread, which must be the main thread.  Closing the lid may still put the machine to
    sleep.
    """

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._state = NOT_HELD
        self._since = 0.0

    def hold(self) -> None:
        """Ask the system not to sleep; returns at once (see `state`).  Never raises."""
        self._since = time.monotonic()
        if sys.platform == "win32":
            self._state = HELD if _windows(True) else NOT_HELD
            return
        name = "caffeinate" if sys.platform == "darwin" else "systemd-inhibit"
        command = shutil.which(name)
        if command is None:
            return
        argv = [command, "-i", "-m"] if sys.platform == "darwin" else [
            command, "--what=sleep:idle", "--who=haul", "--why=a haul is being recorded",
            "--mode=block",
        ]  # fmt: skip
        try:
            # in a session of its own, so that Ctrl-C does not reach it and it cannot prompt
            self._process = subprocess.Popen(
                [*argv, *_SAYS_HELD], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL, start_new_session=True,
            )  # fmt: skip
            self._state = TRYING
        except OSError:
            self._state = NOT_HELD

    def state(self) -> str:
        """Whether sleep is held off: TRYING, HELD or NOT_HELD; does not wait."""
        process = self._process
        if process is None or process.stdout is None:
            return self._state
        if process.poll() is not None:
            self._state = NOT_HELD
        elif self._state == TRYING:
            import select

            if select.select([process.stdout], [], [], 0)[0]:
                output = os.read(process.stdout.fileno(), 64)
                self._state = HELD if output.startswith(b"held") else NOT_HELD
            elif time.monotonic() - self._since > ANSWERS_WITHIN_S:
                self._state = NOT_HELD
        return self._state

    def release(self) -> None:
        """Allow the system to sleep again."""
        if sys.platform == "win32" and self._state == HELD:
            _windows(False)
        process, self._process, self._state = self._process, None, NOT_HELD
        if process is None:
            return
        if process.stdin is not None:
            process.stdin.close()
        try:
            process.wait(ENDS_WITHIN_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        if process.stdout is not None:
            process.stdout.close()


def _windows(hold: bool) -> bool:
    import ctypes

    continuous, system_required = 0x80000000, 0x00000001
    windll = getattr(ctypes, "windll")  # noqa: B009 - there on Windows alone
    flags = continuous | system_required if hold else continuous
    return bool(windll.kernel32.SetThreadExecutionState(ctypes.c_uint(flags)))
