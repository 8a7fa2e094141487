"""The long proofs, run by `.ci/long` alone."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from logger.sensors import load_sensors
from logger.session import read_all
from logger.verify import repair, verify
from logger.virtual import Player, serve_pty

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(sys.platform == "win32", reason="other system: no pseudo-terminals"),
]
KILLS = int(os.environ.get("HAUL_KILLS", "200"))
LOST_S = 0.1  # what a crash may cost


@pytest.mark.filterwarnings("error")
def test_killed_recorders_leave_sessions_that_open_and_can_be_sealed(root, interface, tmp_path):
    """kill -9 at a random moment: what had arrived 0.1 s before is there, in order, and nothing else."""
    draw = random.Random(5)
    device = serve_pty()
    sensors = tmp_path / "sensors.toml"
    sensors.write_text(
        f'[[channel]]\nname = "f"\nquantity = "force"\nat = "haul"\nformat = "xdr"\nid = "F"\n'
        f'port = "{device.url}"\nbaud = 115200\n', "utf-8",
    )  # fmt: skip
    sent: list[tuple[float, int]] = []

    def rows():
        for k in range(10**9):
            sent.append((time.monotonic(), k))
            yield k / 500, {"f": float(k)}

    player = Player([(device, load_sensors(sensors).channels)], rows()).start()
    env = {**os.environ, "PYTHONPATH": str(root)}
    for number in range(KILLS):
        out = tmp_path / f"session-{number}"
        process = subprocess.Popen(
            [sys.executable, "-m", "dashboard.cli", "record", str(interface / "rig.toml"),
             str(sensors), "--out", str(out)], env=env, stdout=subprocess.DEVNULL,
        )  # fmt: skip
        wait_for(out / "readings.csv", 100)
        time.sleep(draw.uniform(0, 0.6))
        killed = time.monotonic()
        process.send_signal(signal.SIGKILL)
        process.wait()
        assert verify(out).state == "cut short", number
        found = read_all(out).readings["f"].reading
        numbers = [int(x) for x in found]
        assert numbers == list(range(numbers[0], numbers[0] + len(numbers))), number
        arrived = [k for at, k in sent if at <= killed - LOST_S]
        assert numbers[-1] >= arrived[-1], f"kill {number}: {arrived[-1] - numbers[-1]} rows lost"
        assert repair(out).state == "complete", number
        assert len(read_all(out).readings["f"].reading) == len(numbers)
    player.stop()
    device.close()


def wait_for(path: Path, size: int) -> None:
    until = time.monotonic() + 10
    while time.monotonic() < until:
        if path.exists() and path.stat().st_size > size:
            return
        time.sleep(0.01)
    raise AssertionError(f"{path} did not grow")
