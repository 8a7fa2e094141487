"""Programs in processes of their own: `haul ARGV`, a page, a demo, and a recorder on a device that a test commands."""

from __future__ import annotations

import atexit
import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
import urllib.request
from pathlib import Path

from support.channels import force, rope
from support.places import ROOT
from support.rigs import three_to_one
from support.waiting import Limit, joined, until

CHROMIUM_FLAGS = (  # no window, no requests of its own
    "--headless=new",
    "--no-sandbox",
    "--disable-dev-shm-usage",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
RIG = three_to_one("resistance_N = 900.0\npull_distance_m = 6.0", rope="mbs_kN = 28.0\n")
PORT = ('port = "{port}"', "baud = 115200")
SENSORS = force(*PORT, "u = 2.0", "capacity = 3000.0", "warn_at = 600.0", "stop_at = 800.0") + rope(
    *PORT
)


END_S = 60.0  # longest wait for an end that takes a second on a quiet machine
STARTED: list[int] = []  # process ids; no objects, whose end must show a process that a test forgot


def ended_at_exit(process: subprocess.Popen) -> subprocess.Popen:
    """Have a process killed when this one ends, and return it.

    A recorder that outlives a failed test opens the pseudo-terminals of every later one, since it tries its
    port's name again and again.
    """
    STARTED.append(process.pid)
    return process


@atexit.register
def _kill_what_is_left() -> None:
    for pid in STARTED if hasattr(os, "WNOHANG") else ():
        with contextlib.suppress(ChildProcessError, ProcessLookupError):
            if os.waitpid(pid, os.WNOHANG) == (0, 0):  # still a child of this process, and running
                os.kill(pid, signal.SIGKILL)


def start_haul(*argv, **more) -> subprocess.Popen:
    """`haul ARGV` in a process of its own, lines as text."""
    more = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **more}
    return ended_at_exit(
        subprocess.Popen(
            [sys.executable, "-P", "-m", "dashboard.cli", *map(str, argv)],
            text=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            **more,
        )
    )


def ended(process: subprocess.Popen, within_s: float = END_S) -> tuple:
    """Wait for a process that is to end, and return what it wrote to its pipes: standard output and error.

    within_s: the longest wait in s on a quiet machine.
    Raises AssertionError when the time is up, and kills the process.
    """
    limit = Limit(within_s)
    while True:
        try:
            return process.communicate(timeout=0.2)  # another call goes on where this one stopped
        except subprocess.TimeoutExpired:
            if limit.over():
                process.kill()
                said = process.communicate()
                raise AssertionError(f"no end within {within_s} s ({limit}): {said}") from None


def exit_status(process: subprocess.Popen, within_s: float = END_S) -> int:
    """Wait for a process without pipes that is to end; returns its exit status.  See `ended`."""
    until(lambda: process.poll() is not None, within_s, "the process' end")
    return process.returncode


def end(process: subprocess.Popen) -> None:
    """Terminate a process if it runs, and wait for its end; one that does not end is killed and is a failure."""
    if process.poll() is None:
        process.terminate()
    ended(process)


class PageProcess:
    """`haul COMMAND ARGV` in a process of its own, for a command that serves a page.

    link: as the command printed it, with the operator's code where it can act.
    url: the page's address, without a code.
    """

    def __init__(self, command: str, *argv) -> None:
        self.process = start_haul(command, *argv)
        self.link = self.process.stdout.readline().strip()
        self.url = self.link.partition("#")[0]

    def __enter__(self):
        return self

    def __exit__(self, *what) -> None:
        end(self.process)


class Watched(PageProcess):
    """`haul watch ARGV` in a process of its own."""

    def __init__(self, *argv) -> None:
        super().__init__("watch", *argv)

    def since(self, query: str = "") -> dict:
        """What the page's script asks for, as the server answers it."""
        with urllib.request.urlopen(f"{self.url}since?{query}", timeout=600) as answer:
            return json.load(answer)


class Demo:
    """`haul demo --headless` in a process of its own; recorder: the process id of its recorder, as it printed it."""

    def __init__(self, out: Path, for_s: float) -> None:
        self.out = out
        self.process = start_haul("demo", "--headless", "--for", for_s, "--out", out)
        self.recorder = 0
        for line in self.process.stdout:
            if match := re.match(r"recording to .*process ([0-9]+)", line):
                self.recorder = int(match[1])
                break
        until((out / "readings.csv").exists, 10, "the demo's session")

    def ended(self, within_s: float) -> tuple[int, str]:
        """Exit status and output."""
        out, err = ended(self.process, within_s)
        return self.process.returncode, out + err

    def __enter__(self) -> Demo:
        return self

    def __exit__(self, *what) -> None:
        end(self.process)


class CommandedDevice:
    """A pseudo-terminal that sends force and rope at 100 Hz; `force_N` and `speed_m_s` as set.

    once: forces that are sent once each, in N, before the set one is again
    """

    def __init__(self) -> None:
        import pty
        import tty

        self.lead, self.follow = pty.openpty()
        tty.setraw(self.follow)
        os.set_blocking(self.lead, False)  # what nobody reads is lost, as on a wire
        self.port = os.ttyname(self.follow)
        self.force_N, self.speed_m_s, self.rope_m = 0.0, 0.0, 0.0
        self.once: list[float] = []
        self.sent: list[tuple[float, float]] = []  # when and which force, as written to the wire
        self.silent = threading.Event()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    def _send(self) -> None:
        due = time.monotonic()
        while not self._stop.is_set():
            due += 0.01
            time.sleep(max(0.0, due - time.monotonic()))  # the pace of a device of 100 Hz
            self.rope_m += 0.01 * self.speed_m_s
            if self.silent.is_set():
                continue
            force = self.once.pop(0) if self.once else self.force_N
            try:
                os.write(self.lead, b'{"f": %.1f, "r": %.4f}\n' % (force, self.rope_m))
            except BlockingIOError:
                continue
            except OSError:
                return
            self.sent.append((time.time(), force))
            del self.sent[:-3000]

    def close(self) -> None:
        self._stop.set()
        joined(self._thread)
        for fd in (self.lead, self.follow):
            os.close(fd)


class RecordedHaul:
    """A device, the recorder on it, and its page, each in a process of its own but the device."""

    def __init__(self, folder: Path, rig: str = RIG, sensors: str = SENSORS) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.device = CommandedDevice()
        (folder / "rig.toml").write_text(rig, "utf-8")
        (folder / "sensors.toml").write_text(sensors.replace("{port}", self.device.port), "utf-8")
        self.out = folder / "session"
        self.recorder = start_haul(
            "record", folder / "rig.toml", folder / "sensors.toml", "--out", self.out,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        until((self.out / "readings.csv").exists, 10, "a session")
        self.page = start_haul("watch", self.out)
        self.link = self.page.stdout.readline().strip()  # the operator's
        self.url = self.link.partition("#")[0]

    def events(self, kind: str) -> list[str]:
        """The rows of events.csv of this kind."""
        rows = (self.out / "events.csv").read_text("utf-8").splitlines()
        return [row for row in rows if row.split(",")[2:3] == [kind]]

    def __enter__(self) -> RecordedHaul:
        return self

    def __exit__(self, *what) -> None:
        for process in (self.page, self.recorder):
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)
        for process in (self.page, self.recorder):
            end(process)
        self.device.close()
