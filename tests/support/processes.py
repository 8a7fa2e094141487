"""A device that a test commands, on a pseudo-terminal, with a recorder on it and a page."""

from __future__ import annotations

import os
import signal
import subprocess
import threading
import time
from pathlib import Path

from support.channels import force, rope, three_to_one
from support.growing_session import start_haul, wait_until

RIG = three_to_one("resistance_N = 900.0\npull_distance_m = 6.0", rope="mbs_kN = 28.0\n")
PORT = ('port = "{port}"', "baud = 115200")
SENSORS = force(*PORT, "u = 2.0", "capacity = 3000.0", "warn_at = 600.0", "stop_at = 800.0") + rope(
    *PORT
)


class Device:
    """A pseudo-terminal that sends force and rope at 100 Hz; `force_N` and `speed_m_s` as set."""

    def __init__(self) -> None:
        import pty
        import tty

        self.lead, self.follow = pty.openpty()
        tty.setraw(self.follow)
        os.set_blocking(self.lead, False)  # what nobody reads is lost, as on a wire
        self.port = os.ttyname(self.follow)
        self.force_N, self.speed_m_s, self.rope_m = 0.0, 0.0, 0.0
        self.sent: list[tuple[float, float]] = []  # when and which force, as written to the wire
        self.silent = threading.Event()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    def _send(self) -> None:
        due = time.monotonic()
        while not self._stop.is_set():
            due += 0.01
            time.sleep(max(0.0, due - time.monotonic()))
            self.rope_m += 0.01 * self.speed_m_s
            if self.silent.is_set():
                continue
            force = self.force_N
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
        self._thread.join(2)
        for fd in (self.lead, self.follow):
            os.close(fd)


class Haul:
    """A device, the recorder on it, and its page, each in a process of its own but the device."""

    def __init__(self, folder: Path, rig: str = RIG, sensors: str = SENSORS) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.device = Device()
        (folder / "rig.toml").write_text(rig, "utf-8")
        (folder / "sensors.toml").write_text(sensors.replace("{port}", self.device.port), "utf-8")
        self.out = folder / "session"
        self.recorder = start_haul(
            "record", folder / "rig.toml", folder / "sensors.toml", "--out", self.out,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        wait_until((self.out / "readings.csv").exists, 10, "a session")
        self.page = start_haul("watch", self.out)
        self.url = self.page.stdout.readline().strip()

    def events(self, kind: str) -> list[str]:
        """The rows of events.csv of this kind."""
        rows = (self.out / "events.csv").read_text("utf-8").splitlines()
        return [row for row in rows if row.split(",")[2:3] == [kind]]

    def __enter__(self) -> Haul:
        return self

    def __exit__(self, *what) -> None:
        for process in (self.page, self.recorder):
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)
        for process in (self.page, self.recorder):
            try:
                process.communicate(timeout=8)
            except subprocess.TimeoutExpired:
                process.kill()
                process.communicate(timeout=5)
        self.device.close()
